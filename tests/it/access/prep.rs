//! The pages of the prep room, and the sheets that assistants print.

use super::Open::{self, EveryStaff, Prep, Staff};

/// As [`super::TABLE`].
pub const PREP: [(&str, &str, &str, Open); 26] = [
    ("GET", "/proving", "/proving", EveryStaff),
    ("GET", "/proving/{key}", "/proving/acid", EveryStaff),
    ("POST", "/proving/{key}", "/proving/acid", EveryStaff),
    (
        "GET",
        "/proving/{key}/demonstration",
        "/proving/acid/demonstration",
        EveryStaff,
    ),
    ("GET", "/prep", "/prep", Prep),
    ("GET", "/prep/lots", "/prep/lots", Prep),
    ("GET", "/prep/lot", "/prep/lot?code=N-1", Prep),
    ("POST", "/prep/lot/days", "/prep/lot/days", Prep),
    ("GET", "/prep/lots/record", "/prep/lots/record", Prep),
    ("POST", "/prep/lots/record", "/prep/lots/record", Prep),
    ("GET", "/prep/lots/labels", "/prep/lots/labels", Prep),
    (
        "GET",
        "/prep/experiments/{key}",
        "/prep/experiments/acid",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/unknown",
        "/prep/experiments/acid/unknown?code=U-1",
        Prep,
    ),
    (
        "POST",
        "/prep/experiments/{key}/unknown/days",
        "/prep/experiments/acid/unknown/days",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/record",
        "/prep/experiments/acid/record",
        Prep,
    ),
    (
        "POST",
        "/prep/experiments/{key}/record",
        "/prep/experiments/acid/record",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/batch",
        "/prep/experiments/acid/batch",
        Prep,
    ),
    (
        "POST",
        "/prep/experiments/{key}/batch",
        "/prep/experiments/acid/batch",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/labels",
        "/prep/experiments/acid/labels",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/issue-list",
        "/prep/experiments/acid/issue-list",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/bench-sheets",
        "/prep/experiments/acid/bench-sheets",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/reagents",
        "/prep/experiments/acid/reagents",
        Prep,
    ),
    (
        "GET",
        "/prep/experiments/{key}/key",
        "/prep/experiments/acid/key",
        Prep,
    ),
    (
        "POST",
        "/prep/experiments/{key}/key",
        "/prep/experiments/acid/key",
        Prep,
    ),
    ("GET", "/sheets/{experiment}", "/sheets/acid", Staff),
    (
        "GET",
        "/sheets/{experiment}/bench",
        "/sheets/acid/bench",
        Staff,
    ),
];

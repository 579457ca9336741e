//! Routes of assistants: what waits, points, the section at its benches.

use super::Open::{self, SectionA, Staff};

/// As in the table of everybody.
pub const STAFF: [(&str, &str, &str, Open); 18] = [
    ("GET", "/review", "/review", Staff),
    ("GET", "/review/earlier", "/review/earlier", Staff),
    ("GET", "/review/accept", "/review/accept?flag=late", Staff),
    ("POST", "/review/accept", "/review/accept", Staff),
    (
        "GET",
        "/review/{experiment}/{student}",
        "/review/acid/0042",
        SectionA,
    ),
    (
        "POST",
        "/review/{experiment}/{student}/decide",
        "/review/acid/0042/decide",
        SectionA,
    ),
    (
        "POST",
        "/review/{experiment}/{student}/points",
        "/review/acid/0042/points",
        SectionA,
    ),
    (
        "POST",
        "/review/{experiment}/{student}/note",
        "/review/acid/0042/note",
        SectionA,
    ),
    (
        "POST",
        "/review/{experiment}/{student}/take-back",
        "/review/acid/0042/take-back",
        SectionA,
    ),
    (
        "GET",
        "/board/{experiment}",
        "/board/acid?section=A",
        SectionA,
    ),
    (
        "GET",
        "/board/{experiment}/live",
        "/board/acid/live?section=A",
        SectionA,
    ),
    (
        "GET",
        "/board/{experiment}/drafts",
        "/board/acid/drafts?section=A",
        SectionA,
    ),
    (
        "GET",
        "/board/{experiment}/of/{student}",
        "/board/acid/of/0042",
        SectionA,
    ),
    (
        "POST",
        "/board/{experiment}/of/{student}/hand-in",
        "/board/acid/of/0042/hand-in",
        SectionA,
    ),
    (
        "POST",
        "/board/{experiment}/of/{student}/hand",
        "/board/acid/of/0042/hand",
        SectionA,
    ),
    ("GET", "/gradebook", "/gradebook", Staff),
    ("GET", "/points/{experiment}", "/points/acid", Staff),
    ("POST", "/points/{experiment}", "/points/acid", Staff),
];

//! Errors that deliveries of one burette and uses of one pipette have in common.

use concordant::submission::TrialLabel;
use concordant::workup::Cause;

use super::{lot, read, text_of, titre, worked};
use crate::reference::near;

/// Three titres of 20 mL from a burette of ± 0.05 mL: u = 0.05/√6 for one delivery, half of the variance shared, so that
/// the mean of three keeps √(1/2 + 1/6) of it.
#[test]
fn deliveries_share_half_of_their_variance() {
    let procedure = read(&text_of("bleach-iodometric")).expect("shipped");
    let rows = (1..=3)
        .map(|n| titre(TrialLabel::Numbered(n), "20.00"))
        .collect();
    let done = worked(&procedure, rows, (&lot("T", "0.1000"), None));
    let budget = done.budget.expect("a budget");
    let result = crate::reference::f(done.graph.value(done.result.expect("a result")));
    let part = |cause: Cause| {
        let found = budget.contributions.iter().find(|c| c.cause == cause);
        found.map_or(0.0, |c| c.amount / result * 20.0)
    };
    let one = 0.05 / 6f64.sqrt();
    near(
        part(Cause::BuretteCalibration),
        one * 0.5f64.sqrt(),
        1e-9,
        "shared",
    );
    near(
        part(Cause::BuretteDelivery),
        one * (1.0f64 / 6.0).sqrt(),
        1e-9,
        "own",
    );
}

/// The endpoint called late every time does not average out, and leaves with a blank that has it too.
#[test]
fn a_bias_of_the_endpoint_is_shared() {
    let text = text_of("bleach-iodometric").replace(
        "drop_mL = \"0.05\"",
        "drop_mL = \"0.05\"\nendpoint_bias_mL = \"0.03\"",
    );
    let bias = |text: &str, blank: bool| {
        let procedure = read(text).unwrap_or_else(|why| panic!("{why:?}"));
        let mut rows: Vec<_> = (1..=3)
            .map(|n| titre(TrialLabel::Numbered(n), "20.00"))
            .collect();
        rows.extend(blank.then(|| titre(TrialLabel::Blank, "0.10")));
        let done = worked(&procedure, rows, (&lot("T", "0.1000"), None));
        let result = crate::reference::f(done.value().expect("a result"));
        let budget = done.budget.expect("a budget");
        let found = budget
            .contributions
            .iter()
            .find(|c| c.cause == Cause::EndpointBias);
        found.map_or(0.0, |c| c.amount / result * 20.0)
    };
    near(bias(&text, false), 0.03 / 3f64.sqrt(), 1e-9, "shared");
    let with_blank = text.replace("blank = false", "blank = true");
    assert!(bias(&with_blank, true).abs() < 1e-12, "with a blank");
}

/// A 25 mL pipette that takes the sample and then the aliquot is one pipette: its error leaves the quotient.
#[test]
fn one_pipette_used_twice_is_one_error() {
    let names = |taken_with: &str| {
        let text = text_of("bleach-iodometric")
            .replace("pipette-20-a", "pipette-25-a")
            .replace("nominal = \"20.00\"", "nominal = \"25.00\"")
            .replace(
                "taken_with = \"pipette-25-a\"",
                &format!("taken_with = \"{taken_with}\""),
            );
        let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
        let rows = vec![titre(TrialLabel::Numbered(1), "20.00")];
        let done = worked(&procedure, rows, (&lot("T", "0.1000"), None));
        let result = crate::reference::f(done.value().expect("a result"));
        let contributions = done.budget.expect("a budget").contributions;
        let of_pipettes = contributions
            .iter()
            .filter(|c| matches!(c.cause, Cause::Mark(_)) && !c.name().contains("flask"));
        of_pipettes.map(|c| c.amount / result).collect::<Vec<_>>()
    };
    // both divide the result: twice 0.03/√6/25, in sum and not in squares
    let same = names("pipette-25-a");
    assert_eq!(same.len(), 1);
    near(
        same[0],
        2.0 * 0.03 / 6f64.sqrt() / 25.0,
        1e-9,
        "one pipette",
    );
    assert_eq!(names("pipette-20-a").len(), 2);
}

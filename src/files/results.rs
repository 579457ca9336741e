//! `results.csv`: a row per submission with every figure behind its marks.

use std::collections::HashMap;

use rust_decimal::Decimal;

use super::audit_file::audit_csv;
use super::flags_file::flags_csv;
use super::folder::Folder;
use super::gradebook::{FreeText, gradebook_csv, points};
use crate::judge::Part;
use crate::measure::plain;
use crate::term::{Judged, Slot, Term};
use crate::text::{guarded, write_csv};

const HEADER: [&str; 27] = [
    "experiment",
    "student_id",
    "section",
    "unknown",
    "lot",
    "trials_counted",
    "mean_delivered_mL",
    "result",
    "unit",
    "std_dev",
    "range_percent",
    "standard_uncertainty",
    "expanded_uncertainty",
    "true_value",
    "relative_error_percent",
    "accuracy",
    "agreement",
    "recording",
    "calculation",
    "by_hand",
    "late",
    "total",
    "possible",
    "likely_slip",
    "flags",
    "status",
    "adjustment",
];

/// The four files written out, from judgements in course and roster order. They hold true values: they are for staff.
pub fn outputs(term: &Term, judged: &[(Slot, Judged)]) -> Folder {
    let mut folder = Folder::default();
    folder.put("gradebook.csv", gradebook_csv(term, judged, FreeText::Safe));
    folder.put("results.csv", results_csv(term, judged));
    folder.put("flags.csv", flags_csv(term, judged));
    folder.put("audit.csv", audit_csv(term, judged));
    folder
}

/// One row per submission in the order given. It holds true values: it is for staff.
pub fn results_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let sections: HashMap<&str, &str> = term
        .students
        .iter()
        .map(|s| (s.id.as_str(), s.section.as_str()))
        .collect();
    let units: HashMap<&str, &str> = term
        .experiments
        .iter()
        .map(|e| (e.key.as_str(), e.procedure.result.unit.name()))
        .collect();
    let rows = judged.iter().map(|(slot, judged)| {
        let section = sections
            .get(slot.student.as_str())
            .copied()
            .unwrap_or_default();
        let unit = units
            .get(slot.experiment.as_str())
            .copied()
            .unwrap_or_default();
        row(slot, judged, section, unit, term.by_hand.contains_key(slot))
    });
    write_csv(&HEADER, rows)
}

fn row(slot: &Slot, judged: &Judged, section: &str, unit: &str, given: bool) -> [String; 27] {
    let evaluation = &judged.evaluation;
    let (marks, outcome) = (&evaluation.marks, evaluation.outcome.as_ref());
    let number = |value: Option<Decimal>| value.map(plain).unwrap_or_default();
    let part = |part: Part| {
        marks
            .part(part)
            .map(|mark| points(mark.points))
            .unwrap_or_default()
    };
    let flags: Vec<&str> = evaluation
        .flags
        .iter()
        .map(|flag| flag.code.code())
        .collect();
    let explained = evaluation.explanations();
    let slips: Vec<&str> = explained
        .into_iter()
        .filter_map(|explanation| Some(explanation.likely()?.code.code()))
        .collect();
    [
        slot.experiment.to_string(),
        guarded(&slot.student),
        guarded(section),
        guarded(&evaluation.unknown),
        guarded(&evaluation.titrant_lots_written()),
        outcome.map_or(0, |o| o.counted).to_string(),
        number(outcome.and_then(|o| o.mean_delivered)),
        number(outcome.map(|o| o.result)),
        unit.to_owned(),
        number(outcome.and_then(|o| o.std_dev)),
        number(outcome.and_then(|o| o.range_percent)),
        number(outcome.map(|o| o.standard_uncertainty)),
        number(outcome.map(|o| o.expanded_uncertainty)),
        number(evaluation.true_value),
        number(evaluation.relative_error_percent),
        part(Part::Accuracy),
        part(Part::Agreement),
        part(Part::Recording),
        part(Part::Calculation),
        // empty until somebody has given them
        if given {
            part(Part::ByHand)
        } else {
            String::new()
        },
        points(marks.late),
        points(marks.total),
        points(marks.possible),
        slips.join(" "),
        flags.join(" "),
        judged.status.name().to_owned(),
        points(marks.adjustment),
    ]
}

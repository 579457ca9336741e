//! `results.csv`: a row per submission with every figure behind its marks.

use std::collections::HashMap;

use rust_decimal::Decimal;

use super::audit_file::audit_csv;
use super::flags_file::flags_csv;
use super::folder::Folder;
use super::gradebook::{FreeText, gradebook_csv, points};
use crate::judge::{Outcome, Part};
use crate::measure::plain;
use crate::term::{Judged, Slot, Term};
use crate::text::{WrittenColumn, guarded, write_columns};

/// A submission as its row sees it.
struct ResultRow<'t> {
    slot: &'t Slot,
    section: &'t str,
    unit: &'t str,
    judged: &'t Judged,
    /// Whether somebody has given points by hand.
    given: bool,
}

fn columns<'t>() -> [WrittenColumn<ResultRow<'t>>; 27] {
    [
        ("experiment", |row| row.slot.experiment.to_string()),
        ("student_id", |row| guarded(&row.slot.student)),
        ("section", |row| guarded(row.section)),
        ("unknown", |row| guarded(&row.judged.evaluation.unknown)),
        ("lot", |row| {
            guarded(&row.judged.evaluation.titrant_lots_written())
        }),
        ("trials_counted", |row| {
            row.outcome().map_or(0, |o| o.counted).to_string()
        }),
        ("mean_delivered_mL", |row| {
            number(row.outcome().and_then(|o| o.mean_delivered))
        }),
        ("result", |row| number(row.outcome().map(|o| o.result))),
        ("unit", |row| row.unit.to_owned()),
        ("std_dev", |row| {
            number(row.outcome().and_then(|o| o.std_dev))
        }),
        ("range_percent", |row| {
            number(row.outcome().and_then(|o| o.range_percent))
        }),
        ("standard_uncertainty", |row| {
            number(row.outcome().map(|o| o.standard_uncertainty))
        }),
        ("expanded_uncertainty", |row| {
            number(row.outcome().map(|o| o.expanded_uncertainty))
        }),
        ("true_value", |row| number(row.judged.evaluation.true_value)),
        ("relative_error_percent", |row| {
            number(row.judged.evaluation.relative_error_percent)
        }),
        ("accuracy", |row| row.part(Part::Accuracy)),
        ("agreement", |row| row.part(Part::Agreement)),
        ("recording", |row| row.part(Part::Recording)),
        ("calculation", |row| row.part(Part::Calculation)),
        ("by_hand", |row| match row.given {
            true => row.part(Part::ByHand),
            false => String::new(),
        }),
        ("late", |row| points(row.judged.evaluation.marks.late)),
        ("total", |row| points(row.judged.evaluation.marks.total)),
        ("possible", |row| {
            points(row.judged.evaluation.marks.possible)
        }),
        ("likely_slip", |row| {
            let explained = row.judged.evaluation.explanations().into_iter();
            let likely = explained.filter_map(|one| Some(one.likely()?.code.code()));
            likely.collect::<Vec<_>>().join(" ")
        }),
        ("flags", |row| {
            let flags = row.judged.evaluation.flags.iter();
            let codes = flags.map(|flag| flag.code.code());
            codes.collect::<Vec<_>>().join(" ")
        }),
        ("status", |row| row.judged.status.name().to_owned()),
        ("adjustment", |row| {
            points(row.judged.evaluation.marks.adjustment)
        }),
    ]
}

impl ResultRow<'_> {
    fn outcome(&self) -> Option<&Outcome> {
        self.judged.evaluation.outcome.as_ref()
    }

    fn part(&self, part: Part) -> String {
        let mark = self.judged.evaluation.marks.part(part);
        mark.map(|mark| points(mark.points)).unwrap_or_default()
    }
}

fn number(value: Option<Decimal>) -> String {
    value.map(plain).unwrap_or_default()
}

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
    let rows = judged.iter().map(|(slot, judged)| ResultRow {
        slot,
        section: sections.get(slot.student.as_str()).unwrap_or(&""),
        unit: units.get(slot.experiment.as_str()).unwrap_or(&""),
        judged,
        given: term.by_hand.contains_key(slot),
    });
    write_columns(&columns(), rows)
}

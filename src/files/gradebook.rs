//! `gradebook.csv`: a row per student, a column per experiment, the total.

use std::collections::HashMap;

use rust_decimal::Decimal;

use super::cells::guarded;
use super::table::write_csv;
use crate::measure::to_decimals;
use crate::term::{Judged, Slot, Term};

/// Points with two decimals; an empty cell means nothing handed in. Students who have left are left out.
#[must_use]
pub fn gradebook_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let totals: HashMap<(&str, &str), Decimal> = judged
        .iter()
        .map(|(slot, judged)| {
            let place = (slot.student.as_str(), slot.experiment.as_str());
            (place, judged.evaluation.marks.total)
        })
        .collect();
    let mut header = vec!["student_id", "family_name", "given_name", "section"];
    header.extend(term.experiments.iter().map(|e| e.key.as_str()));
    header.push("total");
    let rows = term.enrolled().map(|s| {
        let mut cells: Vec<String> = [&s.id, &s.family_name, &s.given_name, &s.section]
            .map(|text| guarded(text))
            .into();
        // empty means nothing handed in, in the total as in a column
        let mut sum = None;
        for experiment in &term.experiments {
            let total = totals.get(&(s.id.as_str(), experiment.key.as_str()));
            if let Some(total) = total {
                sum = Some(sum.unwrap_or(Decimal::ZERO).saturating_add(*total));
            }
            cells.push(total.map_or_else(String::new, |total| points(*total)));
        }
        cells.push(sum.map_or_else(String::new, points));
        cells
    });
    write_csv(&header, rows)
}

/// Points as they are written: two decimals.
pub(super) fn points(points: Decimal) -> String {
    to_decimals(points, 2).to_string()
}

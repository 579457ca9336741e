//! `issued.csv` and `releases.csv`: files whose rows rest on one another.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::ids::{ExperimentKey, UnknownCode};
use crate::term::{Reissue, Release, Slot, Term};
use crate::text::{
    Columns, Fault, Known, Once, Table, again, found, guarded, instant, line_of_text, write_csv,
};

const ISSUED: [&str; 6] = ["experiment", "student_id", "unknown", "reason", "by", "at"];
const RELEASES: [&str; 3] = ["experiment", "released_at", "section"];

/// Bottles as they are issued, and those given in place of others.
pub(super) type Bottles = (BTreeMap<Slot, UnknownCode>, BTreeMap<Slot, Vec<Reissue>>);

/// Reads the bottles. A second row of a student gives another bottle, and says why and when.
pub(super) fn read_issued(bytes: &[u8], known: &Known, faults: &mut Vec<Fault>) -> Bottles {
    let (mut issued, mut reissued) = Bottles::default();
    let columns = Columns::new(&ISSUED[..3], &ISSUED[3..]);
    let Some(table) = Table::read("issued.csv", bytes, &columns, faults) else {
        return (issued, reissued);
    };
    let mut once = Once::new();
    for row in &table.rows {
        let experiment = table.get(row, "experiment", |text| known.experiment(text), faults);
        let student = table.get(row, "student_id", |text| known.student(text), faults);
        let (Some(experiment), Some(student)) = (experiment, student) else {
            continue;
        };
        let unknown = |text: &str| known.unknown(&experiment, text);
        let unknown = table.get(row, "unknown", unknown, faults);
        let reason = table.get(row, "reason", line_of_text, faults);
        let slot = Slot {
            experiment,
            student,
        };
        let first = once.seen(slot.clone(), row.line);
        let (Some(unknown), Some(reason)) = (unknown, reason) else {
            continue;
        };
        match (first, reason.is_empty()) {
            (None, true) => {
                issued.insert(slot, unknown);
            }
            (Some(first), true) => {
                faults.push(table.fault(row, "student_id", again(&slot.student, first)));
            }
            (None, false) => {
                let what = found(&reason, "no reason: it is the student's first bottle");
                faults.push(table.fault(row, "reason", what));
            }
            (Some(_), false) => {
                let by = table.get(row, "by", line_of_text, faults);
                let at = table.get(row, "at", instant, faults);
                let (Some(by), Some(at)) = (by, at) else {
                    continue;
                };
                let Some(instead_of) = issued.insert(slot.clone(), unknown.clone()) else {
                    continue;
                };
                reissued.entry(slot).or_default().push(Reissue {
                    unknown,
                    instead_of,
                    reason,
                    by,
                    at,
                });
            }
        }
    }
    (issued, reissued)
}

/// The bottles of a term; none if none is issued.
pub(super) fn write_issued(term: &Term) -> Option<String> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for slot in term.slots() {
        let Some(now) = term.issued.get(&slot) else {
            continue;
        };
        let others = term.reissued.get(&slot).map_or(&[][..], Vec::as_slice);
        let first = others.first().map_or(now, |one| &one.instead_of);
        let row = |unknown: &str, [reason, by, at]: [String; 3]| {
            let student = guarded(&slot.student);
            let cells = [slot.experiment.to_string(), student, guarded(unknown)];
            cells.into_iter().chain([reason, by, at]).collect()
        };
        rows.push(row(first, Default::default()));
        rows.extend(others.iter().map(|one| {
            let why = [guarded(&one.reason), guarded(&one.by), one.at.to_string()];
            row(&one.unknown, why)
        }));
    }
    let width = if term.reissued.is_empty() { 3 } else { 6 };
    rows.iter_mut().for_each(|row| row.truncate(width));
    (!rows.is_empty()).then(|| write_csv(&ISSUED[..width], rows))
}

/// Reads when experiments were released, and to which sections.
pub(super) fn read_releases(
    bytes: &[u8],
    known: &Known,
    faults: &mut Vec<Fault>,
) -> BTreeMap<ExperimentKey, Release> {
    let mut all: BTreeMap<ExperimentKey, Release> = BTreeMap::new();
    let columns = Columns::new(&RELEASES[..2], &RELEASES[2..]);
    let Some(table) = Table::read("releases.csv", bytes, &columns, faults) else {
        return all;
    };
    let mut once = Once::new();
    for row in &table.rows {
        let experiment = table.get(row, "experiment", |text| known.experiment(text), faults);
        let section = table.get_if_any(row, "section", |text| known.section(text), faults);
        let named = !table.cell(row, "section").trim().is_empty();
        // held back from one section: the row of that section has no time
        let at: Option<Option<Timestamp>> = match named {
            true => Some(table.get_if_any(row, "released_at", instant, faults)),
            false => table.get(row, "released_at", instant, faults).map(Some),
        };
        let (Some(experiment), Some(at)) = (experiment, at) else {
            continue;
        };
        if let Some(first) = once.seen((experiment.clone(), section.clone()), row.line) {
            faults.push(table.fault(row, "experiment", again(&experiment, first)));
            continue;
        }
        let release = all.entry(experiment).or_default();
        match section {
            Some(section) => {
                release.sections.insert(section, at);
            }
            None if named => {}
            None => release.everyone = at,
        }
    }
    // a section of nothing released is held back anyhow
    for release in all.values_mut() {
        let everyone = release.everyone.is_some();
        release.sections.retain(|_, at| at.is_some() || everyone);
    }
    all.retain(|_, release| *release != Release::default());
    all
}

/// The releases of a term; none if there is none.
pub(super) fn write_releases(term: &Term) -> Option<String> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    let time = |at: Option<Timestamp>| at.map(|at| at.to_string()).unwrap_or_default();
    for experiment in &term.experiments {
        let Some(release) = term.released.get(&experiment.key) else {
            continue;
        };
        let key = || experiment.key.to_string();
        if release.everyone.is_some() {
            rows.push(vec![key(), time(release.everyone), String::new()]);
        }
        let sections = release.sections.iter();
        rows.extend(sections.map(|(section, at)| vec![key(), time(*at), guarded(section)]));
    }
    let sections = term.released.values().any(|one| !one.sections.is_empty());
    let width = if sections { 3 } else { 2 };
    rows.iter_mut().for_each(|row| row.truncate(width));
    (!rows.is_empty()).then(|| write_csv(&RELEASES[..width], rows))
}

//! `issued.csv` and `releases.csv`: files whose rows rest on one another.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::term::{BySlot, Reissue, Release, Slot, Term};
use crate::text::{
    Fault, Known, Once, RecordColumn, RecordFile, again, column, found, instant, line_of_text,
    or_empty,
};

/// Bottles as they are issued, and those given in place of others.
pub(super) type Bottles = (BySlot<UnknownCode>, BySlot<Vec<Reissue>>);

/// A bottle given to a student: their first one, or with a reason one in place of it.
#[derive(Default)]
struct GivenRow {
    slot: Slot,
    unknown: UnknownCode,
    reason: String,
    by: String,
    at: Option<Timestamp>,
}

fn issued_file() -> RecordFile<GivenRow> {
    let is_reissue = |one: &GivenRow| !one.reason.is_empty();
    RecordFile {
        name: "issued.csv",
        new: GivenRow::default,
        columns: vec![
            column!(GivenRow: "experiment", slot.experiment, known experiment),
            column!(GivenRow: "student_id", slot.student, known student),
            RecordColumn::new(
                "unknown",
                |one: &mut GivenRow, text, known| {
                    let read = known.unknown(&one.slot.experiment, text);
                    read.map(|code| one.unknown = code)
                },
                |one| one.unknown.to_string(),
            )
            .after("experiment"),
            column!(GivenRow: "reason", reason, line_of_text).if_used(is_reissue),
            // who and when is said with a reason
            column!(GivenRow: "by", by, line_of_text).if_used(is_reissue),
            RecordColumn::new(
                "at",
                |one: &mut GivenRow, text, _| match one.reason.is_empty() {
                    true => Ok(()),
                    false => instant(text).map(|at| one.at = Some(at)),
                },
                |one| or_empty(one.at.as_ref()),
            )
            .if_used(is_reissue),
        ],
        once: &[],
    }
}

/// Reads the bottles. A second row of a student gives another bottle, and says why and when.
pub(super) fn read_issued(bytes: &[u8], known: &Known, faults: &mut Vec<Fault>) -> Bottles {
    let (mut issued, mut reissued) = Bottles::default();
    let file = issued_file();
    let mut once = Once::new();
    for row in file.rows(bytes, known, faults).unwrap_or_default() {
        let is_at_fault = |column: &str| row.at_fault.contains(&column);
        if is_at_fault("experiment") || is_at_fault("student_id") {
            continue;
        }
        let GivenRow {
            slot,
            unknown,
            reason,
            by,
            at,
        } = row.record;
        let first = once.seen(slot.clone(), row.line);
        match (first, reason.is_empty()) {
            _ if is_at_fault("unknown") || is_at_fault("reason") => {}
            (None, true) => {
                issued.insert(slot, unknown);
            }
            (Some(first), true) => {
                let what = again(&slot.student, first);
                faults.push(file.fault(row.line, "student_id", what));
            }
            (None, false) => {
                let what = found(&reason, "no reason: it is the student's first bottle");
                faults.push(file.fault(row.line, "reason", what));
            }
            (Some(_), false) => {
                let before = issued.insert(slot.clone(), unknown.clone());
                if let (Some(instead_of), Some(at)) = (before, at) {
                    let given = Reissue {
                        unknown,
                        instead_of,
                        reason,
                        by,
                        at,
                    };
                    reissued.push(&slot, given);
                }
            }
        }
    }
    (issued, reissued)
}

/// The bottles of a term; none if none is issued.
pub(super) fn write_issued(term: &Term) -> Option<String> {
    let mut rows: Vec<GivenRow> = Vec::new();
    for slot in term.slots() {
        let Some(now) = term.issued.get(&slot) else {
            continue;
        };
        let others = term.reissues_of(&slot);
        rows.push(GivenRow {
            unknown: others.first().map_or(now, |one| &one.instead_of).clone(),
            slot: slot.clone(),
            ..GivenRow::default()
        });
        rows.extend(others.iter().map(|one| GivenRow {
            slot: slot.clone(),
            unknown: one.unknown.clone(),
            reason: one.reason.clone(),
            by: one.by.clone(),
            at: Some(one.at),
        }));
    }
    issued_file().write_any(&rows)
}

/// When everybody has the results, or a section has; a section without a time has them held back.
#[derive(Default)]
struct ReleaseRow {
    experiment: ExperimentKey,
    at: Option<Timestamp>,
    section: Option<SectionName>,
}

fn releases_file() -> RecordFile<ReleaseRow> {
    RecordFile {
        name: "releases.csv",
        new: ReleaseRow::default,
        columns: vec![
            column!(ReleaseRow: "experiment", experiment, known experiment),
            column!(ReleaseRow: "released_at", at, any instant),
            column!(ReleaseRow: "section", section, any known section)
                .if_used(|one| one.section.is_some()),
        ],
        once: &[],
    }
}

/// Reads when experiments were released, and to which sections.
pub(super) fn read_releases(
    bytes: &[u8],
    known: &Known,
    faults: &mut Vec<Fault>,
) -> BTreeMap<ExperimentKey, Release> {
    let mut all: BTreeMap<ExperimentKey, Release> = BTreeMap::new();
    let file = releases_file();
    let mut once = Once::new();
    for row in file.rows(bytes, known, faults).unwrap_or_default() {
        if !row.at_fault.is_empty() {
            continue;
        }
        let one = row.record;
        if one.section.is_none()
            && one.at.is_none()
            && let Err(what) = instant("")
        {
            faults.push(file.fault(row.line, "released_at", what));
            continue;
        }
        let named = (one.experiment.clone(), one.section.clone());
        if let Some(first) = once.seen(named, row.line) {
            faults.push(file.fault(row.line, "experiment", again(&one.experiment, first)));
            continue;
        }
        let release = all.entry(one.experiment).or_default();
        match one.section {
            Some(section) => {
                release.sections.insert(section, one.at);
            }
            None => release.everyone = one.at,
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
    let mut rows = Vec::new();
    for experiment in &term.experiments {
        let Some(release) = term.released.get(&experiment.key) else {
            continue;
        };
        let row = |section: Option<&SectionName>, at| ReleaseRow {
            experiment: experiment.key.clone(),
            at,
            section: section.cloned(),
        };
        rows.extend(release.everyone.map(|at| row(None, Some(at))));
        let sections = release.sections.iter();
        rows.extend(sections.map(|(section, at)| row(Some(section), *at)));
    }
    releases_file().write_any(&rows)
}

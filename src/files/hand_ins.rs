//! Drafts and answers put together into revisions, and revisions written out again.

use std::collections::{BTreeMap, HashMap};
use std::ops::Deref;
use std::sync::Arc;

use super::readings_file::{Draft, Drafts, INSTRUMENT, MOST_REVISIONS, OWN, SPOILED};
use super::set_aside::{Aside, set_aside};
use crate::columns::Column;
use crate::ids::{ExperimentKey, StudentId};
use crate::measure::Reading;
use crate::procedure::Procedure;
use crate::submission::{HandIn, Titration};
use crate::term::{Revision, Slot, Term};
use crate::text::{
    Columns, Fault, Known, Once, RecordColumn, RecordFile, Table, again, column, found, guarded,
    or_empty, whole, write_csv,
};

/// Answers by slot; each with its line and the revision it says it belongs to.
pub(super) type Answers = HashMap<Slot, Vec<(u64, Option<u32>, Reading)>>;

/// What a student answered; no revision is the last.
#[derive(Default)]
struct AnswerRow {
    slot: Slot,
    value: Option<Reading>,
    revision: Option<u32>,
}

fn reported_file() -> RecordFile<AnswerRow> {
    RecordFile {
        name: "reported.csv",
        new: AnswerRow::default,
        columns: vec![
            column!(AnswerRow: "experiment", slot.experiment, known experiment),
            column!(AnswerRow: "student_id", slot.student, known student),
            RecordColumn::new(
                "value",
                |one: &mut AnswerRow, text, _| {
                    let read = Reading::parse_answer_in(text, |_| false);
                    let read = read.map_err(|why| why.to_string());
                    read.map(|answer| one.value = Some(answer))
                },
                |one| or_empty(one.value.as_ref().map(Reading::written).as_ref()),
            )
            .plain(),
            column!(AnswerRow: "revision", revision, any |text| whole(text, 1..=MOST_REVISIONS))
                .if_used(|one| one.revision.is_some()),
        ],
        once: &[],
    }
}

pub(super) fn read_reported(
    bytes: &[u8],
    known: &Known,
    mut aside: Aside,
    faults: &mut Vec<Fault>,
) -> Answers {
    let mut answers = Answers::new();
    let file = reported_file();
    let mut once = Once::new();
    let rows = file.rows(bytes, known, faults).unwrap_or_default();
    let others = Columns::with_others(&[], &[]);
    let table = aside
        .as_ref()
        .and_then(|_| Table::read(file.name, bytes, &others, &mut Vec::new()));
    for row in rows {
        let mut raw = table.iter().flat_map(|table| &table.rows);
        if let Some(table) = &table
            && !row.at_fault.is_empty()
            && let Some(raw) = raw.find(|raw| raw.line == row.line)
        {
            let is_own = |fault: &Fault| fault.file == file.name && fault.line == Some(row.line);
            let own: Vec<Fault> = faults.extract_if(.., |fault| is_own(fault)).collect();
            let is_sound = !row.at_fault.contains(&"experiment");
            let whose = (is_sound.then_some(&row.record.slot.experiment), known);
            // with no readings either there is a hand-in all the same, on which somebody can see it
            if let Some(slot) = set_aside(&mut aside, (table, raw), whose, own) {
                answers.entry(slot).or_default();
            }
            continue;
        }
        if row.at_fault.iter().any(|column| *column != "value") {
            continue;
        }
        let AnswerRow {
            slot,
            value,
            revision,
        } = row.record;
        if let Some(first) = once.seen((slot.clone(), revision), row.line) {
            faults.push(file.fault(row.line, "student_id", again(&slot.student, first)));
        } else if let Some(answer) = value {
            let all = answers.entry(slot).or_default();
            all.push((row.line, revision, answer));
        }
    }
    answers
}

/// Puts the revisions of one experiment together. Answers that belong to it are taken out of `answers`.
pub(super) fn assemble(
    key: &ExperimentKey,
    mut current: Drafts,
    mut superseded: Drafts,
    answers: &mut Answers,
    faults: &mut Vec<Fault>,
) -> Vec<(Slot, Vec<Revision>)> {
    let mut students: Vec<StudentId> = current.keys().chain(superseded.keys()).cloned().collect();
    students.extend(
        answers
            .keys()
            .filter(|slot| slot.experiment == key)
            .map(|slot| slot.student.clone()),
    );
    students.sort_unstable();
    students.dedup();
    let mut all = Vec::new();
    for student in students {
        let earlier = superseded.remove(&student).unwrap_or_default();
        let now = current
            .remove(&student)
            .and_then(|mut drafts| drafts.remove(&0));
        let slot = Slot::new(key, &student);
        let own = answers.remove(&slot).unwrap_or_default();
        let revisions = one(&slot, now, earlier, own, faults);
        all.push((slot, revisions));
    }
    all
}

fn one(
    slot: &Slot,
    now: Option<Draft>,
    earlier: BTreeMap<u32, Draft>,
    answers: Vec<(u64, Option<u32>, Reading)>,
    faults: &mut Vec<Fault>,
) -> Vec<Revision> {
    let in_file = |folder: &str| format!("{folder}/{}.csv", slot.experiment);
    let mut fault = |file: String, line: u64, column: &str, what: String| {
        faults.push(Fault::of_file(file, what).at(line).in_column(column));
    };
    for ((number, draft), expected) in earlier.iter().zip(1..) {
        if *number != expected {
            let what = found(
                &number.to_string(),
                &format!("revision {expected} of this student first"),
            );
            fault(in_file("superseded"), draft.line, "revision", what);
            break;
        }
    }
    let last = u32::try_from(earlier.len())
        .unwrap_or(u32::MAX)
        .saturating_add(1);
    if let Some(stated) = now
        .as_ref()
        .and_then(|draft| draft.revision)
        .filter(|stated| *stated != last)
    {
        let line = now.as_ref().map_or(1, |draft| draft.line);
        let what = found(
            &stated.to_string(),
            &format!(
                "{last}: superseded/ has {} before it",
                last.saturating_sub(1)
            ),
        );
        fault(in_file("readings"), line, "revision", what);
    }
    let has_answer = answers
        .iter()
        .any(|(_, revision, _)| revision.is_none_or(|r| r == last));
    if let (None, false, Some(first)) = (&now, has_answer, earlier.values().next()) {
        let what = found(&slot.student, "readings of this student that replace these");
        fault(in_file("superseded"), first.line, "student_id", what);
    }
    let drafts = earlier.into_values().chain([now.unwrap_or_default()]);
    let mut revisions: Vec<Revision> = drafts
        .map(|draft| Revision {
            receipt: None,
            hand_in: HandIn {
                titrations: draft.titrations,
                reported: None,
                confirmed: draft.confirmed,
            }
            .into(),
            submitted_at: draft.submitted_at,
            reason: draft.reason,
        })
        .collect();
    for (line, stated, answer) in answers {
        let number = stated.unwrap_or(last);
        let place = usize::try_from(number)
            .unwrap_or(usize::MAX)
            .saturating_sub(1);
        match revisions.get_mut(place) {
            Some(revision) if revision.hand_in.reported.is_none() => {
                Arc::make_mut(&mut revision.hand_in).reported = Some(answer)
            }
            Some(_) => {
                let what = found(&number.to_string(), "one answer for each revision");
                fault("reported.csv".into(), line, "revision", what);
            }
            None => {
                let what = found(&number.to_string(), &format!("a revision from 1 to {last}"));
                fault("reported.csv".into(), line, "revision", what);
            }
        }
    }
    revisions
}

/// `readings/KEY.csv` (or, with `superseded`, the earlier revisions) of one experiment; none if it has no rows.
pub(super) fn write_readings(
    term: &Term,
    key: &ExperimentKey,
    procedure: &Procedure,
    superseded: bool,
) -> Option<String> {
    let mut hand_ins: Vec<(&str, usize, usize, &Revision)> = Vec::new();
    for student in &term.students {
        let revisions = term
            .submissions
            .get(&Slot::new(key, &student.id))
            .map_or(&[][..], Vec::as_slice);
        let last = revisions.len().saturating_sub(1);
        for (index, revision) in revisions.iter().enumerate() {
            if (index < last) == superseded {
                hand_ins.push((
                    &student.id,
                    index.saturating_add(1),
                    revisions.len(),
                    revision,
                ));
            }
        }
    }
    let titrations = || {
        hand_ins
            .iter()
            .flat_map(|(_, _, _, revision)| &revision.hand_in.titrations)
    };
    let fillings = titrations().map(Titration::fillings).max().unwrap_or(1);
    let mut readings = Column::with_notes(procedure, fillings);
    readings.retain(|column| {
        !column.is_note(procedure) || titrations().any(|t| column.get(t).is_some())
    });
    let excess = procedure.uses_excess_lot();
    let times = hand_ins
        .iter()
        .any(|(_, _, _, r)| r.submitted_at.is_some() || r.hand_in.submitted_at().is_some());
    let own = superseded
        || hand_ins.iter().any(|(_, _, of, r)| {
            *of > 1
                || !r.reason.is_empty()
                || !r.hand_in.confirmed.is_empty()
                || needs_bare_row(r, *of > 1)
        });
    let instruments = titrations().any(|t| t.instrument.is_some());
    let spoiled = titrations().any(|t| t.spoiled.is_some());
    let mut header = vec![
        "student_id".to_owned(),
        "trial".to_owned(),
        "lot".to_owned(),
        "unknown".to_owned(),
    ];
    header.extend(excess.then(|| "excess_lot".to_owned()));
    header.extend(readings.iter().map(ToString::to_string));
    header.extend(times.then(|| "submitted_at".to_owned()));
    header.extend(OWN.iter().filter(|_| own).map(|name| (*name).to_owned()));
    header.extend(instruments.then(|| INSTRUMENT.to_owned()));
    header.extend(spoiled.then(|| SPOILED.to_owned()));
    let mut rows: Vec<Vec<String>> = Vec::new();
    for (student, number, of, revision) in hand_ins {
        let bare = needs_bare_row(revision, of > 1).then_some(None);
        let titrations = revision.hand_in.titrations.iter().map(Some);
        for (index, titration) in titrations.chain(bare).enumerate() {
            let mut cells = vec![guarded(student)];
            cells.extend(cells_of(titration, excess, &readings));
            if times {
                let own_times = revision.hand_in.submitted_at().is_some();
                let time = if own_times {
                    titration.and_then(|t| t.submitted_at)
                } else {
                    revision.submitted_at
                };
                cells.push(time.map(|t| t.to_string()).unwrap_or_default());
            }
            if own {
                let counts = superseded || of > 1 || titration.is_none();
                cells.push(if counts {
                    number.to_string()
                } else {
                    String::new()
                });
                let first = |text: String| if index == 0 { text } else { String::new() };
                cells.push(first(guarded(&revision.reason)));
                cells.push(first(revision.hand_in.confirmed.join(" ")));
            }
            if instruments {
                let number = titration.and_then(|t| t.instrument.as_deref());
                cells.push(number.map(guarded).unwrap_or_default());
            }
            if spoiled {
                let why = titration.and_then(|t| t.spoiled.as_deref());
                cells.push(why.map(guarded).unwrap_or_default());
            }
            rows.push(cells);
        }
    }
    let header: Vec<&str> = header.iter().map(String::as_str).collect();
    (!rows.is_empty()).then(|| write_csv(&header, rows))
}

/// A hand-in without titrations needs a row, unless its answer in `reported.csv` says all there is.
fn needs_bare_row(revision: &Revision, one_of_many: bool) -> bool {
    let hand_in = &revision.hand_in;
    let answer_only = hand_in.reported.is_some()
        && hand_in.confirmed.is_empty()
        && revision.reason.is_empty()
        && revision.submitted_at.is_none()
        && !one_of_many;
    hand_in.titrations.is_empty() && !answer_only
}

fn cells_of(titration: Option<&Titration>, excess: bool, readings: &[Column]) -> Vec<String> {
    let Some(titration) = titration else {
        let count = readings.len().saturating_add(if excess { 4 } else { 3 });
        return vec![String::new(); count];
    };
    fn text(code: &Option<impl Deref<Target = str>>) -> String {
        code.as_deref().map(guarded).unwrap_or_default()
    }
    let mut cells = vec![
        titration.trial.to_string(),
        text(&titration.lot),
        text(&titration.unknown),
    ];
    cells.extend(excess.then(|| text(&titration.excess_lot)));
    let written = readings.iter().map(|column| column.get(titration));
    cells.extend(
        written.map(|reading| reading.map_or_else(String::new, |r| r.written().to_owned())),
    );
    cells
}

/// `reported.csv` of a term; none if nobody answered.
pub(super) fn write_reported(term: &Term) -> Option<String> {
    let mut rows = Vec::new();
    for slot in term.slots() {
        let revisions = term.submissions.get(&slot).map_or(&[][..], Vec::as_slice);
        for (number, revision) in (1..).zip(revisions) {
            let is_last = usize::try_from(number) == Ok(revisions.len());
            let row = |answer: &Reading| AnswerRow {
                slot: slot.clone(),
                value: Some(answer.clone()),
                revision: (!is_last).then_some(number),
            };
            rows.extend(revision.hand_in.reported.as_ref().map(row));
        }
    }
    reported_file().write_any(&rows)
}

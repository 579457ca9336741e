//! `notes.csv`: what students and staff said to each other.

use std::collections::BTreeMap;

use super::bottles::slots;
use super::known::Known;
use crate::term::{Note, Side, Slot, Term, note_text};
use crate::text::{Columns, Fault, Table, code, found, guarded, instant, write_csv};

const HEADER: [&str; 6] = ["experiment", "student_id", "at", "from", "by", "text"];

/// Reads notes in the order of the file.
pub(super) fn read_notes(
    bytes: &[u8],
    known: &Known,
    faults: &mut Vec<Fault>,
) -> BTreeMap<Slot, Vec<Note>> {
    let mut all: BTreeMap<Slot, Vec<Note>> = BTreeMap::new();
    let columns = Columns::new(&HEADER, &[]);
    let Some(table) = Table::read("notes.csv", bytes, &columns, faults) else {
        return all;
    };
    let side = |text: &str| {
        Side::from_name(text.trim()).ok_or_else(|| found(text.trim(), "student or staff"))
    };
    for row in &table.rows {
        let experiment = table.get(row, "experiment", |text| known.experiment(text), faults);
        let student = table.get(row, "student_id", |text| known.student(text), faults);
        let at = table.get(row, "at", instant, faults);
        let from = table.get(row, "from", side, faults);
        let by = table.get(row, "by", code, faults);
        let text = table.get(row, "text", note_text, faults);
        if let (Some(experiment), Some(student), Some(at), Some(from), Some(by), Some(text)) =
            (experiment, student, at, from, by, text)
        {
            let note = Note { from, by, text, at };
            all.entry(Slot::new(&experiment, &student))
                .or_default()
                .push(note);
        }
    }
    all
}

/// The notes of a term; none if there is none.
pub(super) fn write_notes(term: &Term) -> Option<String> {
    let rows: Vec<_> = slots(term)
        .flat_map(|slot| {
            let notes = term.notes_of(&slot).iter();
            notes.map(|note| row(&slot, note)).collect::<Vec<_>>()
        })
        .collect();
    (!rows.is_empty()).then(|| write_csv(&HEADER, rows))
}

fn row(slot: &Slot, note: &Note) -> [String; 6] {
    [
        slot.experiment.to_string(),
        guarded(&slot.student),
        note.at.to_string(),
        note.from.name().to_owned(),
        guarded(&note.by),
        guarded(&note.text),
    ]
}

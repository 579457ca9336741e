//! A note of a student or of staff.

use super::{Made, OfSlot, Reach, SlotKind, slot_columns};
use crate::ids::StudentId;
use crate::term::{Note, Side, Slot, Term, note_text};
use crate::text::{RecordColumn, RecordFile, code, found, instant};

pub type LeaveNote = OfSlot<Note>;

impl SlotKind for Note {
    const NAME: &'static str = "note";
    const FILE: Option<fn() -> RecordFile<LeaveNote>> = Some(file);

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        if self.from == Side::Student {
            let mut by = StudentId::new(self.by.as_str());
            visit(&mut by);
            self.by = by.to_string();
        }
    }

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        let notes = term.notes.entry(slot.clone()).or_default();
        notes.push(self.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Section(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.notes.get(slot).cloned().unwrap_or_default()
    }
}

fn file() -> RecordFile<LeaveNote> {
    RecordFile {
        name: "notes.csv",
        new: LeaveNote::default,
        columns: slot_columns([
            RecordColumn::new(
                "at",
                |one: &mut LeaveNote, text, _| instant(text).map(|at| one.body.at = at),
                |one| one.body.at.to_string(),
            ),
            RecordColumn::new(
                "from",
                |one: &mut LeaveNote, text, _| side(text).map(|side| one.body.from = side),
                |one| one.body.from.name().to_owned(),
            ),
            RecordColumn::new(
                "by",
                |one: &mut LeaveNote, text, _| code(text).map(|by| one.body.by = by),
                |one| one.body.by.clone(),
            ),
            RecordColumn::new(
                "text",
                |one: &mut LeaveNote, text, _| note_text(text).map(|text| one.body.text = text),
                |one| one.body.text.clone(),
            ),
        ]),
        once: &[],
    }
}

fn side(text: &str) -> Result<Side, String> {
    let side = Side::from_name(text.trim());
    side.ok_or_else(|| found(text.trim(), "student or staff"))
}

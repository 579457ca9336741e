//! A note of a student or of staff.

use super::{Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind, records};
use crate::ids::StudentId;
use crate::term::{Note, Side, Slot, Term, note_text};
use crate::text::{RecordColumn, code, column, found, instant};

pub type LeaveNote = OfSlot<Note>;

impl SlotKind for Note {
    const NAME: &'static str = "note";
    const FILE: Option<fn() -> RecordsOf<LeaveNote>> = Some(file);

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        if self.from == Side::Student {
            let mut by = StudentId::new(self.by.as_str());
            visit(&mut by);
            self.by = by.to_string();
        }
    }

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.notes.push(slot, self.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Student(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.notes.get(slot).cloned().unwrap_or_default()
    }

    /// Notes stand by themselves.
    fn event(&self, _: usize) -> Option<SlotEvent> {
        None
    }
}

fn file() -> RecordsOf<LeaveNote> {
    records(
        "notes.csv",
        &[],
        [
            column!(LeaveNote: "at", body.at, instant),
            RecordColumn::new(
                "from",
                |one: &mut LeaveNote, text, _| side(text).map(|side| one.body.from = side),
                |one| one.body.from.name().to_owned(),
            ),
            column!(LeaveNote: "by", body.by, code),
            column!(LeaveNote: "text", body.text, |text| note_text(text).map_err(String::from)),
        ],
    )
}

fn side(text: &str) -> Result<Side, String> {
    let side = Side::from_name(text.trim());
    side.ok_or_else(|| found(text.trim(), "student or staff"))
}

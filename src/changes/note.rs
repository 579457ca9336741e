//! A note of a student or of staff.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, listed, newer_of, slot_columns};
use crate::ids::StudentId;
use crate::term::{Note, Side, Slot, Term, note_text};
use crate::text::{RecordColumn, RecordFile, code, found, instant};

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct LeaveNote {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub note: Note,
}

of_slot!(LeaveNote);

impl ChangeKind for LeaveNote {
    const NAME: &'static str = "note";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        if self.note.from == Side::Student {
            let mut by = StudentId::new(self.note.by.as_str());
            visit(&mut by);
            self.note.by = by.to_string();
        }
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let notes = term.notes.entry(self.slot.clone()).or_default();
        notes.push(self.note.clone());
    }

    fn reach(&self) -> Reach {
        Reach::Section(self.slot.clone())
    }

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        let file = RecordFile {
            name: "notes.csv",
            new: Self::default,
            columns: slot_columns([
                RecordColumn::new(
                    "at",
                    |one: &mut Self, text, _| instant(text).map(|at| one.note.at = at),
                    |one| one.note.at.to_string(),
                ),
                RecordColumn::new(
                    "from",
                    |one: &mut Self, text, _| side(text).map(|side| one.note.from = side),
                    |one| one.note.from.name().to_owned(),
                ),
                RecordColumn::new(
                    "by",
                    |one: &mut Self, text, _| code(text).map(|by| one.note.by = by),
                    |one| one.note.by.clone(),
                ),
                RecordColumn::new(
                    "text",
                    |one: &mut Self, text, _| note_text(text).map(|text| one.note.text = text),
                    |one| one.note.text.clone(),
                ),
            ]),
            once: &[],
        };
        Some((file, |term| {
            listed(term, &term.notes, |slot, note| Self { slot, note })
        }))
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer_of(&held.notes, &incoming.notes);
        fresh.map(|(slot, note)| Self { slot, note }).collect()
    }
}

fn side(text: &str) -> Result<Side, String> {
    let side = Side::from_name(text.trim());
    side.ok_or_else(|| found(text.trim(), "student or staff"))
}

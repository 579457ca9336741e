//! A note of a student or of staff.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, newer_of};
use crate::ids::StudentId;
use crate::term::{Note, Side, Slot, Term};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct LeaveNote {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub note: Note,
}

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

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer_of(&held.notes, &incoming.notes);
        fresh.map(|(slot, note)| Self { slot, note }).collect()
    }
}

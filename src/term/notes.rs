//! Notes between a student and staff about one experiment, and whether the student still waits for an answer.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{Slot, Term};
use crate::language::{Message, message};
use crate::words::named;

/// Something that was said.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// Which side said it.
    pub from: Side,
    /// Login of who said it.
    pub by: String,
    pub text: String,
    pub at: Timestamp,
}

/// A side of the talk.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The student: a note of theirs asks for another look.
    #[default]
    Student,
    /// An assistant or coordinator: a note of theirs answers.
    Staff,
}

/// Most characters of a note.
pub const LONGEST_NOTE: usize = 1000;

named! { Side, name, from_name:
    Student = "student",
    Staff = "staff",
}

/// A note as it is kept: without blanks around it.
pub fn note_text(text: &str) -> Result<String, Message> {
    let text = text.trim().replace("\r\n", "\n");
    let count = text.chars().count();
    if text.is_empty() {
        Err(message!("talk.nothing"))
    } else if count > LONGEST_NOTE {
        Err(message!(
            "talk.too-long",
            found = count,
            most = LONGEST_NOTE
        ))
    } else {
        Ok(text)
    }
}

impl Term {
    /// The notes of a slot, oldest first.
    pub fn notes_of(&self, slot: &Slot) -> &[Note] {
        self.notes.get(slot).map_or(&[], Vec::as_slice)
    }

    /// The student's request for another look that nobody has answered, neither by a note nor by a decision.
    pub fn unanswered(&self, slot: &Slot) -> Option<&Note> {
        let last = self.notes_of(slot).last()?;
        let decided = self
            .decisions
            .get(slot)
            .is_some_and(|decisions| decisions.iter().any(|decision| decision.at > last.at));
        (last.from == Side::Student && !decided).then_some(last)
    }
}

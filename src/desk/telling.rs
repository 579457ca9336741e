//! What students and staff say to each other.

use jiff::Timestamp;

use super::Desk;
use crate::changes::{Change, LeaveNote};
use crate::language::{Message, message};
use crate::store::StoreError;
use crate::term::{Note, Side, Slot, note_text};

/// Most notes a student may leave without an answer between them.
pub const MOST_UNANSWERED: usize = 5;

/// Why a note was not kept.
#[derive(Debug, thiserror::Error)]
pub enum NoteError {
    /// Nothing was handed in there.
    #[error("found nothing handed in for this student and experiment")]
    NotFound,
    /// A student asks for another look once results are out.
    #[error("the results of this experiment are not out yet")]
    NotReleased,
    /// Nothing written, or too much.
    #[error("{0}")]
    Text(Message),
    /// A student has written again and again.
    #[error(
        "you have left {MOST_UNANSWERED} notes that wait for an answer; wait for it before you write again"
    )]
    TooMany,
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl NoteError {
    /// As whoever wrote it reads it.
    pub fn words(&self) -> Message {
        match self {
            Self::Text(what) => what.clone(),
            Self::TooMany => message!("talk.too-many", most = MOST_UNANSWERED),
            other => Message::verbatim(other.to_string()),
        }
    }
}

/// Keeps a note. A student's asks for another look.
pub async fn leave_note(
    desk: &Desk,
    slot: Slot,
    from: Side,
    text: &str,
    (login, at): (&str, Timestamp),
) -> Result<(), NoteError> {
    let text = note_text(text).map_err(NoteError::Text)?;
    let by = login.to_owned();
    desk.apply_if(login, at, |image| {
        let image = image.ok_or(StoreError::NoCourse)?;
        let term = &image.term;
        term.handed_in_by(&slot).ok_or(NoteError::NotFound)?;
        let notes = term.notes_of(&slot);
        if from == Side::Student {
            if !image.is_released_to(&slot) {
                return Err(NoteError::NotReleased);
            }
            let own = notes.iter().rev();
            if own.take_while(|note| note.from == from).count() >= MOST_UNANSWERED {
                return Err(NoteError::TooMany);
            }
        }
        // the form sent twice says it once
        let again = |last: &Note| last.from == from && last.by == by && last.text == text;
        if notes.last().is_some_and(again) {
            return Ok(Vec::new());
        }
        let note = Note { from, by, text, at };
        Ok(vec![Change::Note(LeaveNote { slot, body: note })])
    })
    .await?;
    Ok(())
}

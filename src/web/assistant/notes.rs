//! Notes to and from a student, and the answer to a request for another look.

use axum::response::Response;

use super::attempt::Attempt;
use super::decide::Sent;
use super::timeline::{Event, name_of};
use crate::desk::{Image, NoteError, leave_note};
use crate::term::{Side, Slot};
use crate::web::{PageError, PageResult, dates};

/// What was said about a submission.
pub struct Notes {
    pub lines: Vec<Event>,
    /// The student waits for an answer.
    pub waits: bool,
}

/// The notes of a submission.
pub fn notes(view: &Image, slot: &Slot) -> Notes {
    let term = &view.term;
    let line = |note: &crate::term::Note| Event {
        at: dates::instant(&term.course.zone, note.at),
        datetime: Some(note.at.to_string()),
        what: match note.from {
            Side::Student => "Asked".to_owned(),
            Side::Staff => "Answered".to_owned(),
        },
        who: match note.from {
            Side::Student => {
                let student = term.student(&note.by);
                student.map_or_else(|| note.by.clone(), ToString::to_string)
            }
            Side::Staff => name_of(view, &note.by),
        },
        why: note.text.clone(),
    };
    Notes {
        lines: term.notes_of(slot).iter().map(line).collect(),
        waits: term.unanswered(slot).is_some(),
    }
}

pub async fn write(sent: Sent) -> PageResult<Response> {
    let mut attempt = Attempt::of(&sent.fields, "note");
    let text = attempt.typed.one("reason").unwrap_or_default();
    let (desk, slot) = (&sent.state.desk, sent.slot.clone());
    match leave_note(desk, slot, Side::Staff, text, sent.who()).await {
        Ok(()) => Ok(sent.back("note")),
        Err(NoteError::Store(why)) => Err(why.into()),
        Err(NoteError::NotFound) => Err(PageError::not_found()),
        Err(why) => {
            attempt.faults.add("reason", why.to_string());
            sent.again(attempt).await
        }
    }
}

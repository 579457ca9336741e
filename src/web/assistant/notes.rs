//! Notes to and from a student, and the answer to a request for another look.

use axum::extract::State;
use axum::response::Response;

use super::attempt::Attempt;
use super::decide::{again, back};
use super::filter::Filter;
use super::find;
use super::timeline::{Event, name_of};
use crate::desk::{Image, NoteError, leave_note};
use crate::term::{Side, Slot};
use crate::web::at::SlotAt;
use crate::web::{AppState, AssistantVisitor, Fields, PageError, PageResult, dates};

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

pub async fn write(
    State(state): State<AppState>,
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    fields: Fields,
) -> PageResult<Response> {
    let filter = Filter::carried(&fields);
    find(&*state.desk.view().await?, &visitor, &slot)?;
    let mut attempt = Attempt::of(&fields, "note");
    let who = (visitor.login.as_str(), state.clock.now());
    let text = attempt.reason.clone();
    match leave_note(&state.desk, slot.clone(), Side::Staff, &text, who).await {
        Ok(()) => Ok(back(&slot, &filter, "note")),
        Err(NoteError::Store(why)) => Err(why.into()),
        Err(NoteError::NotFound) => Err(PageError::not_found()),
        Err(why) => {
            attempt.faults.push(("reason", why.to_string()));
            again(&state, &visitor, &slot, &filter, attempt).await
        }
    }
}

//! Notes between the student and staff, and the request for another look.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::experiment::page_of;
use crate::desk::{Image, NoteError, leave_note};
use crate::language::{Language, message};
use crate::term::{Side, Slot};
use crate::web::at::ExperimentAt;
use crate::web::{Fields, Page, PageError, PageResult, StudentVisitor};

/// The notes of an experiment as its student sees them.
pub struct Talk {
    pub notes: Vec<NoteView>,
    /// Whether a note can be left: results are out and there is something to look at.
    pub open: bool,
    /// Whether the last note still waits for an answer.
    pub waits: bool,
    pub typed: String,
    /// What is wrong with it.
    pub fault: Option<String>,
}

pub struct NoteView {
    /// `You`, or the name of the member of staff.
    pub who: String,
    pub at: String,
    pub text: String,
}

/// The notes of a slot, with an empty form.
pub fn talk(view: &Image, slot: &Slot, language: Language) -> Talk {
    let term = &view.term;
    let note = |note: &crate::term::Note| NoteView {
        who: match note.from {
            Side::Student => language.text("talk.you").to_owned(),
            Side::Staff => {
                let staff = term.staff.iter().find(|s| s.login == note.by);
                staff.map_or_else(
                    || language.text("talk.course").to_owned(),
                    |staff| staff.name.clone(),
                )
            }
        },
        at: language.date(term.course.zone.local(note.at)),
        text: note.text.clone(),
    };
    Talk {
        notes: term.notes_of(slot).iter().map(note).collect(),
        open: view.is_released_to(slot) && term.handed_in_by(slot).is_some(),
        waits: term.unanswered(slot).is_some(),
        typed: String::new(),
        fault: None,
    }
}

/// `POST /student/experiments/{key}/note`: asks for another look.
pub async fn ask(
    visitor: StudentVisitor,
    key: ExperimentAt,
    fields: Fields,
) -> PageResult<Response> {
    let slot = Slot::new(&key, &visitor.id);
    let typed = fields.text("note");
    let who = (visitor.id.as_str(), visitor.now());
    match leave_note(&visitor.state.desk, slot, Side::Student, typed, who).await {
        Ok(()) => {
            let path = format!("/student/experiments/{key}?done=asked#notes");
            Ok(Redirect::to(&path).into_response())
        }
        Err(NoteError::Store(why)) => Err(why.into()),
        Err(NoteError::NotFound) => Err(PageError::not_found()),
        Err(NoteError::NotReleased) => {
            Err(PageError::forbidden(message!("experiment.not-released")))
        }
        Err(why) => {
            let mut page = page_of(&key, &visitor).await?;
            page.talk.typed = typed.to_owned();
            page.talk.fault = Some(visitor.language().say(&why.words()));
            Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

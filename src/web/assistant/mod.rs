//! The assistant's pages: what waits, one submission with everything known about it, decisions, points by hand.
//!
//! A student outside the assistant's sections is answered as if they did not exist, so that nothing is confirmed.

mod accept;
mod attempt;
mod beside;
mod board;
mod causes;
mod decide;
mod drafts;
mod earlier;
mod evidence;
mod explained;
mod filter;
mod forms;
mod gradebook;
mod grid;
mod list;
mod notes;
mod progress;
mod shortlist;
mod submission;
mod suspects;
mod timeline;

use axum::Router;
use axum::routing::{get, post};

use super::{AppState, AssistantVisitor, PageError, PageResult};
use crate::course::{Experiment, Student};
use crate::desk::Image;
use crate::term::{Judged, Revision, Slot};

pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/review", get(list::page))
        .route("/review/earlier", get(earlier::page))
        .route("/review/accept", get(accept::page).post(accept::accept))
        .route("/board/{experiment}", get(board::page))
        .route("/board/{experiment}/live", get(board::live))
        .route("/board/{experiment}/drafts", get(drafts::list))
        .route("/board/{experiment}/of/{student}", get(drafts::page))
        .route(
            "/board/{experiment}/of/{student}/hand-in",
            post(drafts::hand_in),
        )
        .route("/board/{experiment}/of/{student}/hand", post(board::hand))
        .route("/gradebook", get(gradebook::page))
        .route("/points/{experiment}", get(grid::page).post(grid::save))
        .route("/review/{experiment}/{student}", get(submission::page))
        .route(
            "/review/{experiment}/{student}/decide",
            post(decide::decide),
        )
        .route(
            "/review/{experiment}/{student}/points",
            post(decide::points),
        )
        .route("/review/{experiment}/{student}/row", post(decide::row))
        .route("/review/{experiment}/{student}/note", post(notes::write))
        .route(
            "/review/{experiment}/{student}/take-back",
            post(decide::take_back),
        )
}

/// One submission an assistant may see.
#[derive(Clone, Copy)]
struct Found<'a> {
    experiment: &'a Experiment,
    student: &'a Student,
    judged: &'a Judged,
    /// Whose hand-in it is: the student's own or a bench mate's.
    handed_in_by: &'a Slot,
    revisions: &'a [Revision],
}

/// Finds what was handed in, if it is in the visitor's sections.
fn find<'a>(view: &'a Image, visitor: &AssistantVisitor, slot: &Slot) -> PageResult<Found<'a>> {
    let found = || {
        let student = view.term.student(&slot.student)?;
        let (handed_in_by, revisions) = view.term.handed_in_by(slot)?;
        visitor.sees(&student.section).then_some(Found {
            experiment: view.term.experiment(&slot.experiment)?,
            student,
            judged: view.judged.get(slot)?,
            handed_in_by,
            revisions,
        })
    };
    found().ok_or_else(PageError::not_found)
}

/// Address of a submission's page.
fn address(slot: &Slot) -> String {
    format!(
        "/review/{}/{}",
        in_path(&slot.experiment),
        in_path(&slot.student)
    )
}

/// A text as one segment of a path: ids on a roster are whatever the institution uses.
fn in_path(text: &str) -> String {
    let plain = |byte: &u8| byte.is_ascii_alphanumeric() || b"-._~".contains(byte);
    let one = |byte: u8| {
        if plain(&byte) {
            char::from(byte).to_string()
        } else {
            format!("%{byte:02X}")
        }
    };
    text.bytes().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::{ExperimentKey, StudentId};

    #[test]
    fn ids_of_any_kind_stay_one_segment_of_the_path() {
        let slot = Slot::new(&ExperimentKey::new("hardness"), &StudentId::new("0017"));
        assert_eq!(address(&slot), "/review/hardness/0017");
        assert_eq!(in_path("a/b c?é"), "a%2Fb%20c%3F%C3%A9");
    }
}

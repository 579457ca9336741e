//! Decisions of an assistant. What is refused comes back on the page with everything typed.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::attempt::Attempt;
use super::filter::{Filter, with_query};
use super::shortlist::{next, short_list};
use super::submission::page_of;
use super::{address, find};
use crate::desk::{self, ReviewError};
use crate::term::{Ruling, Slot};
use crate::web::at::SlotAt;
use crate::web::{AppState, AssistantVisitor, Fields, Page, PageError, PageResult};

pub async fn decide(
    State(state): State<AppState>,
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    fields: Fields,
) -> PageResult<Response> {
    let filter = Filter::carried(&fields);
    let view = state.desk.view().await?;
    find(&view, &visitor, &slot)?;
    let waiting = short_list(&view, &visitor, &filter.waiting());
    let next = next(&waiting, &slot).cloned();
    drop(view);
    let seen = seen(&fields)?;
    let mut attempt = Attempt::of(&fields, fields.need("action")?);
    let Some(ruling) = attempt.read()? else {
        return again(&state, &visitor, &slot, &filter, attempt).await;
    };
    let accepted = ruling == Ruling::Accept;
    let who = (visitor.login.as_str(), state.clock.now());
    let done = desk::decide(
        &state.desk,
        slot.clone(),
        ruling,
        &attempt.reason,
        seen,
        who,
    )
    .await;
    match done {
        Ok(()) if accepted => Ok(onward(&slot, next.as_ref(), &filter.waiting())),
        Ok(()) => Ok(back(&slot, &filter, "decided")),
        Err(why) => refused(&state, &visitor, &slot, &filter, attempt, why).await,
    }
}

pub async fn points(
    State(state): State<AppState>,
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    fields: Fields,
) -> PageResult<Response> {
    let filter = Filter::carried(&fields);
    let view = state.desk.view().await?;
    let found = find(&view, &visitor, &slot)?;
    if found.experiment.procedure.marking.by_hand.is_none() {
        return Err(PageError::not_found());
    }
    drop(view);
    let mut attempt = Attempt::of(&fields, "points");
    let Some(points) = attempt.read_points() else {
        return again(&state, &visitor, &slot, &filter, attempt).await;
    };
    let who = (visitor.login.as_str(), state.clock.now());
    match desk::give_points(&state.desk, slot.clone(), points, who).await {
        Ok(()) => Ok(back(&slot, &filter, "points")),
        Err(why) => refused(&state, &visitor, &slot, &filter, attempt, why).await,
    }
}

pub async fn take_back(
    State(state): State<AppState>,
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    fields: Fields,
) -> PageResult<Response> {
    let filter = Filter::carried(&fields);
    find(&*state.desk.view().await?, &visitor, &slot)?;
    let known = fields.need("decisions")?.parse().map_err(|_| {
        PageError::bad_request(
            "The form has lost count of the decisions. Go back and reload the page.",
        )
    })?;
    let who = (visitor.login.as_str(), state.clock.now());
    match desk::take_back(&state.desk, slot.clone(), known, who).await {
        Ok(()) => Ok(back(&slot, &filter, "decided")),
        Err(why) => {
            let attempt = Attempt::of(&fields, "take-back");
            refused(&state, &visitor, &slot, &filter, attempt, why).await
        }
    }
}

/// How many revisions the page showed.
fn seen(fields: &Fields) -> PageResult<usize> {
    let text = fields.need("seen")?;
    text.parse().map_err(|_| {
        PageError::bad_request(
            "The form has lost count of the versions. Go back, reload the page and decide again.",
        )
    })
}

/// On to the next that waits, or to the list when there is none.
fn onward(slot: &Slot, next: Option<&Slot>, filter: &Filter) -> Response {
    let path = next.map_or_else(|| "/review".to_owned(), address);
    Redirect::to(&with_query(&path, &said(slot, filter, "decided"))).into_response()
}

/// Back to the same page.
pub(super) fn back(slot: &Slot, filter: &Filter, done: &str) -> Response {
    Redirect::to(&with_query(&address(slot), &said(slot, filter, done))).into_response()
}

/// A query that has the page say what was done.
fn said(slot: &Slot, filter: &Filter, done: &str) -> String {
    let of = format!("{}/{}", slot.experiment, slot.student);
    filter.query_with(&[("done", done), ("of", &of)])
}

async fn refused(
    state: &AppState,
    visitor: &AssistantVisitor,
    slot: &Slot,
    filter: &Filter,
    attempt: Attempt,
    why: ReviewError,
) -> PageResult<Response> {
    match why {
        ReviewError::Store(why) => Err(why.into()),
        ReviewError::NotFound => Err(PageError::not_found()),
        why => again(state, visitor, slot, filter, attempt.refused(&why)).await,
    }
}

/// The page once more, with what was typed. The only fault of a whole form that is nobody's field is that another was
/// quicker: a newer version, or a release.
pub(super) async fn again(
    state: &AppState,
    visitor: &AssistantVisitor,
    slot: &Slot,
    filter: &Filter,
    attempt: Attempt,
) -> PageResult<Response> {
    let status = if attempt.message.is_some() {
        StatusCode::CONFLICT
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let view = state.desk.view().await?;
    let page = page_of(&view, visitor, slot, filter, attempt)?;
    Ok(Page(page).with_status(status))
}

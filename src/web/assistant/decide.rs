//! Decisions of an assistant. What is refused comes back on the page with everything typed.

use axum::extract::{FromRequest, FromRequestParts, Request};
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

/// A form sent about a submission that its sender may see.
pub struct Sent {
    pub state: AppState,
    pub visitor: AssistantVisitor,
    pub slot: Slot,
    pub filter: Filter,
    pub fields: Fields,
}

impl FromRequest<AppState> for Sent {
    type Rejection = PageError;

    async fn from_request(request: Request, state: &AppState) -> PageResult<Self> {
        let (mut parts, body) = request.into_parts();
        let visitor = AssistantVisitor::from_request_parts(&mut parts, state).await?;
        let SlotAt(slot) = SlotAt::from_request_parts(&mut parts, state).await?;
        let fields = Fields::from_request(Request::from_parts(parts, body), state).await?;
        find(&*state.desk.view().await?, &visitor, &slot)?;
        Ok(Self {
            state: state.clone(),
            filter: Filter::carried(&fields),
            visitor,
            slot,
            fields,
        })
    }
}

impl Sent {
    pub fn who(&self) -> (&str, jiff::Timestamp) {
        (&self.visitor.login, self.state.clock.now())
    }

    /// A count that the page held.
    fn counted(&self, name: &str, of: &str) -> PageResult<usize> {
        self.fields.need(name)?.parse().map_err(|_| {
            PageError::bad_request(format!(
                "The form has lost count of the {of}. Go back, reload the page and decide again."
            ))
        })
    }

    /// Back to the same page.
    pub fn back(&self, done: &str) -> Response {
        let query = self.said(&self.filter, done);
        Redirect::to(&with_query(&address(&self.slot), &query)).into_response()
    }

    /// A query that has the page say what was done.
    fn said(&self, filter: &Filter, done: &str) -> String {
        let of = format!("{}/{}", self.slot.experiment, self.slot.student);
        filter.query_with(&[("done", done), ("of", &of)])
    }

    /// Back to the page, or the page once more with what was typed and what is wrong with it.
    async fn answer(
        &self,
        attempt: Attempt,
        done: &str,
        made: Result<(), ReviewError>,
    ) -> PageResult<Response> {
        match made {
            Ok(()) => Ok(self.back(done)),
            Err(ReviewError::Store(why)) => Err(why.into()),
            Err(ReviewError::NotFound) => Err(PageError::not_found()),
            Err(why) => self.again(attempt.refused(&why)).await,
        }
    }

    /// The page once more, with what was typed. The only fault of a whole form that is nobody's field is that another
    /// was quicker: a newer version, or a release.
    pub async fn again(&self, attempt: Attempt) -> PageResult<Response> {
        let status = match attempt.message {
            Some(_) => StatusCode::CONFLICT,
            None => StatusCode::UNPROCESSABLE_ENTITY,
        };
        let view = self.state.desk.view().await?;
        let page = page_of(&view, &self.visitor, &self.slot, &self.filter, attempt)?;
        Ok(Page(page).with_status(status))
    }
}

pub async fn decide(sent: Sent) -> PageResult<Response> {
    let waiting = sent.filter.waiting();
    let next = {
        let view = sent.state.desk.view().await?;
        let list = short_list(&view, &sent.visitor, &waiting);
        next(&list, &sent.slot).cloned()
    };
    let seen = sent.counted("seen", "versions")?;
    let mut attempt = Attempt::of(&sent.fields, sent.fields.need("action")?);
    let Some(ruling) = attempt.read()? else {
        return sent.again(attempt).await;
    };
    let accepted = ruling == Ruling::Accept;
    let (desk, slot) = (&sent.state.desk, sent.slot.clone());
    let reason = attempt.typed.text("reason");
    let made = desk::decide(desk, slot, ruling, reason, seen, sent.who()).await;
    if made.is_ok() && accepted {
        // on to the next that waits, or to the list when there is none
        let path = next.map_or_else(|| "/review".to_owned(), |next| address(&next));
        let path = with_query(&path, &sent.said(&waiting, "decided"));
        return Ok(Redirect::to(&path).into_response());
    }
    sent.answer(attempt, "decided", made).await
}

pub async fn points(sent: Sent) -> PageResult<Response> {
    let by_hand = {
        let view = sent.state.desk.view().await?;
        let found = find(&view, &sent.visitor, &sent.slot)?;
        found.experiment.procedure.marking.by_hand
    };
    by_hand.ok_or_else(PageError::not_found)?;
    let mut attempt = Attempt::of(&sent.fields, "points");
    let points = match attempt.typed.text("points") {
        "" => None,
        _ => match attempt.read_points() {
            Some(points) => Some(points),
            None => return sent.again(attempt).await,
        },
    };
    let (desk, slot) = (&sent.state.desk, sent.slot.clone());
    let made = desk::give_points(desk, slot, points, sent.who()).await;
    sent.answer(attempt, "points", made).await
}

/// What can be read of a row that was set aside.
pub async fn row(sent: Sent) -> PageResult<Response> {
    let seen = sent.counted("seen", "versions")?;
    let mut attempt = Attempt::of(&sent.fields, "row");
    let line = attempt.typed.text("line").parse().unwrap_or_default();
    let file = attempt.typed.text("file").to_owned();
    let read = {
        let view = sent.state.desk.view().await?;
        let found = find(&view, &sent.visitor, &sent.slot)?;
        let rows = view.term.set_aside.get(&sent.slot).into_iter().flatten();
        let mut rows = rows.filter(|row| row.line == line && row.file == file);
        let row = rows.next().ok_or_else(PageError::not_found)?;
        let typed = |name: &str| attempt.typed.text(name).to_owned();
        desk::read_row(&found.experiment.procedure, row, typed)
    };
    let read = match read {
        Ok(read) => read,
        Err(faults) => {
            for (field, what) in faults {
                attempt.faults.add(field, what);
            }
            return sent.again(attempt).await;
        }
    };
    let (desk, slot) = (&sent.state.desk, sent.slot.clone());
    let made = desk::enter_row(desk, slot, (line, &file), read, seen, sent.who()).await;
    sent.answer(attempt, "row", made).await
}

pub async fn take_back(sent: Sent) -> PageResult<Response> {
    let known = sent.counted("decisions", "decisions")?;
    let attempt = Attempt::of(&sent.fields, "take-back");
    let (desk, slot) = (&sent.state.desk, sent.slot.clone());
    let made = desk::take_back(desk, slot, known, sent.who()).await;
    sent.answer(attempt, "decided", made).await
}

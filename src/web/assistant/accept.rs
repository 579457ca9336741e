//! Submissions with one flag, accepted together: each is a decision of its own.

use std::collections::BTreeSet;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::address;
use super::filter::{Filter, with_query};
use super::shortlist::{Entry, short_list};
use crate::desk::{self, Image, ReviewError};
use crate::measure::plain;
use crate::term::Slot;
use crate::web::{
    AppState, AssistantVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};
use crate::words::counted;

/// Most that are accepted at once: a person looks at every line.
const MOST: usize = 100;

#[derive(Template)]
#[template(path = "assistant/accept.html")]
struct AcceptPage {
    frame: Frame,
    filter: Filter,
    rows: Vec<Row>,
    /// Whether more wait than are shown.
    more: bool,
    reason: String,
    fault: Option<&'static str>,
}

struct Row {
    /// Experiment, student and how many versions were seen.
    value: String,
    is_ticked: bool,
    address: String,
    name: String,
    id: String,
    section: String,
    experiment: String,
    total: String,
    possible: String,
    flags: Vec<(&'static str, String)>,
    /// What the student asks; it wants an answer, and not a tick.
    asks: bool,
}

pub async fn page(
    visitor: AssistantVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let filter = Filter::of(&query).waiting();
    if filter.flag.is_none() {
        return Ok(Redirect::to("/review").into_response());
    }
    Ok(Page(shown(&view, &visitor, filter, None)).into_response())
}

/// What was sent back, and what is wrong with it.
struct Refused {
    ticked: BTreeSet<String>,
    reason: String,
    fault: &'static str,
}

fn shown(
    view: &Image,
    visitor: &AssistantVisitor,
    filter: Filter,
    refused: Option<Refused>,
) -> AcceptPage {
    let list = short_list(view, visitor, &filter);
    let query = filter.query();
    let row = |entry: &Entry| {
        let evaluation = &entry.judged.evaluation;
        let flags = evaluation.flags.iter();
        let value = value_of(view, entry.slot);
        let asks = entry.asked.is_some();
        Row {
            is_ticked: match &refused {
                Some(refused) => refused.ticked.contains(&value),
                None => !asks,
            },
            value,
            address: with_query(&address(entry.slot), &query),
            name: entry.student.to_string(),
            id: entry.student.id.to_string(),
            section: entry.student.section.to_string(),
            experiment: entry.experiment.procedure.title.clone(),
            total: plain(evaluation.marks.total),
            possible: plain(evaluation.marks.possible),
            flags: flags
                .map(|f| (f.code.words(), f.evidence.clone()))
                .collect(),
            asks,
        }
    };
    let rows = list.iter().take(MOST).map(row).collect();
    let (reason, fault) = match &refused {
        Some(refused) => (refused.reason.clone(), Some(refused.fault)),
        None => (String::new(), None),
    };
    AcceptPage {
        frame: visitor.frame("Accept together"),
        more: list.len() > MOST,
        filter,
        rows,
        reason,
        fault,
    }
}

/// A submission and how many versions of it there are, as a box of the form says them.
fn value_of(view: &Image, slot: &Slot) -> String {
    let revisions = view.term.handed_in_by(slot);
    let seen = revisions.map_or(0, |(_, revisions)| revisions.len());
    format!("{seen}/{}/{}", slot.experiment, slot.student)
}

pub async fn accept(
    visitor: AssistantVisitor,
    axum::extract::State(state): axum::extract::State<AppState>,
    fields: Fields,
) -> PageResult<Response> {
    let filter = Filter::carried(&fields).waiting();
    let ticked: BTreeSet<String> = fields.list("accept[]").map(str::to_owned).collect();
    let reason = fields.text("reason").trim().to_owned();
    let chosen: Vec<(Slot, usize)> = {
        let view = state.desk.view().await?;
        let list = short_list(&view, &visitor, &filter);
        let chosen: Vec<_> = list
            .iter()
            .filter_map(|entry| {
                let value = value_of(&view, entry.slot);
                let (seen, _) = value.split_once('/')?;
                let seen = seen.parse().ok()?;
                ticked.contains(&value).then(|| (entry.slot.clone(), seen))
            })
            .collect();
        let fault = if ticked.is_empty() {
            Some("Tick the submissions to accept.")
        } else if chosen.len() < ticked.len() {
            Some(
                "Meanwhile some of these were settled or handed in again. Nothing was accepted: look at what is left.",
            )
        } else {
            None
        };
        if let Some(fault) = fault {
            let refused = Refused {
                ticked,
                reason,
                fault,
            };
            let page = shown(&view, &visitor, filter, Some(refused));
            return Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY));
        }
        chosen
    };
    let who = (visitor.login.as_str(), state.clock.now());
    let count = chosen.len();
    match desk::accept_all(&state.desk, chosen, &reason, who).await {
        Ok(()) => {
            let query = filter.query_with(&[("accepted", &count.to_string())]);
            Ok(Redirect::to(&with_query("/review", &query)).into_response())
        }
        Err(ReviewError::Store(why)) => Err(why.into()),
        Err(why) => Err(PageError::bad_request(format!(
            "Nothing was accepted: {why}."
        ))),
    }
}

/// What the list says once many are accepted.
pub fn notice(query: &Fields) -> Option<String> {
    let count: usize = query.text("accepted").parse().ok().filter(|n| *n > 0)?;
    let what = counted(count, "submission is", "submissions are");
    Some(format!(
        "{what} accepted; each can be taken back on its own page."
    ))
}

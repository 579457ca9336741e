//! Releases the results of an experiment, or withdraws them, after a look at what is not settled.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::experiment::find;
use super::form::done;
use super::glance::Tally;
use crate::desk::{self, Desk, PrepareError};
use crate::judge::AuditGroup;
use crate::term::ExperimentAudit;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};

#[derive(Template)]
#[template(path = "coordinator/release.html")]
struct ReleasePage {
    frame: Frame,
    key: String,
    title: String,
    tally: Tally,
    /// Values that the class does not find.
    off: Vec<String>,
    /// Sections, assistants and burettes whose results are off.
    odd: Vec<String>,
    not_due: Option<String>,
    released: Option<String>,
}

/// `GET /course/experiments/{key}/release`
pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, &key)?;
    let zone = &term.course.zone;
    let due = experiment.dates.due;
    let past = zone.instant(due).is_some_and(|at| at <= state.clock.now());
    let of_it = view
        .judged
        .iter()
        .filter(|(slot, _)| slot.experiment == key);
    let audits = term.audit(of_it);
    let named = audits.iter().flat_map(ExperimentAudit::named);
    let (off, odd): (Vec<&AuditGroup>, Vec<&AuditGroup>) =
        named.partition(|group| audits.iter().any(|a| a.assigned.contains_key(&group.name)));
    let names = |groups: Vec<&AuditGroup>| groups.iter().map(|g| g.name.to_string()).collect();
    let title = experiment.procedure.title.clone();
    let mut frame = visitor.frame(format!("Release: {title}"));
    frame.notice = done(&query);
    Ok(Page(ReleasePage {
        frame,
        title,
        tally: Tally::of(&view, &key, None),
        off: names(off),
        odd: names(odd),
        not_due: (!past).then(|| dates::local(due)),
        released: term.released.get(&key).map(|at| dates::instant(zone, *at)),
        key,
    }))
}

/// `POST /course/experiments/{key}/release`
pub async fn release(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: CoordinatorVisitor,
    _fields: Fields,
) -> PageResult<()> {
    known(&state.desk, &key).await?;
    let who = (visitor.login.as_str(), state.clock.now());
    answer(
        desk::release(&state.desk, &key, who).await,
        &key,
        "released",
    )
}

/// `POST /course/experiments/{key}/withdraw`
pub async fn withdraw(
    State(state): State<AppState>,
    Path(key): Path<String>,
    visitor: CoordinatorVisitor,
    _fields: Fields,
) -> PageResult<()> {
    known(&state.desk, &key).await?;
    let who = (visitor.login.as_str(), state.clock.now());
    answer(
        desk::withdraw(&state.desk, &key, who).await,
        &key,
        "withdrawn",
    )
}

async fn known(desk: &Desk, key: &str) -> PageResult<()> {
    find(&desk.view().await?.term, key).map(|_| ())
}

fn answer(changed: Result<(), PrepareError>, key: &str, done: &str) -> PageResult<()> {
    match changed {
        Ok(()) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/release?done={done}"
        ))),
        Err(PrepareError::Store(why)) => Err(why.into()),
        Err(why) => Err(PageError::unprocessable(why.to_string())),
    }
}

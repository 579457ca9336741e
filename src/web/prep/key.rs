//! The answer key of an experiment. It is sealed: opening it is a form, and the log says who did and when.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::pages::both;
use crate::desk;
use crate::ids::ExperimentKey;
use crate::web::coordinator::words::aligned;
use crate::web::{AppState, Fields, Frame, Page, PageError, PageResult, PrepVisitor, dates};

#[derive(Template)]
#[template(path = "prep/key.html")]
struct KeyPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    opened: Option<Opened>,
}

/// What the seal was over.
struct Opened {
    unit: &'static str,
    by: String,
    at: String,
    rows: Vec<Row>,
}

struct Row {
    code: String,
    value: String,
    uncertainty: String,
    version: u32,
}

/// `GET /prep/experiments/{key}/key`: the seal.
pub async fn sealed(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let experiment = view
        .term
        .experiment(&key)
        .ok_or_else(PageError::not_found)?;
    Ok(Page(KeyPage {
        frame: visitor.frame("Answer key"),
        title: experiment.procedure.title.clone(),
        key,
        opened: None,
    }))
}

pub async fn open(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: PrepVisitor,
    _fields: Fields,
) -> PageResult<impl IntoResponse> {
    if state.desk.view().await?.term.experiment(&key).is_none() {
        return Err(PageError::not_found());
    }
    let now = state.clock.now();
    desk::open_key(&state.desk, &key, (&visitor.login, now)).await?;
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = term.experiment(&key).ok_or_else(PageError::not_found)?;
    let held = term.unknowns.get(&key).into_iter().flat_map(|u| u.values());
    let mut rows: Vec<Row> = held
        .map(|unknown| {
            let (value, uncertainty) = both(unknown.truth.open());
            Row {
                code: unknown.code.to_string(),
                value,
                uncertainty,
                version: unknown.version,
            }
        })
        .collect();
    aligned(rows.iter_mut().map(|row| &mut row.value));
    aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
    Ok(Page(KeyPage {
        frame: visitor.frame("Answer key"),
        title: experiment.procedure.title.clone(),
        opened: Some(Opened {
            unit: experiment.procedure.result.unit.name(),
            by: visitor.login.clone(),
            at: dates::instant(&term.course.zone, now),
            rows,
        }),
        key,
    }))
}

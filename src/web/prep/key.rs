//! The answer key of an experiment. It is sealed: opening it is a form, and the log says who did and when.

use askama::Template;
use axum::response::IntoResponse;

use crate::desk;
use crate::ids::ExperimentKey;
use crate::web::at::ExperimentAt;
use crate::web::coordinator::words::aligned;
use crate::web::{Fields, Frame, Page, PageResult, PrepVisitor, dates};

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
pub async fn sealed(visitor: PrepVisitor, key: ExperimentAt) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let experiment = key.of(&view.term)?;
    Ok(Page(KeyPage {
        frame: visitor.frame("Answer key"),
        title: experiment.procedure.title.clone(),
        key: key.into_key(),
        opened: None,
    }))
}

pub async fn open(
    visitor: PrepVisitor,
    key: ExperimentAt,
    _fields: Fields,
) -> PageResult<impl IntoResponse> {
    let now = visitor.now();
    desk::open_key(&visitor.state.desk, &key, (&visitor.login, now)).await?;
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let held = term
        .unknowns
        .get(&*key)
        .into_iter()
        .flat_map(|u| u.values());
    let mut rows: Vec<Row> = held
        .map(|unknown| {
            let (value, uncertainty) = unknown.truth.open().rounded();
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
        key: key.into_key(),
    }))
}

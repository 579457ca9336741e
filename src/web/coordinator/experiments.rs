//! The experiments of the course, and a form for another.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::form::{Form, done};
use super::glance::{ExperimentRow, experiment_rows};
use crate::desk;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

#[derive(Template)]
#[template(path = "coordinator/experiments.html")]
struct ExperimentsPage {
    frame: Frame,
    form: Form,
    rows: Vec<ExperimentRow>,
    procedures: Vec<(String, String)>,
    zone: String,
}

pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let mut frame = visitor.frame("Experiments");
    frame.notice = done(&query);
    let form = Form::filled(&[("procedure", query.0.text("procedure"))]);
    Ok(experiments(&state, frame, form).await?.into_response())
}

async fn experiments(
    state: &AppState,
    frame: Frame,
    form: Form,
) -> PageResult<Page<ExperimentsPage>> {
    let view = state.desk.view().await?;
    Ok(Page(ExperimentsPage {
        frame,
        form,
        rows: experiment_rows(&view, state.clock.now()),
        procedures: desk::procedure_titles(&view.term).into_iter().collect(),
        zone: view.term.course.zone.name().to_owned(),
    }))
}

pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let who = (visitor.login.as_str(), state.clock.now());
    let typed = ["key", "procedure", "opens", "due"].map(|name| fields.text(name));
    let entered = match known(&state, typed[0]).await? {
        true => Err(desk::PrepareError::new(
            "key",
            typed[0],
            "a key no experiment of the course has yet",
        )),
        false => desk::new_experiment(&state.desk, typed, who).await,
    };
    match entered {
        Ok(()) => {
            let key = typed[0];
            Err(PageError::see_other(format!(
                "/course/experiments/{key}?done=experiment"
            )))
        }
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = experiments(&state, visitor.frame("Experiments"), form).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

async fn known(state: &AppState, key: &str) -> PageResult<bool> {
    Ok(state.desk.view().await?.term.experiment(key).is_some())
}

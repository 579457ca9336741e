//! Whether students are told what was in their bottles.

use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};

use crate::desk::show_truth;
use crate::ids::ExperimentKey;
use crate::web::{AppState, CoordinatorVisitor, Fields, PageError, PageResult};

pub async fn choose(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    view.term
        .experiment(&key)
        .ok_or_else(PageError::not_found)?;
    drop(view);
    let who = (visitor.login.as_str(), state.clock.now());
    show_truth(&state.desk, &key, fields.text("show") == "yes", who).await?;
    let path = format!("/course/experiments/{key}?done=truth");
    Ok(Redirect::to(&path).into_response())
}

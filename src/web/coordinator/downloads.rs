//! Files that leave the course.

use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::unpack::pack;
use crate::desk::output_files;
use crate::files::write_term;
use crate::web::{AppState, CoordinatorVisitor, Frame, Page, PageError, PageResult};

#[derive(Template)]
#[template(path = "coordinator/files.html")]
struct FilesPage {
    frame: Frame,
    unsettled: usize,
}

/// `GET /course/files`
pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let unsettled = view.judged.values().filter(|judged| {
        matches!(
            judged.status,
            crate::term::Status::ToReview | crate::term::Status::Returned
        )
    });
    Ok(Page(FilesPage {
        frame: visitor.frame("Files"),
        unsettled: unsettled.count(),
    }))
}

/// `GET /course/gradebook.csv`
pub async fn gradebook(
    state: State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<Response> {
    table(state, visitor, "gradebook.csv").await
}

/// `GET /course/results.csv`
pub async fn results(state: State<AppState>, visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(state, visitor, "results.csv").await
}

/// `GET /course/flags.csv`
pub async fn flags(state: State<AppState>, visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(state, visitor, "flags.csv").await
}

/// `GET /course/audit.csv`
pub async fn audit(state: State<AppState>, visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(state, visitor, "audit.csv").await
}

async fn table(
    State(state): State<AppState>,
    _visitor: CoordinatorVisitor,
    name: &'static str,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let files = output_files(&view);
    let bytes = files.get(name).ok_or_else(PageError::not_found)?;
    Ok(attachment(name, "text/csv; charset=utf-8", bytes.to_vec()))
}

/// `GET /course/export.zip`: the whole course as a folder.
pub async fn export(
    State(state): State<AppState>,
    _visitor: CoordinatorVisitor,
) -> PageResult<Response> {
    let folder = write_term(&state.desk.view().await?.term);
    let packed = tokio::task::spawn_blocking(move || pack(&folder)).await;
    let bytes = packed
        .map_err(PageError::internal)?
        .map_err(PageError::internal)?;
    Ok(attachment("export.zip", "application/zip", bytes))
}

fn attachment(name: &str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let disposition = format!("attachment; filename=\"{name}\"");
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, disposition),
    ];
    (headers, bytes).into_response()
}

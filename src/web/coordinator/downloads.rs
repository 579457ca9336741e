//! Files that leave the course.

use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::unpack::pack;
use crate::desk::output_files;
use crate::files::{FreeText, gradebook_csv, write_term};
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

/// `GET /course/gradebook-exact.csv`: names and ids letter for letter, for programs.
pub async fn gradebook_exact(
    State(state): State<AppState>,
    _visitor: CoordinatorVisitor,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let text = gradebook_csv(&view.term, &view.in_course_order(), FreeText::Exact);
    Ok(attachment(
        "gradebook-exact.csv",
        "text/csv; charset=utf-8",
        text.into_bytes(),
    ))
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

/// A file to be kept. Its name is somebody's: what a header cannot hold is left out of the plain name and spelt out in
/// the other one (RFC 6266).
pub(super) fn attachment(name: &str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let plain = |c: char| match c {
        '.' | '-' | '_' | ' ' => c,
        c if c.is_ascii_alphanumeric() => c,
        _ => '_',
    };
    let ascii: String = name.chars().map(plain).collect();
    let mut disposition = format!("attachment; filename=\"{ascii}\"");
    if ascii != name {
        let spelt: String = name
            .bytes()
            .map(|byte| match byte {
                b'.' | b'-' | b'_' => char::from(byte).to_string(),
                byte if byte.is_ascii_alphanumeric() => char::from(byte).to_string(),
                byte => format!("%{byte:02X}"),
            })
            .collect();
        disposition.push_str(&format!("; filename*=UTF-8''{spelt}"));
    }
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, disposition),
    ];
    (headers, bytes).into_response()
}

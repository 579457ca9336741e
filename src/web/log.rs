//! One line of log for each request: ids only.

use std::time::Instant;

use axum::extract::{MatchedPath, Request, State};
use axum::middleware::Next;
use axum::response::Response;

use super::state::AppState;

/// Who asked, left on the answer for the log.
#[derive(Clone, Debug)]
pub struct Asked(pub String);

/// Logs and counts what was asked, by whom, and what came of it. The path is the route's, not the one typed.
pub async fn request(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let begun = Instant::now();
    let method = request.method().clone();
    let path = request
        .extensions()
        .get::<MatchedPath>()
        .map_or("-", MatchedPath::as_str)
        .to_owned();
    let response = next.run(request).await;
    state.metrics.answered(response.status(), begun.elapsed());
    let login = response
        .extensions()
        .get::<Asked>()
        .map_or("-", |asked| asked.0.as_str());
    // Debug escapes line breaks
    tracing::info!(
        %method,
        path,
        status = response.status().as_u16(),
        login = ?login,
        ms = begun.elapsed().as_millis(),
        "answered"
    );
    response
}

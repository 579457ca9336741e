//! Pages of the coordinator.

use axum::Router;

use super::AppState;

/// Routes of these pages.
pub fn routes() -> Router<AppState> {
    Router::new()
}

//! What staff titrate themselves: a run entered, beside the record of its bottle; what is ready for the week; the run shown
//! to a room. Values stand on pages for the prep room and the coordinator; assistants read differences.

mod demonstration;
mod page;
mod ready;
mod words;

use axum::Router;
use axum::routing::get;

use super::AppState;
use super::changing::shown;
pub use words::{
    LiveLine, LiveLines, ProvedLine, lines_of, live_lines, live_lines_of, proved_lines,
};

/// Routes below `/proving`.
pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/proving", get(ready::page))
        .route("/proving/{key}", shown(&page::PROVING))
        .route("/proving/{key}/demonstration", get(demonstration::page))
}

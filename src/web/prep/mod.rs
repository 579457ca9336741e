//! Pages of the prep room: what lots and unknowns were made from, how long they keep, and what is printed for them. They
//! show true values, so every handler names [`PrepVisitor`](crate::web::PrepVisitor), or, for what an assistant takes to
//! the laboratory, [`AssistantVisitor`](crate::web::AssistantVisitor) and shows none.

mod chart;
mod home;
mod key;
mod labels;
mod lots;
mod pages;
pub(in crate::web) mod qr;
mod reagents;
pub(in crate::web) mod record;
mod sheets;
mod unknowns;

use axum::Router;
use axum::routing::get;

use super::AppState;
use super::changing::{entered, page_of, shown};
pub(in crate::web) use home::still_needed;
pub(in crate::web) use pages::Shown;

/// Routes below `/prep`, and the sheets of assistants.
pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/prep", get(home::page))
        .route("/prep/lots", get(lots::list))
        .route("/prep/lot", page_of(&lots::DAYS))
        .route("/prep/lot/days", entered(&lots::DAYS))
        .route("/prep/lots/record", shown(&record::LOT))
        .route("/prep/lots/labels", get(labels::lots))
        .route("/sheets/{experiment}", get(sheets::section))
        .route(
            "/sheets/{experiment}/bench",
            get(sheets::bench_of_assistant),
        )
        .nest("/prep/experiments/{key}", of_experiment())
}

fn of_experiment() -> Router<AppState> {
    Router::new()
        .route("/", get(unknowns::list))
        .route("/unknown", page_of(&unknowns::DAYS))
        .route("/unknown/days", entered(&unknowns::DAYS))
        .route("/record", shown(&record::UNKNOWN))
        .route("/batch", shown(&record::BATCH))
        .route("/labels", get(labels::unknowns))
        .route("/issue-list", get(sheets::issue_list))
        .route("/bench-sheets", get(sheets::bench))
        .route("/reagents", get(reagents::page))
        .route("/key", get(key::sealed).post(key::open))
}

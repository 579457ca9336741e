//! Pages of the prep room: what lots and unknowns were made from, how long they keep, and what is printed for them. They
//! show true values, so every handler names [`PrepVisitor`](crate::web::PrepVisitor), or, for what an assistant takes to
//! the laboratory, [`AssistantVisitor`](crate::web::AssistantVisitor) and shows none.

mod batch;
mod chart;
mod entry;
mod filled;
mod home;
mod key;
mod labels;
mod lots;
mod pages;
mod qr;
mod record;
mod sheet;
mod sheets;
mod unknowns;

use axum::Router;
use axum::routing::{get, post};

use super::AppState;

/// Routes below `/prep`, and the sheets of assistants.
pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/prep", get(home::page))
        .route("/prep/lots", get(lots::list))
        .route("/prep/lot", get(lots::page))
        .route("/prep/lot/days", post(lots::days))
        .route("/prep/lots/record", get(record::lot).post(record::post_lot))
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
        .route("/unknown", get(unknowns::page))
        .route("/unknown/days", post(unknowns::days))
        .route("/record", get(record::unknown).post(record::post_unknown))
        .route("/batch", get(record::batch).post(record::post_batch))
        .route("/labels", get(labels::unknowns))
        .route("/issue-list", get(sheets::issue_list))
        .route("/bench-sheets", get(sheets::bench))
        .route("/key", get(key::sealed).post(key::open))
}

//! The student's pages: what is due, the bench form, the receipt, the record and, after release, the feedback.
//!
//! Nothing here reads an [`Evaluation`](crate::judge::Evaluation) before release; what is shown until then comes from
//! the readings alone.

mod bench;
mod bench_page;
mod bottle;
mod class;
mod corrected;
pub(super) mod draft;
pub(super) mod entry;
mod entry_curve;
mod experiment;
mod home;
mod instruments;
mod own_record;
mod receipt;
pub(super) mod record;
mod sharing;
mod taken_over;
mod talk;
pub(super) mod worth;

pub(super) use instruments::{expressed_as, sample_words};

use axum::Router;
use axum::routing::{get, post};

use super::AppState;

pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/student", get(home::page))
        .route("/student/record", get(own_record::page))
        .route("/student/record.json", get(own_record::file))
        .route("/student/receipts/{number}", get(receipt::page))
        .route("/student/experiments/{key}", get(experiment::page))
        .route(
            "/student/experiments/{key}/bench",
            get(bench::form).post(bench::look),
        )
        .route("/student/experiments/{key}/bench/draft", post(draft::draft))
        .route(
            "/student/experiments/{key}/bench/curve",
            post(entry_curve::upload),
        )
        .route("/student/experiments/{key}/hand-in", post(bench::hand_in))
        .route("/student/experiments/{key}/answer", post(sharing::answer))
        .route("/student/experiments/{key}/note", post(talk::ask))
        .route("/student/bottle/{code}", get(bottle::by_code))
        .route(
            "/student/bottle/{experiment}/{code}",
            get(bottle::of_experiment),
        )
}

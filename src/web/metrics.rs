//! Figures for whoever watches the server, on a listener of their own: they are for nobody who signs in.
//!
//! In the text format that Prometheus reads: counters only go up from the start of the process.

use std::fmt::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::net::TcpListener;

use super::state::AppState;
use crate::store::newest;

/// Upper ends of the steps in which times of answers are counted, in milliseconds.
const STEPS_MS: [u64; 7] = [10, 50, 100, 500, 1_000, 5_000, 30_000];
/// First digits of a status.
const CLASSES: [u16; 4] = [2, 3, 4, 5];

/// What was counted.
#[derive(Clone, Debug, Default)]
pub struct Metrics(Arc<Counted>);

#[derive(Debug, Default)]
struct Counted {
    by_class: [AtomicU64; CLASSES.len()],
    by_step: [AtomicU64; STEPS_MS.len()],
    answers: AtomicU64,
    microseconds: AtomicU64,
}

impl Metrics {
    pub(super) fn answered(&self, status: StatusCode, took: Duration) {
        let counted = &self.0;
        let class = CLASSES
            .iter()
            .position(|class| *class == status.as_u16() / 100);
        let ms = u64::try_from(took.as_millis()).unwrap_or(u64::MAX);
        let step = STEPS_MS.iter().position(|end| ms <= *end);
        let both = [
            class.map(|at| &counted.by_class[at]),
            step.map(|at| &counted.by_step[at]),
        ];
        for one in both.into_iter().flatten() {
            one.fetch_add(1, Ordering::Relaxed);
        }
        let microseconds = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
        counted
            .microseconds
            .fetch_add(microseconds, Ordering::Relaxed);
        counted.answers.fetch_add(1, Ordering::Relaxed);
    }

    fn text(&self, journal: Option<i64>) -> Result<String, std::fmt::Error> {
        let read = |one: &AtomicU64| one.load(Ordering::Relaxed);
        let counted = &self.0;
        let mut text = String::from(
            "# HELP concordant_answers_total Answers by the first digit of their status.\n# TYPE concordant_answers_total counter\n",
        );
        for (class, count) in CLASSES.iter().zip(&counted.by_class) {
            let count = read(count);
            writeln!(
                text,
                "concordant_answers_total{{status=\"{class}xx\"}} {count}"
            )?;
        }
        text.push_str("# HELP concordant_answer_seconds Time until an answer began.\n# TYPE concordant_answer_seconds histogram\n");
        let mut so_far = 0;
        for (end, count) in STEPS_MS.iter().zip(&counted.by_step) {
            so_far += read(count);
            let (whole, rest) = (end / 1_000, end % 1_000);
            writeln!(
                text,
                "concordant_answer_seconds_bucket{{le=\"{whole}.{rest:03}\"}} {so_far}"
            )?;
        }
        let (answers, microseconds) = (read(&counted.answers), read(&counted.microseconds));
        let (whole, rest) = (microseconds / 1_000_000, microseconds % 1_000_000);
        writeln!(
            text,
            "concordant_answer_seconds_bucket{{le=\"+Inf\"}} {answers}\nconcordant_answer_seconds_sum {whole}.{rest:06}\nconcordant_answer_seconds_count {answers}"
        )?;
        let up = u8::from(journal.is_some());
        writeln!(
            text,
            "# HELP concordant_database_up Whether the database answers.\n# TYPE concordant_database_up gauge\nconcordant_database_up {up}"
        )?;
        if let Some(journal) = journal {
            writeln!(
                text,
                "# HELP concordant_journal_rows Number of the newest change of the course.\n# TYPE concordant_journal_rows gauge\nconcordant_journal_rows {journal}"
            )?;
        }
        Ok(text)
    }
}

/// Serves the figures until the process ends.
pub async fn serve_metrics(state: AppState, listener: TcpListener) -> std::io::Result<()> {
    let router = Router::new().route("/metrics", get(page)).with_state(state);
    super::listen::serve(router, listener, Arc::new([]), std::future::pending()).await
}

async fn page(State(state): State<AppState>) -> Response {
    let journal = async { newest(&mut *state.store().read().await?).await };
    match state.metrics.text(journal.await.ok()) {
        Ok(text) => ([(header::CONTENT_TYPE, "text/plain; version=0.0.4")], text).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

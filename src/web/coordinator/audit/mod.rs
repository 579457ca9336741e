//! The audit of the truth: what groups of students find against what was assigned.

mod words;

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::term::ExperimentAudit;
use crate::web::{AppState, CoordinatorVisitor, Frame, Page, PageResult};

#[derive(Template)]
#[template(path = "coordinator/audit.html")]
struct Overview {
    frame: Frame,
    groups: usize,
    off: usize,
    experiments: Vec<OfExperiment>,
}

/// What the audit says of an experiment.
struct OfExperiment {
    key: String,
    title: String,
    results: usize,
    groups: usize,
    off: Vec<String>,
}

/// `GET /course/audit`
pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let audits = term.audit(view.judged.iter());
    let one = |(experiment, audit): (&crate::course::Experiment, &ExperimentAudit)| OfExperiment {
        key: experiment.key.clone(),
        title: experiment.procedure.title.clone(),
        results: audit.results.len(),
        groups: audit.groups.len(),
        off: audit
            .named()
            .map(|group| words::found(audit, group, &experiment.procedure))
            .collect(),
    };
    let experiments: Vec<OfExperiment> = term.experiments.iter().zip(&audits).map(one).collect();
    Ok(Page(Overview {
        frame: visitor.frame("Audit of the assigned values"),
        groups: experiments.iter().map(|e| e.groups).sum(),
        off: experiments.iter().map(|e| e.off.len()).sum(),
        experiments,
    }))
}

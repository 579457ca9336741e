//! The audit of the truth: what groups of students find against what was assigned.

mod page;
mod scores;
mod strip;
pub(in crate::web) mod words;

pub(super) use self::page::{Proposal, proposal};
pub(super) use self::strip::{Axis, Strip, Tick};

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::term::ExperimentAudit;
use crate::web::at::ExperimentAt;
use crate::web::{AppState, CoordinatorVisitor, Frame, Page, PageResult};

#[derive(Template)]
#[template(path = "coordinator/audit.html")]
struct Overview {
    frame: Frame,
    groups: usize,
    off: usize,
    experiments: Vec<OfExperiment>,
    /// Whether there may be earlier terms.
    in_department: bool,
}

/// What the audit says of an experiment.
struct OfExperiment {
    key: ExperimentKey,
    title: String,
    results: usize,
    groups: usize,
    off: Vec<(String, String)>,
}

pub async fn overview(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    view.audited().await?;
    let term = &view.term;
    let audits = view.audits();
    let one = |(experiment, audit): (&Experiment, &ExperimentAudit)| OfExperiment {
        key: experiment.key.clone(),
        title: experiment.procedure.title.clone(),
        results: audit.results.len(),
        groups: audit.groups.len(),
        off: audit
            .named()
            .map(|group| {
                let found = words::found(audit, group, &experiment.procedure);
                (words::capital(&group.name), found)
            })
            .collect(),
    };
    let experiments: Vec<OfExperiment> = term.experiments.iter().zip(audits).map(one).collect();
    Ok(Page(Overview {
        frame: visitor.frame("Audit of the assigned values"),
        groups: experiments.iter().map(|e| e.groups).sum(),
        off: experiments.iter().map(|e| e.off.len()).sum(),
        experiments,
        in_department: state.department.is_some(),
    }))
}

pub async fn of_experiment(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    key: ExperimentAt,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    view.audited().await?;
    let experiment = key.of(&view.term)?;
    let audits = view.audits();
    let frame = visitor.frame(format!("Audit: {}", experiment.procedure.title));
    Ok(Page(page::AuditPage::of(
        frame, &view.term, experiment, &audits,
    )))
}

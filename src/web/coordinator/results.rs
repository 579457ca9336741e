//! What came of an experiment: marks, what looks off, what is left to do before its results are out.

use askama::Template;
use axum::response::IntoResponse;

use super::glance::{self, Alarm, Tally};
use super::marks::{Histograms, histograms};
use crate::ids::ExperimentKey;
use crate::web::at::ExperimentAt;
use crate::web::digits::{SectionDigits, section_digits};
use crate::web::{CoordinatorVisitor, Frame, Page, PageResult};

#[derive(Template)]
#[template(path = "coordinator/results.html")]
struct ResultsPage {
    frame: Frame,
    key: ExperimentKey,
    state: &'static str,
    tag: &'static str,
    tally: Tally,
    alarm: Option<Alarm>,
    /// How marks are spread; none while there are none.
    marks: Option<Histograms>,
    digits: Vec<SectionDigits>,
    all_out: bool,
}

pub async fn page(visitor: CoordinatorVisitor, key: ExperimentAt) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    view.audited().await?;
    let experiment = key.of(&view.term)?;
    let (state, tag) = glance::state(&view, experiment, visitor.now());
    let key = &experiment.key;
    Ok(Page(ResultsPage {
        frame: visitor.frame(&experiment.procedure.title),
        state,
        tag,
        tally: Tally::of(&view, key, None),
        alarm: glance::alarm(&view, experiment),
        marks: histograms(&view, key),
        digits: section_digits(&view, experiment, |_| true),
        all_out: view.is_released(key),
        key: key.clone(),
    }))
}

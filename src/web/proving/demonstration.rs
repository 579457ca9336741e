//! A run as a room sees it from its benches: a step of the procedure in large letters, and the readings as they are entered.
//! Nothing here tells what is in a bottle.

use askama::Template;
use axum::response::IntoResponse;

use super::page::{TrialRow, trial_rows};
use super::words::volume;
use crate::measure::as_f64;
use crate::term::ProvedRun;
use crate::web::at::ExperimentAt;
use crate::web::{Frame, Page, PageResult, QueryFields, StaffVisitor};

#[derive(Template)]
#[template(path = "proving/demonstration.html")]
struct DemonstrationPage {
    frame: Frame,
    /// Number and text; none for a procedure without steps.
    step: Option<(usize, String)>,
    steps: usize,
    cautions: Vec<String>,
    run: u32,
    trials: Vec<TrialRow>,
    agreement: Option<String>,
    /// Whether the page asks for itself again every few seconds.
    renews: bool,
}

/// `GET /proving/{key}/demonstration`: `?run=` for a run, else the visitor's last one; `?step=` for a step of the procedure;
/// `?renew=yes` to see readings as they are entered.
pub async fn page(
    visitor: StaffVisitor,
    key: ExperimentAt,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let experiment = key.of(&view.term)?;
    let number: Option<u32> = query.0.text("run").parse().ok();
    let runs = view.term.proving_runs(experiment);
    let own = runs.iter().filter(|run| run.by == visitor.person.login);
    let run = match number {
        Some(number) => runs.iter().find(|run| run.run == number),
        None => own.max_by_key(|run| run.at),
    };
    let texts = &experiment.procedure.text;
    let steps = texts.steps.len();
    let step = query
        .0
        .text("step")
        .parse()
        .unwrap_or(1_usize)
        .clamp(1, steps.max(1));
    let text = texts.steps.get(step.saturating_sub(1)).cloned();
    Ok(Page(DemonstrationPage {
        frame: visitor.frame(&experiment.procedure.title),
        step: text.map(|text| (step, text)),
        steps,
        cautions: texts.cautions.clone(),
        run: run.map_or(0, |run| run.run),
        trials: run
            .map(|run| trial_rows(experiment, run))
            .unwrap_or_default(),
        agreement: run.and_then(agreement),
        renews: query.0.text("renew") == "yes",
    }))
}

/// How far the titres that count lie apart.
fn agreement(run: &ProvedRun) -> Option<String> {
    let done = &run.work_up;
    let titres = |counted: bool| {
        let all = done
            .trials
            .iter()
            .filter(move |one| one.counted || !counted);
        let numbered = all.filter(|one| one.trial.number().is_some());
        numbered.filter_map(|one| Some(done.graph.value(one.delivered?)))
    };
    let (least, most) = (titres(true).min()?, titres(true).max()?);
    let counted = titres(true).count();
    if done.none_agree && titres(false).count() > 1 {
        return Some("No two titres agree yet.".to_owned());
    }
    if counted < 2 {
        return None;
    }
    let apart = most.checked_sub(least)?;
    let percent = 100.0 * as_f64(apart) / as_f64(most);
    Some(format!(
        "{counted} titres that count lie within {} mL, {percent:.1} %.",
        volume(apart)
    ))
}

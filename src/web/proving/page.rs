//! One experiment's runs: the form for the next trial, what it comes to so far, and what all runs found.

use askama::Template;
use axum::response::IntoResponse;

use super::words::{ProvedLine, e_n, line, named, volume};
use crate::changes::{ProvingForm, is_read, row_title};
use crate::course::Experiment;
use crate::desk::accounts::Role;
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::measure::from_f64;
use crate::term::{ProvedRun, Term};
use crate::truth::{Assigned, Bottle};
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page};

/// `?run=` goes on with a run of one's own, `?trial=` with one of its titrations.
pub const PROVING: Place = Place::new(
    Who::Staff,
    "/proving/{key}",
    |visit| {
        Ok(Box::new(ProvingForm {
            experiment: visit.key()?.clone(),
            login: visit.who().0.to_owned(),
            now: visit.now(),
        }))
    },
    page,
)
.says("proving", |n| match n {
    0 => "It stands as it was entered before.".to_owned(),
    _ => "The trial is entered.".to_owned(),
});

#[derive(Template)]
#[template(path = "proving/experiment.html")]
struct ProvingPage {
    frame: Frame,
    key: ExperimentKey,
    form: Filled,
    /// The run that the form goes on with.
    run: Option<RunView>,
    runs: Vec<RunView>,
    joined: Vec<JoinedValue>,
    is_coordinator: bool,
}

/// A run with its titrations.
pub struct RunView {
    pub number: u32,
    pub line: ProvedLine,
    /// What it finds, with its expanded uncertainty; none for who is not to see it.
    pub found: Option<String>,
    pub e_n: Option<String>,
    pub trials: Vec<TrialRow>,
}

/// One titration as it stands.
pub struct TrialRow {
    pub label: String,
    pub title: String,
    /// What was read, each with what it is.
    pub readings: Vec<(String, String)>,
    pub delivered: Option<String>,
    pub state: String,
    pub tag: &'static str,
}

/// A value that joins a record with its runs, and the fields of the form that makes it the next version.
struct JoinedValue {
    name: String,
    value: String,
    unit: &'static str,
    action: String,
    fields: Vec<(&'static str, String)>,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let form = PROVING.filled(visit, term, refused.as_ref())?;
        let number = form.form.field("run").and_then(|field| field.fixed.clone());
        let sees_values = !matches!(visit.visitor.person.role, Role::Assistant { .. });
        let runs = term.proving_runs(experiment);
        let joined = match sees_values {
            true => joined(term, experiment, &runs),
            false => Vec::new(),
        };
        let mut runs: Vec<RunView> = runs
            .iter()
            .rev()
            .map(|run| run_view(term, experiment, run, sees_values))
            .collect();
        let is_at = |run: &RunView| Some(run.number.to_string()) == number;
        let at = runs.iter().position(is_at);
        let title = &experiment.procedure.title;
        let mut frame = visit.frame(format!("Proving: {title}"));
        frame.notice = notice(&visit.query, &[&PROVING]);
        Ok(Page(ProvingPage {
            frame,
            key: experiment.key.clone(),
            run: at.map(|at| runs.remove(at)),
            runs,
            joined,
            form,
            is_coordinator: visit.is_coordinator(),
        })
        .into_response())
    })
}

fn run_view(term: &Term, experiment: &Experiment, run: &ProvedRun, sees_values: bool) -> RunView {
    let unit = unit_of(experiment, &run.bottle);
    let found = run
        .titrated
        .as_ref()
        .filter(|_| sees_values)
        .and_then(|found| {
            let value = found.value;
            let u = crate::measure::as_f64(value.standard_uncertainty);
            let expanded = Assigned {
                standard_uncertainty: from_f64(found.coverage_factor * u, 2)?,
                ..value
            };
            let (value, expanded) = expanded.rounded();
            Some(format!("{value} ± {expanded} {unit}"))
        });
    RunView {
        number: run.run,
        line: line(&term.course.zone, run),
        found,
        e_n: run.difference.as_ref().map(e_n),
        trials: trial_rows(experiment, run),
    }
}

fn unit_of(experiment: &Experiment, bottle: &Bottle) -> &'static str {
    match bottle {
        Bottle::Lot(_) => "mol/L",
        Bottle::Unknown { .. } => experiment.procedure.result.unit.name(),
    }
}

/// The titrations of a run. Nothing of them tells what is in a bottle.
pub fn trial_rows(experiment: &Experiment, run: &ProvedRun) -> Vec<TrialRow> {
    let rows = run.hand_in.titrations.iter().zip(&run.work_up.trials);
    let row =
        |(titration, outcome): (&crate::submission::Titration, &crate::workup::TrialOutcome)| {
            let readings = titration.readings.iter();
            let readings = readings.filter(|(column, _)| !column.is_of_curve());
            let shown =
                readings.map(|(column, reading)| (column.label(), reading.written().to_owned()));
            let counted = outcome.counted;
            let (state, tag) = match (is_read(&experiment.procedure, titration), &outcome.why_not) {
                (false, _) => ("still running".to_owned(), "tag tag-open"),
                (true, Some(why)) => (why.to_string(), "tag tag-review"),
                (true, None) if counted => ("counts".to_owned(), "tag tag-ok"),
                (true, None) => ("read".to_owned(), "tag"),
            };
            TrialRow {
                label: titration.trial.to_string(),
                title: row_title(titration.trial),
                readings: shown.collect(),
                delivered: outcome
                    .delivered
                    .map(|step| volume(run.work_up.graph.value(step))),
                state,
                tag,
            }
        };
    rows.map(row).collect()
}

/// What each bottle or lot that was proved comes to, joined with its runs.
fn joined(term: &Term, experiment: &Experiment, runs: &[ProvedRun]) -> Vec<JoinedValue> {
    let mut bottles: Vec<&Bottle> = runs.iter().map(|run| &run.bottle).collect();
    bottles.sort_unstable();
    bottles.dedup();
    let one = |bottle: &&Bottle| {
        let value = term.joined_with_runs(bottle)?;
        let (shown, u) = value.rounded();
        let reason = "record and proving joined by their uncertainties".to_owned();
        let rest = [
            ("uncertainty", value.standard_uncertainty.to_string()),
            ("reason", reason),
        ];
        let (action, fields) = match bottle {
            Bottle::Lot(code) => (
                "/course/lots/preview".to_owned(),
                vec![
                    ("lot", code.to_string()),
                    ("reagent", term.lots.get(code)?.reagent.clone()),
                    ("molarity", value.value.to_string()),
                ],
            ),
            Bottle::Unknown { experiment, code } => (
                format!("/course/experiments/{experiment}/unknowns/preview"),
                vec![
                    ("unknown", code.to_string()),
                    ("true_value", value.value.to_string()),
                ],
            ),
        };
        Some(JoinedValue {
            name: named(bottle),
            value: format!("{shown} ± {u}"),
            unit: unit_of(experiment, bottle),
            action,
            fields: fields.into_iter().chain(rest).collect(),
        })
    };
    bottles.iter().filter_map(one).collect()
}

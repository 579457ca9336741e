//! Ready for the week: of each experiment that is not over, what is proved, what is not, what disagrees, what expires before
//! its last hour ends, and what is still needed.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::IntoResponse;

use super::words::{LiveLine, ProvedLine, last_hour, line, live_lines, named};
use crate::chem::Formula;
use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::term::{ProvedRun, Term};
use crate::truth::Bottle;
use crate::web::prep::still_needed;
use crate::web::{Frame, Page, PageResult, StaffVisitor, dates};

#[derive(Template)]
#[template(path = "proving/ready.html")]
struct ReadyPage {
    frame: Frame,
    live: Vec<LiveLine>,
    experiments: Vec<Readiness>,
    /// Experiments whose last hour is over.
    over: Vec<(ExperimentKey, String)>,
}

/// How far an experiment is prepared.
struct Readiness {
    key: ExperimentKey,
    title: String,
    opens: String,
    due: String,
    disagreeing: Vec<ProvedLine>,
    agreeing: Vec<ProvedLine>,
    /// Bottles and lots that nobody has titrated.
    unproved: Vec<String>,
    /// What is past its day before the last hour ends, with that day.
    expiring: Vec<(String, String)>,
    needed: Vec<String>,
}

impl Readiness {
    fn of(term: &Term, experiment: &Experiment, runs: &[ProvedRun]) -> Self {
        let bottles = bottles(term, experiment);
        let mut last: BTreeMap<&Bottle, &ProvedRun> = BTreeMap::new();
        for run in runs.iter().filter(|run| run.difference.is_some()) {
            let newest = last.entry(&run.bottle).or_insert(run);
            if run.at >= newest.at {
                *newest = run;
            }
        }
        let zone = &term.course.zone;
        let of_experiment = || bottles.iter().filter_map(|bottle| last.get(bottle));
        let lines = |disagree: bool| {
            let runs = of_experiment().filter(|run| run.disagrees() == disagree);
            runs.map(|run| line(zone, run)).collect()
        };
        let ends = last_hour(experiment);
        let expiring = bottles.iter().filter_map(|bottle| {
            let day = term.shelf.get(bottle)?.expires?;
            let before = day < ends.date();
            before.then(|| (named(bottle), day.strftime("%-d %b %Y").to_string()))
        });
        let unproved = bottles.iter().filter(|bottle| !last.contains_key(bottle));
        Self {
            key: experiment.key.clone(),
            title: experiment.procedure.title.clone(),
            opens: dates::local(experiment.dates.opens),
            due: dates::local(experiment.dates.due),
            disagreeing: lines(true),
            agreeing: lines(false),
            unproved: unproved.map(named).collect(),
            expiring: expiring.collect(),
            needed: still_needed(term, experiment),
        }
    }
}

/// The unknowns of an experiment and the lots of its reagents.
fn bottles(term: &Term, experiment: &Experiment) -> Vec<Bottle> {
    let key = &experiment.key;
    let unknowns = term.unknowns.get(key).into_iter().flatten();
    let unknowns = unknowns.map(|(code, _)| Bottle::unknown(key, code));
    let species: Vec<&Formula> = experiment.procedure.reagents_in_lots().collect();
    let lots = term.lots.values().filter(|lot| {
        let is_it = |formula: &Formula| species.iter().any(|one| **one == *formula);
        Formula::parse(&lot.reagent).is_ok_and(|formula| is_it(&formula))
    });
    unknowns
        .chain(lots.map(|lot| Bottle::Lot(lot.code.clone())))
        .collect()
}

pub async fn page(visitor: StaffVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let now = term.course.zone.local(visitor.now());
    let is_over = |experiment: &&Experiment| last_hour(experiment) < now;
    let (over, ahead): (Vec<&Experiment>, Vec<&Experiment>) =
        term.experiments.iter().partition(is_over);
    let runs: Vec<ProvedRun> = term
        .experiments
        .iter()
        .flat_map(|one| term.proving_runs(one))
        .collect();
    let named = |one: &&Experiment| (one.key.clone(), one.procedure.title.clone());
    Ok(Page(ReadyPage {
        frame: visitor.frame("Ready for the week"),
        live: live_lines(&visitor, &view).await?,
        experiments: ahead
            .into_iter()
            .map(|one| Readiness::of(term, one, &runs))
            .collect(),
        over: over.iter().map(named).collect(),
    }))
}

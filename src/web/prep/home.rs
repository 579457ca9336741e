//! The prep room at a glance: what runs out, what each experiment still needs.

use askama::Template;
use axum::response::IntoResponse;

use super::pages::Days;
use crate::chem::{Formula, printed};
use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::term::{Slot, Term};
use crate::truth::{Bottle, Keeping};
use crate::web::{Frame, Page, PageResult, PrepVisitor, dates};

#[derive(Template)]
#[template(path = "prep/home.html")]
struct HomePage {
    frame: Frame,
    running_out: Vec<RunningOut>,
    experiments: Vec<Row>,
    lots: usize,
}

/// A bottle that is near its day, or past it.
struct RunningOut {
    name: String,
    href: String,
    days: Days,
}

struct Row {
    key: ExperimentKey,
    title: String,
    opens: String,
    due: String,
    unknowns: usize,
    with_bottle: usize,
    students: usize,
    /// What it needs before it opens.
    missing: Vec<String>,
}

pub async fn page(visitor: PrepVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let today = term.course.zone.local(visitor.now()).date();
    let mut running_out: Vec<(Keeping, RunningOut)> = Vec::new();
    for (bottle, life) in &term.shelf {
        let keeping = life.keeping(today);
        let Some((name, href)) = named(term, bottle).filter(|_| keeping != Keeping::Good) else {
            continue;
        };
        let days = Days::of(Some(life), today);
        running_out.push((keeping, RunningOut { name, href, days }));
    }
    running_out.sort_by_key(|(keeping, _)| match keeping {
        Keeping::Expired(days) => days.saturating_neg(),
        Keeping::Soon(days) => *days,
        Keeping::Good => i32::MAX,
    });
    Ok(Page(HomePage {
        frame: visitor.frame("Prep room"),
        running_out: running_out.into_iter().map(|(_, row)| row).collect(),
        experiments: term.experiments.iter().map(|e| row(term, e)).collect(),
        lots: term.lots.len(),
    }))
}

/// What a bottle is called and where its page is; none of one the course no longer has.
fn named(term: &Term, bottle: &Bottle) -> Option<(String, String)> {
    let encoded =
        |code: &str| -> String { form_urlencoded::byte_serialize(code.as_bytes()).collect() };
    match bottle {
        Bottle::Lot(code) => {
            let lot = term.lots.get(code)?;
            let name = format!("Lot {code}, {}", printed(&lot.reagent));
            Some((name, format!("/prep/lot?code={}", encoded(code))))
        }
        Bottle::Unknown { experiment, code } => {
            term.unknowns.get(experiment)?.get(code)?;
            let title = &term.experiment(experiment)?.procedure.title;
            let href = format!(
                "/prep/experiments/{experiment}/unknown?code={}",
                encoded(code)
            );
            Some((format!("Unknown {code}, {title}"), href))
        }
    }
}

fn row(term: &Term, experiment: &Experiment) -> Row {
    let key = &experiment.key;
    let unknowns = term.unknowns.get(key).map_or(0, |u| u.len());
    let has =
        |student: &&crate::course::Student| term.issued.contains_key(&Slot::new(key, &student.id));
    let with_bottle = term.enrolled().filter(has).count();
    let procedure = &experiment.procedure;
    Row {
        key: key.clone(),
        title: procedure.title.clone(),
        opens: dates::local(experiment.dates.opens),
        due: dates::local(experiment.dates.due),
        unknowns,
        with_bottle,
        students: term.enrolled().count(),
        missing: still_needed(term, experiment),
    }
}

/// What an experiment needs before it opens.
pub fn still_needed(term: &Term, experiment: &Experiment) -> Vec<String> {
    let mut missing = Vec::new();
    for species in experiment.procedure.reagents_in_lots() {
        let of = |reagent: &str| Formula::parse(reagent).is_ok_and(|f| f == *species);
        if !term.lots.values().any(|lot| of(&lot.reagent)) {
            missing.push(format!("a lot of {}", printed(species.written())));
        }
    }
    if term
        .unknowns
        .get(&experiment.key)
        .is_none_or(|all| all.is_empty())
    {
        missing.push("unknowns".to_owned());
    }
    missing
}

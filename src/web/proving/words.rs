//! A run in a line: what was proved, when, by whom, and what came of it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use jiff::civil::DateTime;

use crate::course::{Experiment, Zone};
use crate::desk::View;
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::{LiveCall, LiveSubject, ProvedDifference};
use crate::measure::to_decimals;
use crate::store::{BenchDraft, DraftStamp, draft_stamp, drafts_in};
use crate::submission::HandIn;
use crate::term::{BySlot, Judged, ProvedRun, SentReadings, Slot, Term};
use crate::truth::Bottle;
use crate::web::changing::in_query;
use crate::web::student::draft::{Whole, entry_of};
use crate::web::{PageError, PageResult, Visitor};
use crate::words::counted;

/// A run as pages of a bottle, a lot and an experiment say it.
pub struct ProvedLine {
    pub words: String,
    pub disagrees: bool,
    /// Where the run is.
    pub href: String,
}

/// What was said of each experiment, with the newest change and the newest draft it was said after: many boards look at
/// one experiment.
#[derive(Clone, Debug, Default)]
pub struct LiveLines(Arc<Mutex<BTreeMap<ExperimentKey, Said>>>);

type Said = ((i64, DraftStamp), Vec<LiveLine>);

/// A lot or a bottle that is off by the results so far.
#[derive(Clone, Debug)]
pub struct LiveLine {
    /// Title of the experiment.
    pub experiment: String,
    pub words: String,
    pub remedy: &'static str,
    /// Where it is proved.
    pub href: String,
}

/// What results say so far, of the experiments that are under way.
pub async fn live_lines(visitor: &Visitor, view: &View) -> PageResult<Vec<LiveLine>> {
    let local = view.term.course.zone.local(visitor.now());
    let is_open = |experiment: &&Experiment| {
        experiment.dates.opens <= local && local <= last_hour(experiment)
    };
    let mut lines = Vec::new();
    for experiment in view.term.experiments.iter().filter(is_open) {
        lines.extend(live_lines_of(visitor, view, experiment).await?);
    }
    Ok(lines)
}

/// The same of one experiment.
pub async fn live_lines_of(
    visitor: &Visitor,
    view: &View,
    experiment: &Experiment,
) -> PageResult<Vec<LiveLine>> {
    let mut reader = visitor.state.store().read().await?;
    let stamp = (view.newest(), draft_stamp(&mut reader).await?);
    let said = &visitor.state.live.0;
    let said = || said.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((of, lines)) = said().get(&experiment.key)
        && *of == stamp
    {
        return Ok(lines.clone());
    }
    let drafts = drafts_in(&mut reader, &experiment.key).await?;
    drop(reader);
    let (image, key) = (Arc::clone(view), experiment.key.clone());
    let lines = tokio::task::spawn_blocking(move || {
        let experiment = image.term.experiment(&key);
        experiment.map(|experiment| lines_from(&image.term, &image.judged, experiment, &drafts))
    });
    let lines = lines
        .await
        .map_err(PageError::internal)?
        .unwrap_or_default();
    said().insert(experiment.key.clone(), (stamp, lines.clone()));
    Ok(lines)
}

fn lines_from(
    term: &Term,
    judged: &BySlot<Judged>,
    experiment: &Experiment,
    drafts: &BTreeMap<StudentId, BenchDraft>,
) -> Vec<LiveLine> {
    let sent = drafts.iter().filter_map(|(student, draft)| {
        let slot = Slot::new(&experiment.key, student);
        Some(SentReadings {
            readings: finished(term, experiment, draft)?,
            at: draft.at,
            slot,
        })
    });
    let sent: Vec<SentReadings> = sent.collect();
    let calls = term.live_calls(experiment, judged, &sent);
    let line = |call: LiveCall| {
        let asked = match &call.subject {
            LiveSubject::Lot(code) => format!("proves=lot&lot={}", in_query(code)),
            LiveSubject::Bottle(code) => format!("proves=unknown&unknown={}", in_query(code)),
        };
        LiveLine {
            experiment: experiment.procedure.title.clone(),
            words: call.finding(),
            remedy: call.remedy(),
            href: format!("/proving/{}?run=new&{asked}#typed", experiment.key),
        }
    };
    calls.into_iter().map(line).collect()
}

/// The trials of a draft that are whole; with the codes on the bottles where the rest of the form is sound, and else with
/// those of the section.
fn finished(term: &Term, experiment: &Experiment, draft: &BenchDraft) -> Option<HandIn> {
    let procedure = &experiment.procedure;
    let whole = Whole::of(procedure, entry_of(procedure, draft).ok()?);
    let readings = whole.hand_in(term, experiment).unwrap_or_else(|_| HandIn {
        titrations: whole.rows.clone(),
        ..HandIn::default()
    });
    (!readings.titrations.is_empty()).then_some(readings)
}

/// When the last section's work is due.
pub fn last_hour(experiment: &Experiment) -> DateTime {
    let of_sections = experiment.section_dates.values();
    let due = of_sections.filter_map(|dates| dates.due);
    due.fold(experiment.dates.due, DateTime::max)
}

/// The runs on a bottle, the last one first.
pub fn proved_lines(term: &Term, bottle: &Bottle) -> Vec<ProvedLine> {
    let runs = term.runs_on(bottle).into_iter().rev();
    runs.map(|run| line(&term.course.zone, &run)).collect()
}

/// The runs of an experiment, the last one first.
pub fn lines_of(term: &Term, experiment: &Experiment) -> Vec<ProvedLine> {
    let runs = term.proving_runs(experiment);
    runs.iter()
        .rev()
        .map(|run| line(&term.course.zone, run))
        .collect()
}

pub fn line(zone: &Zone, run: &ProvedRun) -> ProvedLine {
    ProvedLine {
        words: sentence(zone, run),
        disagrees: run.disagrees(),
        href: format!("/proving/{}?run={}#runs", run.experiment, run.run),
    }
}

/// Such as “E-03 proved 26 Nov by p.rowan: −0.2 ± 0.4 %, agrees”.
fn sentence(zone: &Zone, run: &ProvedRun) -> String {
    let day = run
        .at
        .map(|at| zone.local(at).strftime("%-d %b").to_string());
    let name = named(&run.bottle);
    let day = day.map(|day| format!(" {day}")).unwrap_or_default();
    let who = format!("{day} by {}", run.by);
    match (&run.difference, run.work_up.counted()) {
        (Some(difference), _) => format!("{name} proved{who}: {}", in_percent(difference)),
        (None, 0) => format!("{name} begun{who}: no trial counts yet"),
        (None, n) => {
            let trials = counted(n, "trial", "trials");
            format!("{name} titrated{who}: {trials}, with no value to stand beside")
        }
    }
}

pub fn named(bottle: &Bottle) -> String {
    match bottle {
        Bottle::Lot(code) => format!("Lot {code}"),
        Bottle::Unknown { code, .. } => code.to_string(),
    }
}

pub fn in_percent(difference: &ProvedDifference) -> String {
    let decimals = if difference.expanded_percent < 0.25 {
        2
    } else {
        1
    };
    let percent = format!("{:+.decimals$}", difference.percent).replace('-', "\u{2212}");
    let word = match (difference.agrees(), difference.disagrees()) {
        (true, _) => "agrees",
        (_, true) => "disagrees",
        _ => "is in doubt: titrate it again",
    };
    format!(
        "{percent} ± {:.decimals$} %, {word}",
        difference.expanded_percent
    )
}

/// E_n with its sign, to two decimals.
pub fn e_n(difference: &ProvedDifference) -> String {
    format!("{:+.2}", difference.e_n).replace('-', "\u{2212}")
}

/// What a burette delivered, to two decimals.
pub fn volume(value: rust_decimal::Decimal) -> String {
    to_decimals(value, 2).to_string()
}

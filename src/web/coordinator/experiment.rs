//! Setting up an experiment: its procedure and marking, whether that is fair, its dates and lots.

use askama::Template;
use axum::response::IntoResponse;

use super::experiments;
use super::glance::{Tally, record_lot};
use super::titres::{self, Titre};
use super::words;
use crate::chem::{printed, printed_reaction};
use crate::desk::forms::{ExperimentDates, SectionLotsForm, ShowTruth};
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::measure::{from_f64, plain};
use crate::procedure::{Procedure, marking_in_words};
use crate::simulate::{Fairness, Remedy, fairness, remedies};
use crate::term::Slot;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::proving::{LiveLine, ProvedLine, lines_of, live_lines_of};
use crate::web::{Frame, Page, PageError};

/// Students of the class that is simulated to see whether the marking is fair.
const CLASS: usize = 1000;

pub const DATES: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/dates",
    |visit| Ok(Box::new(ExperimentDates(visit.key()?.clone()))),
    page,
)
.says("dates", |_| "The dates are changed.".to_owned())
.leads_to("/course/experiments/{key}");

/// A lot for each section, or one for all of them.
pub const LOTS: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/lots",
    |visit| Ok(Box::new(SectionLotsForm(visit.key()?.clone()))),
    page,
)
.says("assigned", |_| "The lots are assigned.".to_owned())
.leads_to("/course/experiments/{key}");

pub const TRUTH: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/truth",
    |visit| Ok(Box::new(ShowTruth(visit.key()?.clone()))),
    page,
)
.says("truth", |_| {
    "What students are told of true values is changed.".to_owned()
})
.leads_to("/course/experiments/{key}");

#[derive(Template)]
#[template(path = "coordinator/experiment.html")]
struct ExperimentPage {
    frame: Frame,
    key: ExperimentKey,
    dates: Filled,
    lots: Filled,
    truth: Filled,
    without_bottle: usize,
    /// Students with other dates than their section.
    arranged: usize,
    /// Sections with dates of their own.
    own_dates: usize,
    unknowns: usize,
    proved: Vec<ProvedLine>,
    live: Vec<LiveLine>,
    reactions: Vec<String>,
    facts: Vec<(&'static str, String)>,
    marking: Vec<(&'static str, String)>,
    fairness: Result<FairnessWords, String>,
    titres: Vec<Titre>,
    titres_with: String,
    titres_head: String,
    titres_words: String,
    titres_warn: bool,
    /// Reagents of which there is no lot yet, each with where one is recorded.
    missing: Vec<(String, String)>,
}

/// What a class can reach, in words.
struct FairnessWords {
    students: usize,
    reachable: String,
    /// Cause, percent of the result, and length of its bar in percent of that of all causes together.
    contributions: Vec<(String, String, String)>,
    scale: &'static str,
    expected: Vec<(u32, String, String)>,
    unit: &'static str,
    parts: Vec<(String, String, String)>,
    full: String,
    endpoint: Option<String>,
    warnings: Vec<String>,
    helps: Vec<String>,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let (procedure, glassware) = {
            let view = visit.view().await?;
            let procedure = visit.experiment(&view.term)?.procedure.clone();
            (procedure, view.term.glassware.clone())
        };
        // a class of a thousand takes a while: not on a thread that serves pages, nor with the course held
        let fairness = tokio::task::spawn_blocking(move || {
            fairness(&procedure, CLASS, 1).map(|found| FairnessWords {
                helps: remedies(&procedure, &glassware)
                    .iter()
                    .map(Remedy::words)
                    .collect(),
                ..fairness_words(&procedure, found)
            })
        });
        let fairness = fairness.await.map_err(PageError::internal)?;
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let (key, procedure) = (&experiment.key, &experiment.procedure);
        let (titres, titres_with) = titres::expected(term, experiment);
        let mut frame = visit.frame(&procedure.title);
        let places = [
            &DATES,
            &LOTS,
            &TRUTH,
            &experiments::NEW,
            &crate::web::prep::record::LOT,
        ];
        frame.notice = notice(&visit.query, &places);
        Ok(Page(ExperimentPage {
            frame,
            key: key.clone(),
            dates: DATES.filled(visit, term, refused.as_ref())?,
            lots: LOTS.filled(visit, term, refused.as_ref())?,
            truth: TRUTH.filled(visit, term, refused.as_ref())?,
            missing: SectionLotsForm::missing(term, experiment)
                .into_iter()
                .map(|reagent| (printed(&reagent), record_lot(key, &reagent)))
                .collect(),
            without_bottle: Tally::of(&view, key, None).without_bottle,
            arranged: term
                .enrolled()
                .filter(|s| term.extension(&Slot::new(key, &s.id)).is_some())
                .count(),
            own_dates: experiment.section_dates.len(),
            unknowns: term.unknowns.get(key).map_or(0, |own| own.len()),
            proved: lines_of(term, experiment),
            live: live_lines_of(visit, &view, experiment).await?,
            reactions: procedure
                .reactions
                .iter()
                .map(|reaction| printed_reaction(&reaction.to_string()))
                .collect(),
            facts: words::facts(procedure),
            marking: marking_in_words(&procedure.marking),
            fairness,
            titres_words: titres::in_words(procedure, &titres),
            titres_warn: titres.iter().any(|t| t.warning.is_some()),
            titres,
            titres_with,
            titres_head: titres::head(procedure),
        })
        .into_response())
    })
}

fn fairness_words(procedure: &Procedure, found: Fairness) -> FairnessWords {
    let figures = |value: f64, n: usize| from_f64(value, n).map(plain).unwrap_or_default();
    FairnessWords {
        students: found.students,
        reachable: figures(found.reachable_percent, 2),
        contributions: found
            .contributions
            .into_iter()
            .map(|(name, percent)| {
                let length = format!("{:.1}", 100.0 * percent / found.reachable_percent);
                (name, figures(percent, 2), length)
            })
            .collect(),
        scale: found.signal.scale,
        expected: found
            .expected
            .iter()
            .map(|one| {
                let signal = format!("{} {}", figures(one.signal, 4), found.signal.unit);
                (one.share, signal, figures(one.result, 4))
            })
            .collect(),
        unit: procedure.result.unit.name(),
        parts: found
            .parts
            .iter()
            .map(|(part, mean, most)| (part.to_string(), figures(*mean, 3), plain(*most)))
            .collect(),
        full: figures(found.full_accuracy_percent, 2),
        endpoint: found.endpoint.map(|endpoint| endpoint.words()),
        warnings: found.warnings,
        helps: Vec::new(),
    }
}

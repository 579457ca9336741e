//! One experiment: its procedure and marking, whether that is fair, its dates and lots.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::form::{Form, done};
use super::glance::{self, Tally};
use super::marks::{Histograms, histograms};
use super::preview::{Asked, Said, Wanted, hidden};
use super::titres::{self, Titre};
use super::words;
use crate::chem::{Formula, printed_reaction};
use crate::course::{Experiment, SectionLots};
use crate::desk::{self, PrepareError};
use crate::ids::{ExperimentKey, LotCode, SectionName};
use crate::judge::{Fairness, Remedy, fairness, remedies};
use crate::measure::{from_f64, plain};
use crate::procedure::Procedure;
use crate::term::{Slot, Term};
use crate::web::digits::{SectionDigits, section_digits};
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

/// Students of the class that is simulated to see whether the marking is fair.
const CLASS: usize = 1000;

#[derive(Template)]
#[template(path = "coordinator/experiment.html")]
struct ExperimentPage {
    frame: Frame,
    key: ExperimentKey,
    form: Form,
    state: &'static str,
    tag: &'static str,
    zone: String,
    tally: Tally,
    /// How marks are spread; none while there are none.
    marks: Option<Histograms>,
    /// Students with other dates than their section.
    arranged: usize,
    /// Sections with dates of their own.
    own_dates: usize,
    unknowns: usize,
    reactions: Vec<String>,
    facts: Vec<(&'static str, String)>,
    marking: Vec<(&'static str, String)>,
    fairness: Result<FairnessWords, String>,
    titres: Vec<Titre>,
    titres_with: String,
    titres_head: String,
    titres_words: String,
    titres_warn: bool,
    sections: Vec<SectionChoice>,
    titrants: Option<Choices>,
    excesses: Option<Choices>,
    digits: Vec<SectionDigits>,
    /// Students are told the true values once results are out.
    show_truth: bool,
}

/// Lots of a reagent to choose from.
struct Choices {
    reagent: String,
    codes: Vec<String>,
}

/// The lots chosen for a section.
struct SectionChoice {
    name: String,
    titrant: String,
    excess: String,
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

pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = {
        let view = state.desk.view().await?;
        let dates = find(&view.term, &key)?.dates;
        let shown = |at: jiff::civil::DateTime| at.strftime("%Y-%m-%dT%H:%M").to_string();
        Form::filled(&[("opens", &shown(dates.opens)), ("due", &shown(dates.due))])
    };
    Ok(experiment(&state, &visitor, &key, form, done(&query))
        .await?
        .into_response())
}

async fn experiment(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<ExperimentPage>> {
    let (procedure, glassware) = {
        let view = state.desk.view().await?;
        let procedure = find(&view.term, key)?.procedure.clone();
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
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, key)?;
    let procedure = &experiment.procedure;
    let (state_word, tag) = glance::state(&view, experiment, state.clock.now());
    let (titres, titres_with) = titres::expected(term, experiment);
    let choices = |species: &Formula| Choices {
        reagent: species.to_string(),
        codes: lots_of(term, species),
    };
    let mut frame = visitor.frame(&procedure.title);
    frame.notice = notice;
    let titrant = procedure.lot_reagent().map(|(species, _)| species);
    Ok(Page(ExperimentPage {
        frame,
        key: key.to_owned(),
        form,
        state: state_word,
        tag,
        zone: term.course.zone.name().to_owned(),
        tally: Tally::of(&view, key, None),
        marks: histograms(&view, key),
        arranged: term
            .enrolled()
            .filter(|s| term.extension(&Slot::new(key, &s.id)).is_some())
            .count(),
        own_dates: experiment.section_dates.len(),
        unknowns: term.unknowns.get(key).map_or(0, BTreeMap::len),
        reactions: procedure
            .reactions
            .iter()
            .map(|reaction| printed_reaction(&reaction.to_string()))
            .collect(),
        facts: words::facts(procedure),
        marking: words::marking(&procedure.marking),
        fairness,
        titres_words: titres::in_words(procedure, &titres),
        titres_warn: titres.iter().any(|t| t.warning.is_some()),
        titres,
        titres_with,
        titres_head: titres::head(procedure),
        sections: section_choices(term, experiment),
        titrants: titrant.map(choices),
        excesses: procedure.excess.as_ref().map(|e| choices(&e.species)),
        digits: section_digits(&view, experiment, |_| true),
        show_truth: term
            .sources
            .experiments
            .get(key)
            .is_some_and(|source| source.show_truth),
    }))
}

/// The experiment of that key, or the page that says there is none.
pub fn find<'t>(term: &'t Term, key: &ExperimentKey) -> PageResult<&'t Experiment> {
    term.experiment(key).ok_or_else(PageError::not_found)
}

fn lots_of(term: &Term, species: &Formula) -> Vec<String> {
    let of = |reagent: &str| Formula::parse(reagent).is_ok_and(|f| f == *species);
    let lots = term.lots.values().filter(|lot| of(&lot.reagent));
    lots.map(|lot| lot.code.to_string()).collect()
}

fn section_choices(term: &Term, experiment: &Experiment) -> Vec<SectionChoice> {
    let of = |section: &str| {
        let lots = experiment
            .section_lots
            .get(section)
            .cloned()
            .unwrap_or_default();
        SectionChoice {
            name: section.to_owned(),
            titrant: lots.titrant.as_deref().unwrap_or_default().to_owned(),
            excess: lots.excess.as_deref().unwrap_or_default().to_owned(),
        }
    };
    term.sections().into_iter().map(of).collect()
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

pub async fn dates(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let typed = typed_dates(&state, &key, &fields).await?;
    let who = (visitor.login.as_str(), state.clock.now());
    let typed = typed.each_ref().map(String::as_str);
    let changed = desk::new_experiment(&state.desk, typed, who).await;
    answer(&state, &visitor, &key, fields, changed, "dates").await
}

/// `POST /course/experiments/{key}/dates/preview`: what other dates would change.
pub async fn preview_dates(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let typed = typed_dates(&state, &key, &fields).await?;
    let asked = Asked {
        wanted: Wanted::Experiment(typed),
        action: format!("/course/experiments/{key}/dates"),
        hidden: hidden(&fields, &["opens", "due"]),
        reason: None,
        back: format!("/course/experiments/{key}"),
        said: Said::default(),
    };
    match asked.answer(&state, &visitor).await? {
        Ok(page) => Ok(page),
        Err(why) => answer(&state, &visitor, &key, fields, Err(why), "dates").await,
    }
}

/// Key, procedure and dates of an experiment as they are to be.
async fn typed_dates(
    state: &AppState,
    key: &ExperimentKey,
    fields: &Fields,
) -> PageResult<[String; 4]> {
    let view = state.desk.view().await?;
    find(&view.term, key)?;
    let source = view.term.sources.experiments.get(key);
    let procedure = source.map(|s| s.procedure.clone()).unwrap_or_default();
    let dates = ["opens", "due"].map(|name| fields.text(name).to_owned());
    let [opens, due] = dates;
    Ok([key.to_string(), procedure, opens, due])
}

/// `POST /course/experiments/{key}/lots`: a lot for each section, or one for all of them.
pub async fn lots(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let mut lots: BTreeMap<SectionName, SectionLots> = BTreeMap::new();
    let sections: Vec<SectionName> = {
        let view = state.desk.view().await?;
        find(&view.term, &key)?;
        let sections = view.term.sections().into_iter();
        sections.map(SectionName::new).collect()
    };
    let chosen = |kind: &str, section: &str| {
        let all = fields.text(&format!("{kind}-all"));
        let own = fields.text(&format!("{kind}:{section}"));
        let code = if all.is_empty() { own } else { all };
        (!code.is_empty()).then(|| LotCode::new(code))
    };
    for section in &sections {
        let of_section = SectionLots {
            titrant: chosen("titrant", section),
            excess: chosen("excess", section),
        };
        if of_section != SectionLots::default() {
            lots.insert(section.clone(), of_section);
        }
    }
    let who = (visitor.login.as_str(), state.clock.now());
    let changed = desk::assign_lots(&state.desk, &key, lots, who).await;
    answer(&state, &visitor, &key, fields, changed, "assigned").await
}

async fn answer(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    changed: Result<(), PrepareError>,
    done: &str,
) -> PageResult<Response> {
    match changed {
        Ok(()) => Err(PageError::see_other(format!(
            "/course/experiments/{key}?done={done}"
        ))),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = experiment(state, visitor, key, form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

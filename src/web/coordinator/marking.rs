//! The marking and the rules for trials of an experiment, edited beside what a careful student reaches, looked at with
//! every grade they would change, and applied with a reason.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::experiment::find;
use super::form::{Form, done};
use super::marking_form::{FIELDS, filled, read};
use super::preview::{Asked, Said, Wanted};
use crate::desk::{self, PrepareError, Rules};
use crate::ids::ExperimentKey;
use crate::judge::{Fairness, fairness};
use crate::measure::{from_f64, plain};
use crate::procedure::Procedure;
use crate::term::Amended;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};

/// Students of the class that is simulated to see whether a marking is fair.
const CLASS: usize = 1000;

#[derive(Template)]
#[template(path = "coordinator/marking.html")]
struct MarkingPage {
    frame: Frame,
    form: Form,
    key: ExperimentKey,
    title: String,
    /// What it says of the marking as it stands.
    fair: FairWords,
    /// Whether the experiment has rules of its own.
    own: bool,
    handed_in: usize,
    rows: Vec<AmendedRow>,
}

/// Whether a marking is fair, in words.
#[derive(Default)]
struct FairWords {
    warnings: Vec<String>,
    sentences: Vec<String>,
}

/// A change of the rules.
struct AmendedRow {
    what: &'static str,
    reason: String,
    who: String,
    before: String,
}

pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = {
        let view = state.desk.view().await?;
        filled(&find(&view.term, &key)?.procedure)
    };
    let page = marking(&state, &visitor, &key, form, done(&query)).await?;
    Ok(page.into_response())
}

async fn marking(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<MarkingPage>> {
    let procedure = {
        let view = state.desk.view().await?;
        find(&view.term, key)?.procedure.clone()
    };
    let fair = fair_words(procedure, None).await?;
    let view = state.desk.view().await?;
    let term = &view.term;
    let title = find(term, key)?.procedure.title.clone();
    let source = term.sources.experiments.get(key);
    let of_it = |one: &&crate::term::Amendment| match one.what {
        Amended::Procedure => source.is_some_and(|s| s.procedure == one.key),
        Amended::Marking | Amended::Trials => *key == one.key,
    };
    let rows = term.amendments.iter().rev().filter(of_it);
    let mut frame = visitor.frame(format!("Marking: {title}"));
    frame.notice = notice;
    Ok(Page(MarkingPage {
        frame,
        form,
        key: key.to_owned(),
        title,
        fair,
        own: source.is_some_and(|s| s.marking.is_some() || s.trials.is_some()),
        handed_in: term
            .submissions
            .keys()
            .filter(|s| s.experiment == key)
            .count(),
        rows: rows
            .map(|one| AmendedRow {
                what: one.what.name(),
                reason: one.reason.clone(),
                who: format!("{}, {}", one.by, dates::instant(&term.course.zone, one.at)),
                before: one.before.clone().unwrap_or_default(),
            })
            .collect(),
    }))
}

/// Simulates careful students under a marking, and under the one before if there is one to compare with.
async fn fair_words(procedure: Procedure, before: Option<Procedure>) -> PageResult<FairWords> {
    // two classes of a thousand take a while: not on a thread that serves pages
    let found = tokio::task::spawn_blocking(move || {
        let now = fairness(&procedure, CLASS, 1);
        let before = before.and_then(|before| fairness(&before, CLASS, 1).ok());
        now.map(|now| (now, before))
    });
    let figures = |value: f64| from_f64(value, 3).map(plain).unwrap_or_default();
    Ok(match found.await.map_err(PageError::internal)? {
        Err(why) => FairWords {
            warnings: vec![format!("Whether it is fair cannot be said: {why}")],
            sentences: Vec::new(),
        },
        Ok((now, before)) => {
            let mean = |one: &Fairness| one.parts.iter().map(|(_, mean, _)| mean).sum::<f64>();
            let most: rust_decimal::Decimal = now.parts.iter().map(|(_, _, most)| *most).sum();
            let was = before.as_ref().map(|one| {
                format!(
                    " (now {}, and {} %)",
                    figures(mean(one)),
                    figures(one.full_accuracy_percent)
                )
            });
            FairWords {
                sentences: vec![format!(
                    "Careful students have {} of {} points on average for what is measured, and {} % of them all points for accuracy{}.",
                    figures(mean(&now)),
                    plain(most),
                    figures(now.full_accuracy_percent),
                    was.unwrap_or_default()
                )],
                warnings: now.warnings,
            }
        }
    })
}

/// The rules a form asks for: its fields, or those of the procedure again.
fn rules(fields: &Fields, procedure: &Procedure) -> Result<Rules, PrepareError> {
    if fields.text("use") == "procedure" {
        return Ok(Rules::default());
    }
    read(fields, &procedure.trials).map_err(PrepareError::Fields)
}

pub async fn preview(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let (changes, before, seen) = {
        let view = state.desk.view().await?;
        let before = find(&view.term, &key)?.procedure.clone();
        let who = (visitor.login.as_str(), state.clock.now());
        let changes = rules(&fields, &before).and_then(|rules| {
            let changes = desk::rule_changes(&view.term, &key, &rules, "", who)?;
            desk::still_readable(&view.term, &changes)?;
            Ok(changes)
        });
        (changes, before, desk::rules_seen(&view.term, &key))
    };
    let changes = match changes {
        Ok(changes) => changes,
        Err(why) => return refused(&state, &visitor, &key, fields, why).await,
    };
    let after = changes.iter().find_map(|change| match change {
        crate::change::Change::Experiment { experiment, .. } => Some(experiment.procedure.clone()),
        _ => None,
    });
    let fair = match after {
        Some(after) => fair_words(after, Some(before)).await?,
        None => FairWords::default(),
    };
    let mut hidden = super::preview::hidden(&fields, &FIELDS);
    hidden.push(("use".to_owned(), fields.text("use").to_owned()));
    hidden.push(("seen".to_owned(), seen));
    let action = format!("/course/experiments/{key}/marking");
    let asked = Asked {
        wanted: Wanted::Changes(changes),
        hidden,
        reason: Some(("reason", fields.text("reason").to_owned())),
        back: action.clone(),
        action,
        said: Said {
            warnings: fair.warnings,
            sentences: fair.sentences,
        },
    };
    match asked.answer(&state, &visitor).await? {
        Ok(page) => Ok(page),
        Err(why) => refused(&state, &visitor, &key, fields, why).await,
    }
}

/// `POST /course/experiments/{key}/marking`: everything handed in is marked anew at once.
pub async fn enter(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let procedure = {
        let view = state.desk.view().await?;
        find(&view.term, &key)?.procedure.clone()
    };
    let who = (visitor.login.as_str(), state.clock.now());
    let (reason, seen) = (fields.text("reason"), fields.text("seen"));
    let made = match rules(&fields, &procedure) {
        Err(why) => Err(why),
        Ok(rules) => desk::enter_rules(&state.desk, &key, &rules, reason, seen, who).await,
    };
    match made {
        Ok(_) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/marking?done=marking"
        ))),
        Err(why) => refused(&state, &visitor, &key, fields, why).await,
    }
}

async fn refused(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    why: PrepareError,
) -> PageResult<Response> {
    let form = Form::refused(fields, why)?;
    let page = marking(state, visitor, key, form, None).await?;
    Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
}

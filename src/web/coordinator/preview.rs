//! What a corrected value or another date would change, looked at before it is changed: values, what the class finds,
//! every grade.

use askama::Template;
use axum::response::{IntoResponse, Response};
use rust_decimal::Decimal;

use super::audit::words;
use crate::change::Change;
use crate::desk::{self, Image, PrepareError, Values};
use crate::judge::GroupName;
use crate::term::{Altered, ExperimentAudit, Preview, Term};
use crate::truth::Assigned;
use crate::web::{AppState, CoordinatorVisitor, Fields, Frame, Page, PageResult, dates};

#[derive(Template)]
#[template(path = "coordinator/preview.html")]
struct PreviewPage {
    frame: Frame,
    action: String,
    hidden: Vec<(&'static str, String)>,
    reason: Option<(&'static str, String)>,
    back: String,
    values: Vec<ValueRow>,
    groups: Vec<GroupRow>,
    tally: Tally,
    released: Vec<String>,
    grades: Vec<GradeRow>,
}

/// What was asked for, and where it is done.
pub struct Asked {
    /// What is wanted.
    pub wanted: Wanted,
    /// Where the form goes that makes the change.
    pub action: String,
    /// The fields of that form, but for the reason.
    pub hidden: Vec<(&'static str, String)>,
    /// The field of the reason and the reason as far as it is typed, where one is wanted.
    pub reason: Option<(&'static str, String)>,
    /// Where to go instead.
    pub back: String,
}

/// What is wanted.
pub enum Wanted {
    /// Other values.
    Values(Values),
    /// An experiment as typed: key, procedure, dates.
    Experiment([String; 4]),
}

/// One value, before and after.
struct ValueRow {
    name: String,
    unit: &'static str,
    before: Option<(String, String)>,
    after: (String, String),
}

/// What the class finds with a value, before and after.
struct GroupRow {
    experiment: String,
    name: String,
    n: usize,
    before: String,
    after: String,
    verdict: String,
    off: bool,
}

/// How many are marked anew, and what becomes of them.
struct Tally {
    altered: usize,
    gain: usize,
    lose: usize,
    most_gained: Option<String>,
    most_lost: Option<String>,
    /// Waiting for a person before and after.
    waiting: (usize, usize),
}

/// One grade that would be another.
struct GradeRow {
    student: String,
    id: String,
    section: String,
    experiment: String,
    before: String,
    after: String,
    change: String,
}

impl Wanted {
    fn changes(&self, term: &Term) -> Result<Vec<Change>, PrepareError> {
        match self {
            Self::Values(values) => values.changes(term, ""),
            Self::Experiment(typed) => {
                desk::experiment_changes(term, typed.each_ref().map(String::as_str))
            }
        }
    }

    /// The groups of an audit whose value it is.
    fn groups(&self) -> Vec<GroupName> {
        match self {
            Self::Values(values) => values.groups(),
            Self::Experiment(_) => Vec::new(),
        }
    }
}

impl Asked {
    /// The answer to a form that asks what it would change.
    ///
    /// # Errors
    /// [`PrepareError`] for what cannot be entered.
    pub async fn answer(
        self,
        state: &AppState,
        visitor: &CoordinatorVisitor,
    ) -> PageResult<Result<Response, PrepareError>> {
        let view = state.desk.view().await?;
        let changes = match self.wanted.changes(&view.term) {
            Ok(changes) => changes,
            Err(why) => return Ok(Err(why)),
        };
        let page = self.page(&view, visitor.frame("What this would change"), &changes);
        Ok(Ok(Page(page).into_response()))
    }

    fn page(mut self, image: &Image, frame: Frame, changes: &[Change]) -> PreviewPage {
        let preview = image.preview(changes);
        if let Wanted::Values(values) = &self.wanted {
            self.hidden.push(("seen", values.seen(&image.term)));
        }
        let moved = |altered: &&Altered| !altered.gain().is_zero();
        PreviewPage {
            frame,
            values: changes.iter().filter_map(|c| value(image, c)).collect(),
            groups: groups(image, &preview, &self.wanted.groups()),
            tally: tally(&preview.altered),
            released: released(image, &preview.altered),
            grades: preview
                .altered
                .iter()
                .filter(moved)
                .map(|altered| grade(&image.term, altered))
                .collect(),
            action: self.action,
            hidden: self.hidden,
            reason: self.reason,
            back: self.back,
        }
    }
}

/// The fields of a form that was sent, to be sent again with the reason.
pub fn hidden(fields: &Fields, names: &[&'static str]) -> Vec<(&'static str, String)> {
    let one = |name: &&'static str| (*name, fields.text(name).to_owned());
    names.iter().map(one).collect()
}

fn value(image: &Image, change: &Change) -> Option<ValueRow> {
    let term = &image.term;
    let written = |value: &Assigned| {
        (
            value.value.to_string(),
            value.standard_uncertainty.to_string(),
        )
    };
    match change {
        Change::Lot { lot, .. } => Some(ValueRow {
            name: format!("Lot {}, {}", lot.code, lot.reagent),
            unit: "mol/L",
            before: term.lots.get(&lot.code).map(|old| written(&old.molarity)),
            after: written(&lot.molarity),
        }),
        Change::Unknown {
            experiment,
            unknown,
            ..
        } => {
            let held = term.unknowns.get(experiment);
            let old = held.and_then(|held| held.get(&unknown.code));
            let unit = term.experiment(experiment)?.procedure.result.unit.name();
            Some(ValueRow {
                name: format!("Unknown {}", unknown.code),
                unit,
                before: old.map(|old| written(old.truth.open())),
                after: written(unknown.truth.open()),
            })
        }
        Change::Experiment { experiment, .. } => {
            let old = term.experiment(&experiment.key);
            let due = |at| (dates::local(at), "–".to_owned());
            Some(ValueRow {
                name: "Due".to_owned(),
                unit: "local time",
                before: old.map(|old| due(old.dates.due)),
                after: due(experiment.dates.due),
            })
        }
        _ => None,
    }
}

fn groups(image: &Image, preview: &Preview, names: &[GroupName]) -> Vec<GroupRow> {
    let before = image.term.audit(image.judged.iter());
    let after = preview.term.audit(preview.judged.iter());
    let mut rows = Vec::new();
    for (before, after) in before.iter().zip(&after) {
        let rows_of = names
            .iter()
            .filter_map(|name| group(image, [before, after], name));
        rows.extend(rows_of);
    }
    rows
}

fn group(
    image: &Image,
    [before, after]: [&ExperimentAudit; 2],
    name: &GroupName,
) -> Option<GroupRow> {
    let (was, would) = (before.group(name)?, after.group(name)?);
    let experiment = image.term.experiment(&after.experiment)?;
    let bias = |group: &crate::judge::AuditGroup| {
        words::with_uncertainty(group.bias_percent, group.bias_uncertainty_percent)
    };
    Some(GroupRow {
        experiment: experiment.procedure.title.clone(),
        name: name.to_string(),
        n: would.n(),
        before: bias(was),
        after: bias(would),
        verdict: would.verdict.words(),
        off: would.verdict.is_off(),
    })
}

fn tally(altered: &[Altered]) -> Tally {
    let gains = || altered.iter().map(Altered::gain);
    let up = gains().filter(|gain| *gain > Decimal::ZERO);
    let down = gains().filter(|gain| *gain < Decimal::ZERO);
    let waiting = |after: bool| {
        let waits = |one: &&Altered| if after { one.waits().1 } else { one.waits().0 };
        altered.iter().filter(waits).count()
    };
    Tally {
        altered: altered.len(),
        gain: up.clone().count(),
        lose: down.clone().count(),
        most_gained: up.max().map(|most| most.to_string()),
        most_lost: down.min().map(|most| most.abs().to_string()),
        waiting: (waiting(false), waiting(true)),
    }
}

/// Experiments whose students have seen their points already and would see others.
fn released(image: &Image, altered: &[Altered]) -> Vec<String> {
    let experiments = image.term.experiments.iter();
    let concerned = experiments.filter(|experiment| {
        let key = &experiment.key;
        image.is_released(key) && altered.iter().any(|one| one.slot.experiment == *key)
    });
    concerned.map(|e| e.procedure.title.clone()).collect()
}

fn grade(term: &Term, altered: &Altered) -> GradeRow {
    let student = term.student(&altered.slot.student);
    let (before, after) = altered.points();
    let gain = altered.gain();
    let sign = if gain < Decimal::ZERO {
        "\u{2212}"
    } else {
        "+"
    };
    GradeRow {
        student: student.map(ToString::to_string).unwrap_or_default(),
        id: altered.slot.student.clone(),
        section: student.map(|s| s.section.clone()).unwrap_or_default(),
        experiment: altered.slot.experiment.clone(),
        before: before.to_string(),
        after: after.to_string(),
        change: format!("{sign}{}", gain.abs()),
    }
}

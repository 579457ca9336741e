//! What a corrected value or another date would change, looked at before it is changed: values, what the class finds,
//! every grade.

use askama::Template;
use axum::response::{IntoResponse, Response};
use rust_decimal::Decimal;

use super::audit::words;
use crate::change::Change;
use crate::course::Experiment;
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
    hidden: Vec<(String, String)>,
    reason: Option<(&'static str, String)>,
    back: String,
    said: Said,
    values: Vec<ValueRow>,
    /// Whether any of them has an uncertainty.
    uncertain: bool,
    groups: Vec<GroupRow>,
    tally: Tally,
    released: Vec<String>,
    grades: Vec<GradeRow>,
}

/// What was asked for, and where it is done.
pub struct Asked {
    pub wanted: Wanted,
    /// Where the form goes that makes the change.
    pub action: String,
    /// The fields of that form, but for the reason.
    pub hidden: Vec<(String, String)>,
    /// The field of the reason and the reason as far as it is typed, where one is wanted.
    pub reason: Option<(&'static str, String)>,
    /// Where to go instead.
    pub back: String,
    /// What is said beside the numbers.
    pub said: Said,
}

pub enum Wanted {
    Values(Values),
    /// An experiment as typed: key, procedure, dates.
    Experiment([String; 4]),
    /// Changes made out already.
    Changes(Vec<Change>),
}

/// What is said beside the numbers.
#[derive(Default)]
pub struct Said {
    /// What a person should think about first.
    pub warnings: Vec<String>,
    /// What else to know.
    pub sentences: Vec<String>,
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
pub struct GradeRow {
    pub student: String,
    pub id: String,
    pub section: String,
    /// Key of the experiment.
    pub experiment: String,
    pub before: String,
    pub after: String,
    /// The difference with its sign.
    pub change: String,
}

impl Wanted {
    fn changes(&self, term: &Term) -> Result<Vec<Change>, PrepareError> {
        match self {
            Self::Values(values) => values.changes(term, ""),
            Self::Experiment(typed) => {
                desk::experiment_changes(term, typed.each_ref().map(String::as_str))
            }
            Self::Changes(changes) => Ok(changes.clone()),
        }
    }

    /// The groups of an audit whose value it is.
    fn groups(&self) -> Vec<GroupName> {
        match self {
            Self::Values(values) => values.groups(),
            Self::Experiment(_) | Self::Changes(_) => Vec::new(),
        }
    }
}

impl Asked {
    /// The answer to a form that asks what it would change.
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
            self.hidden
                .push(("seen".to_owned(), values.seen(&image.term)));
        }
        let moved = |altered: &&Altered| !altered.gain().is_zero();
        let values: Vec<ValueRow> = changes.iter().flat_map(|c| rows(image, c)).collect();
        PreviewPage {
            frame,
            uncertain: values.iter().any(|row| !row.after.1.is_empty()),
            values,
            said: self.said,
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
pub fn hidden(fields: &Fields, names: &[&str]) -> Vec<(String, String)> {
    let one = |name: &&str| ((*name).to_owned(), fields.text(name).to_owned());
    names.iter().map(one).collect()
}

/// A change without a value: what it is of, before and after.
fn plain(name: impl Into<String>, unit: &'static str, before: String, after: String) -> ValueRow {
    ValueRow {
        name: name.into(),
        unit,
        before: Some((before, String::new())),
        after: (after, String::new()),
    }
}

/// What a change puts in place of what.
fn rows(image: &Image, change: &Change) -> Vec<ValueRow> {
    let term = &image.term;
    match change {
        Change::Experiment { experiment, .. } => experiment_rows(term, experiment),
        Change::Extend { slot, extension } => {
            let mut after = term.clone();
            after.apply(Change::Extend {
                slot: slot.clone(),
                extension: extension.clone(),
            });
            let name = term.student(&slot.student).map(ToString::to_string);
            let name = name.unwrap_or_default();
            let of = |term: &Term| {
                let experiment = term.experiment(&slot.experiment)?;
                let student = term.student(&slot.student)?;
                let due = dates::local(term.dates_of(experiment, student).due);
                Some((due, term.works_in(&slot.experiment, student).to_string()))
            };
            let (before, then) = (of(term).unwrap_or_default(), of(&after).unwrap_or_default());
            let mut rows = vec![plain(
                format!("Due, {name}"),
                "local time",
                before.0,
                then.0,
            )];
            if before.1 != then.1 {
                let name = format!("Works with section, {name}");
                rows.push(plain(name, "", before.1, then.1));
            }
            rows
        }
        Change::Reissue { slot, reissue } => {
            let name = term.student(&slot.student).map(ToString::to_string);
            let name = format!("Bottle, {}", name.unwrap_or_default());
            let (before, after) = (reissue.instead_of.to_string(), reissue.unknown.to_string());
            vec![plain(name, "", before, after)]
        }
        Change::Student(student) => {
            let words = |s: &crate::course::Student| match s.left {
                Some(day) => format!("{s}, section {}, left on {day}", s.section),
                None => format!("{s}, section {}", s.section),
            };
            let before = term.student(&student.id);
            let before = before.map_or("not on the roster".to_owned(), words);
            vec![plain(
                format!("Student {}", student.id),
                "",
                before,
                words(student),
            )]
        }
        Change::Procedure { key, .. } => {
            let known = term.sources.procedures.contains_key(key);
            let before = if known { "as it is" } else { "as shipped" };
            let name = format!("Text of {key}");
            vec![plain(
                name,
                "",
                before.to_owned(),
                "the file sent".to_owned(),
            )]
        }
        other => value(image, other).into_iter().collect(),
    }
}

/// Dates, marking and rules for trials that differ.
fn experiment_rows(term: &Term, new: &Experiment) -> Vec<ValueRow> {
    let Some(old) = term.experiment(&new.key) else {
        let due = dates::local(new.dates.due);
        return vec![plain("Due", "local time", "–".to_owned(), due)];
    };
    let mut rows = Vec::new();
    let mut date = |name: String, before, after| {
        if before != after {
            let (before, after) = (dates::local(before), dates::local(after));
            rows.push(plain(name, "local time", before, after));
        }
    };
    date("Opens".to_owned(), old.dates.opens, new.dates.opens);
    date("Due".to_owned(), old.dates.due, new.dates.due);
    for section in term.sections() {
        let (before, after) = (old.dates_in(section), new.dates_in(section));
        if (before, after) != (old.dates, new.dates) {
            date(
                format!("Opens, section {section}"),
                before.opens,
                after.opens,
            );
            date(format!("Due, section {section}"), before.due, after.due);
        }
    }
    let said = |experiment: &Experiment| {
        let procedure = &experiment.procedure;
        let mut said = super::words::marking(&procedure.marking);
        said.push(("Trials", super::words::trials(procedure)));
        said
    };
    let (before, after) = (said(old), said(new));
    let find = |said: &[(&str, String)], part: &str| {
        let found = said.iter().find(|(name, _)| *name == part);
        found.map_or("none".to_owned(), |(_, words)| words.clone())
    };
    let mut parts: Vec<&'static str> = before.iter().chain(&after).map(|(name, _)| *name).collect();
    parts.dedup();
    let mut seen = Vec::new();
    for part in parts {
        let (was, would) = (find(&before, part), find(&after, part));
        if was != would && !seen.contains(&part) {
            seen.push(part);
            rows.push(plain(part, "", was, would));
        }
    }
    rows
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
        let of_it = |one: &Altered| one.slot.experiment == *key && image.is_released_to(&one.slot);
        altered.iter().any(of_it)
    });
    concerned.map(|e| e.procedure.title.clone()).collect()
}

/// One grade that would be another, in words.
pub fn grade(term: &Term, altered: &Altered) -> GradeRow {
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
        id: altered.slot.student.to_string(),
        section: student.map(|s| s.section.to_string()).unwrap_or_default(),
        experiment: altered.slot.experiment.to_string(),
        before: before.to_string(),
        after: after.to_string(),
        change: format!("{sign}{}", gain.abs()),
    }
}

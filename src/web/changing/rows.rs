//! What a change puts in place of what, row by row.

use crate::changes::{Change, Extend, LotValue, Replace, SetProcedure, UnknownValue};
use crate::course::{Experiment, Student};
use crate::term::Term;
use crate::truth::Assigned;
use crate::web::coordinator::words;
use crate::web::dates;
use crate::web::prep::both;

/// One value, before and after, each with its uncertainty.
pub struct ValueRow {
    pub name: String,
    pub unit: &'static str,
    pub before: Option<(String, String)>,
    pub after: (String, String),
    /// What an unknown should give.
    pub titre: Option<String>,
    pub warning: Option<String>,
}

/// A change without a value: what it is of, before and after.
fn plain(name: impl Into<String>, unit: &'static str, before: String, after: String) -> ValueRow {
    ValueRow {
        name: name.into(),
        unit,
        before: Some((before, String::new())),
        after: (after, String::new()),
        titre: None,
        warning: None,
    }
}

/// What a change puts in place of what.
pub fn rows(term: &Term, change: &Change) -> Vec<ValueRow> {
    match change {
        Change::Experiment(set) => {
            let new = set.experiment();
            new.map_or_else(Vec::new, |new| experiment_rows(term, &new))
        }
        Change::Extend(Extend { slot, .. }) => {
            let mut after = term.clone();
            after.apply(change, None);
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
        Change::Reissue(Replace {
            slot,
            body: reissue,
        }) => {
            let name = term.student(&slot.student).map(ToString::to_string);
            let name = format!("Bottle, {}", name.unwrap_or_default());
            let (before, after) = (reissue.instead_of.to_string(), reissue.unknown.to_string());
            vec![plain(name, "", before, after)]
        }
        Change::Student(student) => {
            let words = |s: &Student| match s.left {
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
        Change::Procedure(SetProcedure { key, .. }) => {
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
        Change::Lot(LotValue { lot, source, .. }) => {
            let old = term.lots.get(&lot.code);
            let old = old.map(|old| written(&old.molarity, term.sources.lots.get(&lot.code)));
            vec![ValueRow {
                name: format!("Lot {}, {}", lot.code, lot.reagent),
                unit: "mol/L",
                before: old,
                after: written(&lot.molarity, source.as_ref()),
                titre: None,
                warning: None,
            }]
        }
        Change::Unknown(value) => unknown_row(term, value).into_iter().collect(),
        // nothing stands in the place of something
        Change::Course(_)
        | Change::Glassware(_)
        | Change::Staff(_)
        | Change::RemoveStaff(_)
        | Change::ShelfLife(_)
        | Change::Issue(_)
        | Change::Group(_)
        | Change::HandIn(_)
        | Change::ByHand(_)
        | Change::Decide(_)
        | Change::Note(_)
        | Change::Release(_)
        | Change::Amend(_)
        | Change::KeyOpened(_)
        | Change::Recomputed(_) => Vec::new(),
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
        let mut said = words::marking(&procedure.marking);
        said.push(("Trials", words::trials(procedure)));
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

fn unknown_row(term: &Term, value: &UnknownValue) -> Option<ValueRow> {
    let (experiment, unknown) = (&value.experiment, &value.unknown);
    let named = (experiment.clone(), unknown.code.clone());
    let held = term.unknowns.get(experiment);
    let old = held.and_then(|held| held.get(&unknown.code));
    Some(ValueRow {
        name: format!("Unknown {}", unknown.code),
        unit: term.experiment(experiment)?.procedure.result.unit.name(),
        before: old.map(|old| written(old.truth.open(), term.sources.unknowns.get(&named))),
        after: written(unknown.truth.open(), value.source.as_ref()),
        titre: None,
        warning: None,
    })
}

/// What was typed stays as it was typed; what was computed is shown to the digits that mean something.
fn written(value: &Assigned, source: Option<&String>) -> (String, String) {
    match source {
        Some(_) => both(value),
        None => (
            value.value.to_string(),
            value.standard_uncertainty.to_string(),
        ),
    }
}

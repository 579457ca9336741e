//! What bottles were made from: weighed, diluted, standardised, or with a value from a certificate.

mod batch;
mod filled;
mod sheet;

use self::sheet::Sheet;
use super::stated::{StatedForm, twin};
use super::{reason_for_value, values_among};
use std::collections::BTreeSet;

use crate::changes::{
    Change, IssueForm, LotValue, Remarks, SetProcedure, UnknownValue, next_version,
};
use crate::changes::{ChangeForm, Who};
use crate::changes::{day_fields, days_as, read_days};
use crate::files::{PrepRoom, RecordText, read_prep_records};
use crate::form::{Button, Faults, Field, Form, Typed};
use crate::ids::{ExperimentKey, UnknownCode};
use crate::measure::{Glassware, Reading};
use crate::term::Term;
use crate::text::Fault;
use crate::truth::{Lot, Unknown};
use crate::words::{counted, named};
use crate::workup::Recorded;

/// The record of a bottle, or of a batch of them.
pub struct RecordForm(pub What);

/// What the record is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    Lot,
    /// An unknown of an experiment.
    Unknown(ExperimentKey),
    /// Unknowns of an experiment, made from one stock.
    Batch(ExperimentKey),
}

/// How the value comes about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// Weighed and made up.
    Weighed,
    Solid,
    /// Diluted from a solution of known molarity.
    Stock,
    /// Titrated against a primary standard.
    Standardised,
    /// Written on a certificate, or found elsewhere.
    Stated,
}

named! { How, name:
    Weighed = "weighed": "Weighed and made up",
    Solid = "solid": "Weighed into a solid mixture",
    Stock = "stock": "Diluted from a known stock",
    Standardised = "standardised": "Standardised",
    Stated = "stated": "Value from a certificate",
}

impl How {
    /// The ways in which a value of that kind can come about.
    pub fn of(what: &What, term: &Term) -> Vec<Self> {
        match what {
            What::Lot => vec![Self::Weighed, Self::Stock, Self::Standardised, Self::Stated],
            What::Unknown(key) if is_solid(term, key) => vec![Self::Solid, Self::Stated],
            What::Unknown(_) => vec![Self::Weighed, Self::Stock, Self::Stated],
            What::Batch(key) if is_solid(term, key) => vec![Self::Solid, Self::Stated],
            What::Batch(_) => vec![Self::Weighed, Self::Stock, Self::Stated],
        }
    }

    /// The way that was asked for, or the first there is.
    fn asked(what: &What, typed: &Typed, term: &Term) -> Self {
        let ways = Self::of(what, term);
        let asked = ways.iter().find(|how| how.name() == typed.text("how"));
        asked.or(ways.first()).copied().unwrap_or(Self::Stated)
    }
}

impl RecordForm {
    /// The form of values from a certificate, where that is how they come about.
    fn stated(&self, typed: &Typed, term: &Term) -> Option<StatedForm> {
        let how = How::asked(&self.0, typed, term);
        (how == How::Stated).then(|| StatedForm(self.0.clone()))
    }

    /// What the records that were typed come to.
    fn room(&self, typed: &Typed, term: &Term) -> Result<PrepRoom, Faults> {
        let mut days = Form::of(day_fields()).read(typed);
        read_days(&mut days);
        let mut faults = days.into_faults();
        let sheet = Sheet::new(&self.0, typed, term);
        if let What::Batch(_) = self.0 {
            for what in batch::miscounted(&sheet) {
                faults.add("many", what);
            }
            faults.clone().check()?;
        }
        let record = sheet.record();
        let room = match read_records(&record, term) {
            Ok(room) => room,
            Err(found) => {
                for fault in &found {
                    let field = record.field_of(fault);
                    match batch::of_line(field, fault) {
                        Some(what) => faults.add("many", what),
                        None => faults.add(field, fault.what.clone()),
                    }
                }
                return Err(faults);
            }
        };
        faults.check()?;
        self.as_the_balance_shows(typed, term)?;
        Ok(room)
    }

    /// A balance shows every decimal it has: a mass with fewer or more was not read off it.
    fn as_the_balance_shows(&self, typed: &Typed, term: &Term) -> Result<(), Faults> {
        let balance = term.glassware.get(typed.text("balance"));
        let decimals = balance.and_then(Glassware::decimals);
        let mass = Reading::parse(typed.text("weighed"));
        let (Some(decimals), Ok(mass)) = (decimals, mass) else {
            return Ok(());
        };
        if mass.decimals() == decimals {
            return Ok(());
        }
        let decimals = counted(decimals, "decimal", "decimals");
        let expected = format!("{decimals}, as this balance shows it");
        Err(Faults::found("weighed", mass.written(), &expected))
    }
}

impl RecordForm {
    /// The changes with a bottle for everybody who has none, if that is asked for.
    fn with_bottles(&self, mut changes: Vec<Change>, typed: &Typed, term: &Term) -> Vec<Change> {
        let What::Batch(key) = &self.0 else {
            return changes;
        };
        let mut seed = [0_u8; 32];
        if typed.text("issue") != "yes" || getrandom::fill(&mut seed).is_err() {
            return changes;
        }
        let held = term
            .unknowns
            .get(key)
            .into_iter()
            .flat_map(|own| own.keys());
        let fresh = changes.iter().filter_map(|change| match change {
            Change::Unknown(value) => Some(&value.unknown.code),
            _ => None,
        });
        let codes: BTreeSet<UnknownCode> = held.chain(fresh).cloned().collect();
        let codes: Vec<&str> = codes.iter().map(UnknownCode::as_str).collect();
        let form = IssueForm {
            experiment: key.clone(),
            seed,
        };
        if !codes.is_empty() {
            changes.extend(form.deal_out(term, &codes));
        }
        changes
    }
}

impl ChangeForm for RecordForm {
    fn form(&self, term: &Term, typed: &Typed) -> Form {
        let sheet = Sheet::new(&self.0, typed, term);
        let mut form = match self.stated(typed, term) {
            Some(stated) => stated.form(term, typed),
            None => Form {
                groups: sheet.groups(),
                ..Form::default()
            },
        };
        form.note = "Nothing is kept yet: you see the value and its uncertainty first.".to_owned();
        form.buttons = vec![Button::new("Check the value").sends("do", "look")];
        if let Some(more) = sheet.more() {
            form.buttons
                .push(Button::new(more).quiet().sends("do", "row"));
        }
        if sheet.how == How::Standardised {
            let show = Button::new("Show what it reads").quiet();
            form.buttons.push(show.sends("do", "procedure"));
        }
        if let What::Batch(_) = self.0 {
            let issue = Field::tick("issue", "Issue them at once")
                .hint("every student without a bottle is given one, at random");
            form = form.group("", vec![issue]);
        }
        let how = Field::hidden("how").fixed(sheet.how.name());
        let rows = Field::hidden("rows").fixed(sheet.rows().to_string());
        form.group("", vec![how, rows, Field::hidden("then")])
    }

    fn held(&self, term: &Term, query: &Typed) -> Typed {
        let (code, how) = (query.text("code"), query.text("how"));
        let record = filled::filled(&self.0, code, term);
        if let Some(record) = record.filter(|r| how.is_empty() || how == r.text("how")) {
            return record;
        }
        let stated = StatedForm(self.0.clone());
        let is_stated = how.is_empty() && stated.is_known(term, code);
        if !is_stated && how != How::Stated.name() {
            return query.clone();
        }
        let mut held = stated.held(term, query);
        held.set("how", How::Stated.name());
        held
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        match self.stated(typed, term) {
            Some(stated) => stated.changes(typed, term, who),
            None => Ok(changes(self.room(typed, term)?, term, typed.text("reason"))),
        }
        .map(|changes| self.with_bottles(changes, typed, term))
    }

    fn remarks(&self, _: &Term, changes: &[Change]) -> Box<dyn FnOnce() -> Remarks + Send> {
        let is_issue = |change: &&Change| matches!(change, Change::Issue(_));
        let issued = changes.iter().filter(is_issue).count();
        Box::new(move || Remarks {
            sentences: match issued {
                0 => Vec::new(),
                n => vec![format!(
                    "{} a bottle at the same time.",
                    counted(n, "student is given", "students are given")
                )],
            },
            ..Remarks::default()
        })
    }

    /// The versions that the values have now: 0 for what has no value yet.
    fn told(&self, changes: &[Change]) -> usize {
        values_among(changes)
    }

    fn seen(&self, typed: &Typed, term: &Term) -> Option<String> {
        if let Some(stated) = self.stated(typed, term) {
            return stated.seen(typed, term);
        }
        let room = self.room(typed, term).ok()?;
        let lots = room.lots.iter().map(|(lot, _)| term.lots.get(&lot.code));
        let lots = lots.map(|lot| lot.map(|lot| lot.version));
        let unknowns = room.unknowns.iter().map(|(experiment, unknown, _)| {
            let held = term.unknowns.get(experiment)?.get(&unknown.code)?;
            Some(held.version)
        });
        let versions = lots.chain(unknowns);
        let versions: Vec<String> = versions.map(|v| v.unwrap_or(0).to_string()).collect();
        Some(versions.join(" "))
    }

    fn reason(&self, changes: &[Change]) -> Option<Field> {
        reason_for_value(changes)
    }
}

/// Reads records; a code that another one is too like is at fault.
fn read_records(record: &RecordText, term: &Term) -> Result<PrepRoom, Vec<Fault>> {
    let room = read_prep_records("record", record.text(), term)?;
    let twins = room.unknowns.iter().filter_map(|(experiment, unknown, _)| {
        let fault = Fault::of_file("record", twin(term, experiment, &unknown.code)?);
        Some(match line_of(record, &unknown.code) {
            Some(line) => fault.at(line),
            None => fault,
        })
    });
    let twins: Vec<Fault> = twins.collect();
    if twins.is_empty() {
        Ok(room)
    } else {
        Err(twins)
    }
}

/// What has to change so that the term holds these records: nothing for those it holds already.
fn changes(room: PrepRoom, term: &Term, reason: &str) -> Vec<Change> {
    let mut changes = Vec::new();
    for (key, text) in room.procedures {
        if !term.sources.procedures.contains_key(&key) {
            changes.push(Change::Procedure(SetProcedure { key, text }));
        }
    }
    for (lot, record) in room.lots {
        let old = term.lots.get(&lot.code);
        let same = old
            .is_some_and(|old| old.molarity == lot.molarity && old.reagent == lot.reagent)
            && term.sources.lots.get(&lot.code) == Some(&record);
        if !same {
            let version = next_version(old.map(|old| old.version));
            changes.push(Change::Lot(LotValue {
                lot: Lot { version, ..lot },
                source: Some(record),
                reason: reason.to_owned(),
            }));
        }
    }
    for (experiment, unknown, record) in room.unknowns {
        let held = term.unknowns.get(&experiment);
        let old = held.and_then(|held| held.get(&unknown.code));
        let named = (experiment.clone(), unknown.code.clone());
        let same = old.is_some_and(|old| old.truth == unknown.truth)
            && term.sources.unknowns.get(&named) == Some(&record);
        if !same {
            let version = next_version(old.map(|old| old.version));
            changes.push(Change::Unknown(UnknownValue {
                experiment,
                unknown: Unknown { version, ..unknown },
                source: Some(record),
                reason: reason.to_owned(),
            }));
        }
    }
    for bottle in room.recorded.into_keys() {
        let life = room.shelf.get(&bottle).copied().unwrap_or_default();
        changes.extend(days_as(term, bottle, life));
    }
    changes
}

/// The line of a record on which a code stands.
fn line_of(record: &RecordText, code: &str) -> Option<u64> {
    let wanted = format!("unknown = \"{code}\"");
    let at = record.text().lines().position(|line| line == wanted)?;
    u64::try_from(at.checked_add(1)?).ok()
}

/// What a record that a term keeps comes to, with all that leads to it.
pub fn recorded(term: &Term, source: &str) -> Option<Recorded> {
    let room = read_prep_records("record", source, term).ok()?;
    room.recorded.into_values().next()
}

fn is_solid(term: &Term, key: &ExperimentKey) -> bool {
    let experiment = term.experiment(key);
    experiment.is_some_and(|e| e.procedure.result.unit.is_of_mass())
}

/// The unit of an experiment's results.
pub fn unit_of(term: &Term, key: &ExperimentKey) -> &'static str {
    let experiment = term.experiment(key);
    experiment.map_or("", |e| e.procedure.result.unit.name())
}

//! Values from a certificate, or found elsewhere: of a lot, of an unknown, or of many unknowns, a line to each.

use super::{What, reason_for_value, unit_of, values_among};
use crate::changes::{
    Change, ChangeForm, LotValue, UnknownValue, Who, day_fields, days_as, experiment, held_days,
    next_version, read_days,
};
use crate::chem::Formula;
use crate::files::read_value_lines;
use crate::form::{Faults, Field, Form, Kind, Read, Typed};
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::term::Term;
use crate::truth::{Assigned, Bottle, Lot, Sealed, Unknown};

/// What the values are of.
pub struct StatedForm(pub What);

impl StatedForm {
    /// Whether the course has a bottle of that code.
    pub(super) fn is_known(&self, term: &Term, code: &str) -> bool {
        match &self.0 {
            What::Lot => term.lots.contains_key(code),
            What::Unknown(key) => {
                let unknowns = term.unknowns.get(key);
                unknowns.is_some_and(|all| all.contains_key(code))
            }
            What::Batch(_) => false,
        }
    }

    /// The fields of code and value: what they are called as they are sent.
    fn names(&self) -> [&'static str; 2] {
        match self.0 {
            What::Lot => ["lot", "molarity"],
            What::Unknown(_) | What::Batch(_) => ["unknown", "true_value"],
        }
    }

    fn fields(&self, term: &Term) -> Vec<Field> {
        let [code, value] = self.names();
        let field = match &self.0 {
            What::Batch(_) => {
                return vec![Field::new("many", "Lines", Kind::Lines(8)).needed().hint(
                    "code, true value, standard uncertainty: one unknown to a line, with commas, as in A1, 182.4, 0.3. Lines pasted from a spreadsheet do as well.",
                )];
            }
            What::Lot => vec![
                Field::code(code, "Lot").hint("the code on the bottle"),
                Field::text("reagent", "Reagent")
                    .hint("its formula as in the procedure")
                    .suggest(reagents(term))
                    .needed(),
                Field::decimal(value, "Molarity (mol/L)"),
            ],
            What::Unknown(key) => vec![
                Field::code(code, "Code").hint("the code on the bottle"),
                Field::decimal(value, format!("True value ({})", unit_of(term, key))),
            ],
        };
        let mut fields: Vec<Field> = field;
        fields.push(
            Field::decimal("uncertainty", "Standard uncertainty").hint(
                "in the same unit; half the expanded uncertainty of a certificate with k = 2",
            ),
        );
        fields.iter_mut().for_each(|field| field.needed = true);
        fields
    }

    /// What codes are to have which values.
    fn values(&self, read: &mut Read<'_>, typed: &Typed) -> Vec<(String, Assigned)> {
        if let What::Batch(_) = self.0 {
            return match read_value_lines(typed.one("many").unwrap_or_default()) {
                Ok(values) => {
                    let values = values.into_iter();
                    values
                        .map(|(code, value)| (code.to_string(), value))
                        .collect()
                }
                Err(faults) => {
                    let n = faults.len();
                    let noun = if n == 1 { "fault" } else { "faults" };
                    read.fault("many", format!("{n} {noun}; nothing was entered"));
                    for fault in faults {
                        read.fault("many", fault.to_string());
                    }
                    Vec::new()
                }
            };
        }
        let [code, value] = self.names();
        let (Some(number), Some(u)) = (read.decimal(value), read.decimal("uncertainty")) else {
            return Vec::new();
        };
        let assigned = match Assigned::new(number, u) {
            Ok(assigned) => assigned,
            Err((what, why)) => {
                let field = if what == "value" {
                    value
                } else {
                    "uncertainty"
                };
                read.fault(field, why);
                return Vec::new();
            }
        };
        let code = read.text(code).map(str::to_owned);
        code.map(|code| (code, assigned)).into_iter().collect()
    }

    fn lot(
        term: &Term,
        reagent: &str,
        (code, molarity): (String, Assigned),
        reason: &str,
    ) -> Option<Change> {
        let old = term.lots.get(code.as_str());
        let same = old.is_some_and(|old| old.molarity == molarity && old.reagent == reagent);
        (!same).then(|| {
            Change::Lot(LotValue {
                lot: Lot {
                    version: next_version(old.map(|lot| lot.version)),
                    reagent: reagent.to_owned(),
                    molarity,
                    code: LotCode::new(code),
                    standardised: None,
                },
                source: None,
                reason: reason.to_owned(),
            })
        })
    }

    fn unknown(
        term: &Term,
        key: &ExperimentKey,
        (code, value): (String, Assigned),
        reason: &str,
    ) -> Option<Change> {
        let old = term
            .unknowns
            .get(key)
            .and_then(|all| all.get(code.as_str()));
        let truth = Sealed::new(value);
        let same = old.is_some_and(|old| old.truth == truth);
        (!same).then(|| {
            Change::Unknown(UnknownValue {
                experiment: key.clone(),
                unknown: Unknown {
                    version: next_version(old.map(|unknown| unknown.version)),
                    truth,
                    code: UnknownCode::new(code),
                },
                source: None,
                reason: reason.to_owned(),
            })
        })
    }
}

impl ChangeForm for StatedForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let form = Form::default().group("The value", self.fields(term));
        match self.0 {
            What::Batch(_) => form,
            What::Lot | What::Unknown(_) => form.group("Days", day_fields()),
        }
        .group("", vec![Field::hidden("then")])
        .enter("Save")
        .look("See first what it would change")
    }

    fn held(&self, term: &Term, query: &Typed) -> Typed {
        let [code_name, value_name] = self.names();
        let code = query.text("code");
        let (bottle, value, reagent) = match &self.0 {
            What::Lot => {
                let lot = term.lots.get(code);
                let value = lot.map(|lot| lot.molarity);
                (
                    Bottle::Lot(LotCode::new(code)),
                    value,
                    lot.map(|lot| lot.reagent.clone()),
                )
            }
            What::Unknown(key) | What::Batch(key) => {
                let unknown = term.unknowns.get(key).and_then(|all| all.get(code));
                let value = unknown.map(|unknown| *unknown.truth.open());
                (Bottle::unknown(key, &UnknownCode::new(code)), value, None)
            }
        };
        let mut held: Typed = held_days(term, &bottle).into_iter().collect();
        held.set(code_name, code);
        let reagent = reagent.unwrap_or_else(|| query.text("reagent").to_owned());
        held.set("reagent", reagent);
        held.set("then", query.text("then"));
        if let Some(value) = value {
            held.set(value_name, value.value.to_string());
            held.set("uncertainty", value.standard_uncertainty.to_string());
        }
        held
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let mut read = self.form(term, typed).read(typed);
        let values = self.values(&mut read, typed);
        let life = read_days(&mut read);
        if let What::Unknown(key) | What::Batch(key) = &self.0 {
            experiment(term, key)?;
            let field = match self.0 {
                What::Batch(_) => "many",
                _ => self.names()[0],
            };
            for twin in values.iter().filter_map(|(code, _)| twin(term, key, code)) {
                read.fault(field, twin);
            }
        }
        read.check()?;
        let reason = typed.text("reason");
        // a form that does not ask for days leaves them as they are
        let has_days = ["made", "expires"]
            .iter()
            .any(|name| typed.one(name).is_some());
        let mut changes = Vec::new();
        for value in values {
            let code = value.0.clone();
            let (change, bottle) = match &self.0 {
                What::Lot => {
                    let reagent = read.text("reagent").unwrap_or_default();
                    (
                        Self::lot(term, reagent, value, reason),
                        Bottle::Lot(LotCode::new(code)),
                    )
                }
                What::Unknown(key) | What::Batch(key) => {
                    let bottle = Bottle::unknown(key, &UnknownCode::new(code));
                    (Self::unknown(term, key, value, reason), bottle)
                }
            };
            changes.extend(change);
            changes.extend(days_as(term, bottle, life).filter(|_| has_days));
        }
        Ok(changes)
    }

    /// The versions the values have now: 0 for what has no value yet.
    fn told(&self, changes: &[Change]) -> usize {
        values_among(changes)
    }

    fn seen(&self, typed: &Typed, term: &Term) -> Option<String> {
        let mut read = self.form(term, typed).read(typed);
        let values = self.values(&mut read, typed);
        let version = |(code, _): &(String, Assigned)| {
            let version = match &self.0 {
                What::Lot => term.lots.get(code.as_str()).map(|lot| lot.version),
                What::Unknown(key) | What::Batch(key) => {
                    let unknowns = term.unknowns.get(key);
                    unknowns
                        .and_then(|all| all.get(code.as_str()))
                        .map(|u| u.version)
                }
            };
            version.unwrap_or(0).to_string()
        };
        let versions: Vec<String> = values.iter().map(version).collect();
        Some(versions.join(" "))
    }

    fn reason(&self, changes: &[Change]) -> Option<Field> {
        reason_for_value(changes)
    }
}

/// What is wrong with a code that another one is too like: a code written on a hand-in is compared without regard to
/// capitals.
pub(super) fn twin(term: &Term, experiment: &ExperimentKey, code: &str) -> Option<String> {
    let is_twin = |known: &&UnknownCode| known.eq_ignore_ascii_case(code) && **known != code;
    let twin = term.unknowns.get(experiment)?.keys().find(is_twin)?;
    Some(format!(
        "found \u{201c}{code}\u{201d}, expected a code that differs from \u{201c}{twin}\u{201d} in more than capitals"
    ))
}

/// What the experiments of the course take from bottles with a lot.
pub fn reagents(term: &Term) -> Vec<(String, String)> {
    let mut used: Vec<&Formula> = Vec::new();
    for experiment in &term.experiments {
        let procedure = &experiment.procedure;
        let titrant = procedure.lot_reagent().map(|(species, _)| species);
        let excess = procedure.excess().map(|e| &e.species);
        for species in [titrant, excess].into_iter().flatten() {
            if !used.contains(&species) {
                used.push(species);
            }
        }
    }
    let one = |species: &Formula| (species.to_string(), String::new());
    used.into_iter().map(one).collect()
}

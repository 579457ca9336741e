//! Values of lots and unknowns: entered, and corrected by a further version.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rust_decimal::Decimal;

use super::Desk;
use super::prepare::{PrepareError, keep, words};
use crate::change::{Change, next_version};
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::judge::{AuditKind, GroupName};
use crate::store::StoreError;
use crate::term::Term;
use crate::truth::{Assigned, Bottle, Lot, Sealed, Unknown};

/// Values as somebody wants them to be, of one lot or of unknowns of an experiment.
#[derive(Clone, Debug)]
pub enum Values {
    Lot {
        /// The code on the bottle.
        code: LotCode,
        reagent: String,
        /// mol/L
        molarity: Assigned,
    },
    Unknowns {
        /// Key of the experiment.
        experiment: ExperimentKey,
        /// Code and value, in the result unit.
        values: Vec<(UnknownCode, Sealed<Assigned>)>,
    },
}

impl Values {
    /// A lot's value, from what was typed: code, reagent, molarity, standard uncertainty.
    pub fn lot([code, reagent, molarity, uncertainty]: [&str; 4]) -> Result<Self, PrepareError> {
        let mut faults = Vec::new();
        let code = keep("lot", LotCode::parse(code), &mut faults);
        let reagent = keep("reagent", words(reagent), &mut faults);
        let typed = [("molarity", molarity), ("uncertainty", uncertainty)];
        match (code, reagent, read_value(typed, &mut faults)) {
            (Some(code), Some(reagent), Some(molarity)) => Ok(Self::Lot {
                code,
                reagent,
                molarity,
            }),
            _ => Err(PrepareError::Fields(faults)),
        }
    }

    /// An unknown's value, from what was typed: code, true value, standard uncertainty.
    pub fn unknown(
        experiment: &ExperimentKey,
        [code, value, uncertainty]: [&str; 3],
    ) -> Result<Self, PrepareError> {
        let mut faults = Vec::new();
        let code = keep("unknown", UnknownCode::parse(code), &mut faults);
        let typed = [("true_value", value), ("uncertainty", uncertainty)];
        match (code, read_value(typed, &mut faults)) {
            (Some(code), Some(value)) => Ok(Self::unknowns(experiment, vec![(code, value)])),
            _ => Err(PrepareError::Fields(faults)),
        }
    }

    pub fn unknowns(experiment: &ExperimentKey, values: Vec<(UnknownCode, Assigned)>) -> Self {
        let sealed = |(code, value)| (code, Sealed::new(value));
        Self::Unknowns {
            experiment: experiment.clone(),
            values: values.into_iter().map(sealed).collect(),
        }
    }

    /// What has to change so that the term holds these values: nothing for those it holds already.
    pub fn changes(&self, term: &Term, reason: &str) -> Result<Vec<Change>, PrepareError> {
        match self {
            Self::Lot {
                code,
                reagent,
                molarity,
            } => {
                let old = term.lots.get(code);
                if old.is_some_and(|old| old.molarity == *molarity && old.reagent == *reagent) {
                    return Ok(Vec::new());
                }
                Ok(vec![Change::Lot {
                    lot: Lot {
                        code: code.clone(),
                        reagent: reagent.clone(),
                        molarity: *molarity,
                        version: next_version(old.map(|lot| lot.version)),
                    },
                    source: None,
                    reason: reason.to_owned(),
                }])
            }
            Self::Unknowns { experiment, values } => unknowns(term, experiment, values, reason),
        }
    }

    /// The groups of an audit that these values are assigned to.
    pub fn groups(&self) -> Vec<GroupName> {
        match self {
            Self::Lot { code, .. } => [AuditKind::Lot, AuditKind::ExcessLot]
                .map(|kind| GroupName::new(kind, code.as_str()))
                .to_vec(),
            Self::Unknowns { values, .. } => values
                .iter()
                .map(|(code, _)| GroupName::new(AuditKind::Unknown, code.as_str()))
                .collect(),
        }
    }

    /// The bottles whose values they are.
    pub fn bottles(&self) -> Vec<Bottle> {
        match self {
            Self::Lot { code, .. } => vec![Bottle::Lot(code.clone())],
            Self::Unknowns { experiment, values } => {
                let bottle = |(code, _): &(UnknownCode, _)| Bottle::unknown(experiment, code);
                values.iter().map(bottle).collect()
            }
        }
    }

    /// The versions these values have now, by which somebody else's change is noticed: 0 for what has no value yet.
    pub fn seen(&self, term: &Term) -> String {
        let versions: Vec<u32> = match self {
            Self::Lot { code, .. } => vec![term.lots.get(code).map_or(0, |lot| lot.version)],
            Self::Unknowns { experiment, values } => {
                let held = term.unknowns.get(experiment);
                let version =
                    |code: &UnknownCode| held.and_then(|h| h.get(code)).map_or(0, |u| u.version);
                values.iter().map(|(code, _)| version(code)).collect()
            }
        };
        let versions: Vec<String> = versions.iter().map(u32::to_string).collect();
        versions.join(" ")
    }
}

/// Enters values, or other values for what has one (which then want a reason). `seen` is what [`Values::seen`] said
/// when somebody looked at what they would change, if anybody did. Returns how many changed.
pub async fn enter_values(
    desk: &Desk,
    values: &Values,
    reason: &str,
    seen: Option<&str>,
    (login, at): (&str, Timestamp),
) -> Result<usize, PrepareError> {
    let reason = reason.trim();
    let written = desk
        .apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
            let term = &image.ok_or(StoreError::NoCourse)?.term;
            if seen.is_some_and(|seen| seen != values.seen(term)) {
                return Err(PrepareError::Fields(vec![(
                    "reason",
                    "found a value that was changed since you looked at what this would change, expected the one you \
                     saw; look again"
                        .to_owned(),
                )]));
            }
            let changes = values.changes(term, reason)?;
            let replaces = |change: &Change| match change {
                Change::Lot { lot, .. } => lot.version > 1,
                Change::Unknown { unknown, .. } => unknown.version > 1,
                _ => false,
            };
            if reason.is_empty() && changes.iter().any(replaces) {
                return Err(PrepareError::Fields(vec![(
                    "reason",
                    "found nothing, expected a sentence that says why the value changes".to_owned(),
                )]));
            }
            Ok(changes)
        })
        .await?;
    Ok(written.map_or(0, |written| written.receipts.len()))
}

fn unknowns(
    term: &Term,
    experiment: &ExperimentKey,
    values: &[(UnknownCode, Sealed<Assigned>)],
    reason: &str,
) -> Result<Vec<Change>, PrepareError> {
    if term.experiment(experiment).is_none() {
        let expected = "an experiment of the course";
        return Err(PrepareError::new("experiment", experiment, expected));
    }
    let none = BTreeMap::new();
    let held = term.unknowns.get(experiment).unwrap_or(&none);
    let mut changes = Vec::new();
    for (code, truth) in values {
        if let Some(fault) = twin(term, experiment, code) {
            return Err(PrepareError::Fields(vec![("unknown", fault)]));
        }
        let old = held.get(code);
        if old.is_some_and(|old| old.truth == *truth) {
            continue;
        }
        changes.push(Change::Unknown {
            experiment: experiment.clone(),
            unknown: Unknown {
                code: code.clone(),
                truth: truth.clone(),
                version: next_version(old.map(|u| u.version)),
            },
            source: None,
            reason: reason.to_owned(),
        });
    }
    Ok(changes)
}

/// What is wrong with a code that another one is too like: a code written on a hand-in is compared without regard to
/// capitals.
pub(super) fn twin(term: &Term, experiment: &ExperimentKey, code: &str) -> Option<String> {
    let is_twin = |known: &&UnknownCode| known.eq_ignore_ascii_case(code) && *known != code;
    let twin = term.unknowns.get(experiment)?.keys().find(is_twin)?;
    Some(format!(
        "found \u{201c}{code}\u{201d}, expected a code that differs from \u{201c}{twin}\u{201d} in more than capitals"
    ))
}

fn read_value(
    [(value_field, value), (u_field, u)]: [(&'static str, &str); 2],
    faults: &mut Vec<(&'static str, String)>,
) -> Option<Assigned> {
    let value: Option<Decimal> = keep(value_field, crate::text::decimal(value), faults);
    let u: Option<Decimal> = keep(u_field, crate::text::decimal(u), faults);
    let assigned = Assigned::new(value?, u?);
    assigned
        .map_err(|(what, why)| {
            let field = if what == "value" {
                value_field
            } else {
                u_field
            };
            faults.push((field, why));
        })
        .ok()
}

//! What is asked about before it is entered: a lot of a reagent that nobody uses or with a molarity far off the label's, a
//! bottle given out that staff have titrated and found otherwise.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use crate::changes::{Change, LotValue};
use crate::chem::{Formula, printed};
use crate::ids::{ExperimentKey, UnknownCode};
use crate::measure::plain;
use crate::term::Term;

/// How far a molarity may be off the nominal one, of it, before it is asked about.
const FAR: Decimal = Decimal::from_parts(2, 0, 0, false, 1);

/// What is odd about what changes do, each in a sentence.
pub fn doubts(term: &Term, changes: &[Change]) -> Vec<String> {
    let mut all = Vec::new();
    let mut given: BTreeMap<&ExperimentKey, BTreeSet<&UnknownCode>> = BTreeMap::new();
    for change in changes {
        match change {
            Change::Lot(LotValue { lot, .. }) => {
                all.extend(doubt(term, &lot.reagent, lot.molarity.value));
            }
            Change::Issue(issue) => {
                let codes = given.entry(&issue.slot.experiment).or_default();
                codes.insert(&issue.body.unknown);
            }
            Change::Reissue(other) => {
                let codes = given.entry(&other.slot.experiment).or_default();
                codes.insert(&other.body.unknown);
            }
            _ => {}
        }
    }
    for (experiment, codes) in given {
        let disagrees = term.disagreeing(experiment).into_iter();
        let disagrees = disagrees.filter(|code| codes.contains(code));
        all.extend(disagrees.map(|code| {
            format!(
                "Bottle {code} was proved and does not agree with its record: titrate it again, or correct the record, before anybody gets it"
            )
        }));
    }
    all
}

fn doubt(term: &Term, reagent: &str, molarity: Decimal) -> Option<String> {
    let procedures = term.experiments.iter().map(|e| &e.procedure);
    let used: Vec<(&Formula, Decimal)> = procedures.flat_map(|p| p.lot_reagents()).collect();
    if used.is_empty() {
        return None;
    }
    let is_it = |formula: &Formula| match Formula::parse(reagent) {
        Ok(parsed) => parsed == *formula,
        Err(_) => formula.to_string() == reagent,
    };
    let nominal: Vec<Decimal> = used
        .iter()
        .filter(|(formula, _)| is_it(formula))
        .map(|(_, nominal)| *nominal)
        .collect();
    if nominal.is_empty() {
        let mut names: Vec<String> = used
            .iter()
            .map(|(formula, _)| printed(&formula.to_string()))
            .collect();
        names.sort();
        names.dedup();
        return Some(format!(
            "No experiment uses {}: the procedures of the course take {}",
            printed(reagent),
            names.join(", ")
        ));
    }
    let is_near = |nominal: &&Decimal| {
        let far = nominal.checked_mul(FAR);
        let off = molarity.checked_sub(**nominal);
        off.zip(far).is_some_and(|(off, far)| off.abs() <= far)
    };
    if nominal.iter().any(|one| is_near(&one)) {
        return None;
    }
    let mut labels: Vec<String> = nominal.into_iter().map(plain).collect();
    labels.dedup();
    Some(format!(
        "{} mol/L of {} is more than 20 % off what the procedures name, {} mol/L",
        plain(molarity),
        printed(reagent),
        labels.join(" and ")
    ))
}

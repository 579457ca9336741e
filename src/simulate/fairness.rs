//! Before the week: can this be marked fairly?

use std::collections::BTreeMap;

use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::hands::Population;
use super::student::simulate;
use super::supplies::{BLANK, Supplies, content};
use crate::ids::LotCode;
use crate::judge::signal::{Bench, Signal, result_at};
use crate::judge::{Endpoint, Part, Scale, endpoint, endpoint_warning, evaluate};
use crate::measure::{as_f64, from_f64, plain, to_figures};
use crate::procedure::Procedure;
use crate::truth::{Assigned, Lot};

/// What a class can be expected to reach with a procedure.
#[derive(Clone, Debug, PartialEq)]
pub struct Fairness {
    pub signal: Signal,
    /// Results at 20, 50 and 90 % of its scale.
    pub expected: Vec<Expected>,
    /// Relative standard uncertainty a careful student reaches at half the scale, percent.
    pub reachable_percent: f64,
    /// Largest contributions to it, percent of the result.
    pub contributions: Vec<(String, f64)>,
    /// Parts a simulated class of careful students scored: mean points and most points.
    pub parts: Vec<(Part, f64, Decimal)>,
    /// Share of that class with all points for accuracy, percent.
    pub full_accuracy_percent: f64,
    /// How many students were simulated.
    pub students: usize,
    /// How sharp the endpoint is, where EDTA binds a known metal at a stated pH.
    pub endpoint: Option<Endpoint>,
    /// Where the scale leaves what a sample can have.
    pub beyond: Option<String>,
    /// What is not fair, in words.
    pub warnings: Vec<String>,
}

/// The result that a share of the burette, or of another scale, gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Percent of the scale.
    pub share: u32,
    /// Titre in mL, or what else is measured.
    pub signal: f64,
    /// In the result unit.
    pub result: f64,
}

/// Simulates a class of careful students at half the burette (or of what else is measured). The same seed gives the same class.
///
/// # Errors
/// A sentence if no result can be computed from nominal amounts.
pub fn fairness(procedure: &Procedure, students: usize, seed: u64) -> Result<Fairness, String> {
    let titrant = procedure
        .lot_reagent()
        .map(|(_, nominal)| nominal_lot("titrant", nominal));
    let excess = procedure.excess().map(|e| nominal_lot("excess", e.nominal));
    let bench = Bench {
        truth: 1.0,
        lot: titrant.as_ref(),
        excess_lot: excess.as_ref(),
        blank: BLANK,
    };
    let scale = Signal::of(procedure);
    let at = |share: u32| {
        let signal = scale.at(f64::from(share) / 100.0);
        let found = result_at(procedure, &bench, signal).filter(|r| *r > 0.0);
        found.map(|result| Expected {
            share,
            signal,
            result,
        })
    };
    let expected: Vec<Expected> = [20, 50, 90].into_iter().filter_map(at).collect();
    let truth = content(procedure, &bench, (0.5, 0.5), 0.5)
        .ok_or("found no result above 0 at half the scale, expected one: are the amounts of the procedure right?")?;
    let bench = Bench { truth, ..bench };
    let value = Decimal::from_f64(truth).unwrap_or(Decimal::ONE);
    let supplies = Supplies::exactly([&titrant, &excess].into_iter().flatten(), value);
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let hands = Population::CAREFUL.hands(procedure, &mut rng);
    let mut sums: BTreeMap<Part, (f64, Decimal)> = BTreeMap::new();
    let (mut full, mut done) = (0_usize, 0_usize);
    let mut reachable = None;
    for _ in 0..students {
        let Some(hand_in) = simulate(procedure, &bench, &hands, &mut rng) else {
            continue;
        };
        let case = supplies.case(procedure, &hand_in, 0);
        reachable.get_or_insert_with(|| case.work_up());
        let judged = evaluate(&case);
        done = done.saturating_add(1);
        for mark in judged
            .marks
            .parts
            .iter()
            .filter(|m| matches!(m.part, Part::Accuracy | Part::Agreement))
        {
            let sum = sums.entry(mark.part).or_insert((0.0, mark.possible));
            sum.0 += as_f64(mark.points);
            full = full.saturating_add(usize::from(
                mark.part == Part::Accuracy && mark.points == mark.possible,
            ));
        }
    }
    let reachable = reachable.ok_or("found no result for a simulated student, expected one")?;
    let (value, budget) = reachable
        .value()
        .zip(reachable.budget)
        .ok_or("found no result for a simulated student")?;
    let percent = |amount: f64| 100.0 * amount / as_f64(value).abs();
    let predicted = budget.systematic.hypot(budget.predicted_random);
    let mut fairness = Fairness {
        signal: scale,
        expected,
        reachable_percent: percent(predicted),
        contributions: budget
            .contributions
            .iter()
            .take(4)
            .map(|c| (c.name(), percent(c.amount)))
            .collect(),
        parts: sums
            .into_iter()
            .map(|(part, (sum, most))| (part, sum / done.max(1) as f64, most))
            .collect(),
        full_accuracy_percent: 100.0 * full as f64 / done.max(1) as f64,
        students: done,
        endpoint: endpoint(procedure),
        beyond: None,
        warnings: Vec::new(),
    };
    fairness.beyond = beyond_pure(procedure, &fairness);
    fairness.warnings = warnings(procedure, &fairness);
    Ok(fairness)
}

/// Where titres of the scale belong to no sample: 100 % is reached, or all of the reagent used up, before its end.
fn beyond_pure(procedure: &Procedure, found: &Fairness) -> Option<String> {
    let all = as_f64(procedure.pure_result()?);
    let of_all = procedure.result.unit.name();
    let (first, last) = (found.expected.first()?, found.expected.last()?);
    let slope = (last.result - first.result) / (last.signal - first.signal);
    let pure = first.signal + (all - first.result) / slope;
    let figures = |value: f64| from_f64(value, 3).map(plain).unwrap_or_default();
    let Signal {
        name,
        unit,
        full,
        scale,
        ..
    } = found.signal;
    let most = found.expected.iter().map(|e| e.result).fold(0.0, f64::max);
    if most > all {
        let (at, side) = (figures(pure), if slope > 0.0 { "more" } else { "less" });
        return Some(format!(
            "{} {of_all} is reached at a {name} of {at} {unit}: {side} than that belongs to no sample, and students are asked about it",
            figures(all)
        ));
    }
    (pure > full * (1.0 + 1e-6) || pure < 0.0).then(|| {
        let (place, largest) = if pure < 0.0 {
            (
                "below 0".to_owned(),
                first.result + slope * (0.0 - first.signal),
            )
        } else {
            (
                format!("past {scale}"),
                first.result + slope * (full - first.signal),
            )
        };
        format!(
            "a sample of more than {} {of_all} has its {name} {place}",
            figures(largest)
        )
    })
}

/// A lot at its label, known to 0.1 %.
fn nominal_lot(code: &str, nominal: Decimal) -> Lot {
    let standard_uncertainty = nominal.saturating_mul(Decimal::new(1, 3));
    let molarity = Assigned {
        value: nominal,
        standard_uncertainty,
    };
    Lot {
        code: LotCode::new(code),
        reagent: String::new(),
        molarity,
        version: 1,
        standardised: None,
    }
}

fn warnings(procedure: &Procedure, found: &Fairness) -> Vec<String> {
    let mut warnings = Vec::new();
    let figures = |value: f64| from_f64(value, 2).map(plain).unwrap_or_default();
    if let Some(accuracy) = &procedure.marking.accuracy {
        let full = match &accuracy.scale {
            Scale::Ramp { full_within, .. } => Some(*full_within),
            Scale::Steps(steps) => steps.first().map(|(limit, _)| *limit),
        };
        // a careful student is within two standard uncertainties 19 times in 20
        if let Some(full) = full.filter(|full| as_f64(*full) < 2.0 * found.reachable_percent) {
            let largest = found.contributions.first().map_or("", |(name, _)| name);
            warnings.push(format!(
                "all points for accuracy want the result within {} %, but a careful student reaches a standard \
                 uncertainty of {} %, twice that is {} %; the largest cause is: {largest}",
                plain(to_figures(full, 3)),
                figures(found.reachable_percent),
                figures(2.0 * found.reachable_percent),
            ));
        }
    }
    if found.expected.len() < 3 {
        let scale = found.signal.scale;
        warnings.push(format!("part of {scale} gives no result above 0"));
    }
    for (part, mean, most) in &found.parts {
        if *mean < 0.85 * as_f64(*most) {
            warnings.push(format!(
                "careful students score {} of {most} for {part} on average",
                figures(*mean)
            ));
        }
    }
    warnings.extend(endpoint_warning(procedure));
    warnings
}

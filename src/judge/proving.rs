//! A bottle or a lot titrated by staff before students have it: what the titration says, beside what its record says.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use crate::ids::LotCode;
use crate::measure::{as_f64, from_f64, order_of_magnitude, to_decimals};
use crate::procedure::Procedure;
use crate::stats::joined_mean;
use crate::submission::{HandIn, Titration};
use crate::truth::{Assigned, Lot};
use crate::workup::{WorkUp, WorkUpInput, work_up};

/// How large |E_n| may be for a value to agree (ISO 13528:2022, 9.7).
const AGREES: f64 = 1.0;
/// From where on it disagrees. Of sound values one in twenty lies beyond 1, so that what lies between is titrated again; one
/// in a hundred lies beyond this (2.58 standard uncertainties).
const DISAGREES: f64 = 1.3;
/// Coverage factor of a value of which nothing but a standard uncertainty is known.
const COVERAGE: f64 = 2.0;
/// By what a lot's value is raised to see what becomes of a result.
const RAISED: Decimal = Decimal::from_parts(1_001, 0, 0, false, 3);
/// Steps of the secant by which a lot's value is found; a result follows it almost in a straight line.
const STEPS: usize = 8;

/// The readings of a run with what they are worked up by.
#[derive(Clone, Copy)]
pub struct ProvingReadings<'a> {
    pub procedure: &'a Procedure,
    pub hand_in: &'a HandIn,
    pub lots: &'a BTreeMap<LotCode, Lot>,
}

/// A value with all that joining it with others asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownValue {
    pub value: Assigned,
    /// Coverage factor of its expanded uncertainty.
    pub coverage_factor: f64,
    /// Of the lots it rests on: the relative standard uncertainty that each leaves it, with the sign by which it follows.
    pub through: BTreeMap<LotCode, f64>,
}

/// What a titration finds beside what a record says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProvedDifference {
    /// Found less recorded, percent of what is recorded.
    pub percent: f64,
    /// Expanded uncertainty of that.
    pub expanded_percent: f64,
    /// The difference over its expanded uncertainty.
    pub e_n: f64,
}

impl ProvedDifference {
    pub fn agrees(&self) -> bool {
        self.e_n.abs() <= AGREES
    }

    pub fn disagrees(&self) -> bool {
        self.e_n.abs() > DISAGREES
    }
}

impl KnownValue {
    /// Of a record whose value rests on a lot of the course in proportion, or on none.
    pub fn recorded(value: Assigned, stock: Option<&LotCode>) -> Self {
        let relative = relative(value);
        Self {
            value,
            coverage_factor: COVERAGE,
            through: stock
                .map(|code| (code.clone(), relative))
                .into_iter()
                .collect(),
        }
    }

    /// The relative covariance with another value: what both owe to the same lots.
    fn covariance(&self, other: &Self) -> f64 {
        let shared = self.through.iter();
        let both = shared.filter_map(|(code, own)| Some(own * other.through.get(code)?));
        both.sum()
    }

    /// What a titration finds, beside this record.
    pub fn beside(&self, titrated: &Self) -> Option<ProvedDifference> {
        let (recorded, found) = (as_f64(self.value.value), as_f64(titrated.value.value));
        let expanded = |value: &Self| value.coverage_factor * relative(value.value);
        let shared = self.coverage_factor * titrated.coverage_factor * self.covariance(titrated);
        let variance = expanded(self).powi(2) + expanded(titrated).powi(2) - 2.0 * shared;
        let difference = ProvedDifference {
            percent: 100.0 * (found / recorded - 1.0),
            expanded_percent: 100.0 * variance.max(0.0).sqrt(),
            e_n: (found / recorded - 1.0) / variance.max(0.0).sqrt(),
        };
        difference.e_n.is_finite().then_some(difference)
    }
}

/// The first value joined with the others by least squares, with what they owe to the same lots taken into account.
pub fn joined(values: &[&KnownValue]) -> Option<Assigned> {
    let first = as_f64(values.first()?.value.value);
    let relative_values: Vec<f64> = values
        .iter()
        .map(|v| as_f64(v.value.value) / first)
        .collect();
    let row = |(at, one): (usize, &&KnownValue)| {
        let cell = |(other_at, other): (usize, &&KnownValue)| match at == other_at {
            true => relative(one.value).powi(2),
            false => one.covariance(other),
        };
        values.iter().enumerate().map(cell).collect::<Vec<f64>>()
    };
    let covariance: Vec<Vec<f64>> = values.iter().enumerate().map(row).collect();
    let (mean, standard) = joined_mean(&relative_values, &covariance)?;
    rounded(mean * first, standard * first)
}

/// A value to as many decimals as two figures of its uncertainty have.
fn rounded(value: f64, standard: f64) -> Option<Assigned> {
    let u = from_f64(standard, 2)?;
    let decimals = 1_i64.saturating_sub(order_of_magnitude(u)).max(0);
    let decimals = u32::try_from(decimals).ok()?.min(12);
    let value = to_decimals(from_f64(value, 15)?, decimals);
    Assigned::new(value, to_decimals(u, decimals)).ok()
}

fn relative(value: Assigned) -> f64 {
    as_f64(value.standard_uncertainty) / as_f64(value.value).abs()
}

impl<'a> ProvingReadings<'a> {
    pub fn work_up(&self) -> WorkUp {
        self.with(|code| self.lots.get(code).cloned())
    }

    /// With other lots than the course has.
    fn with(&self, lot: impl Fn(&LotCode) -> Option<Lot>) -> WorkUp {
        let find = |code: &Option<LotCode>| code.as_ref().and_then(&lot);
        let of_row = |row: &Titration| (find(&row.lot), find(&row.excess_lot));
        let lots: Vec<_> = self.hand_in.titrations.iter().map(of_row).collect();
        let lots: Vec<_> = lots.iter().map(|(a, b)| (a.as_ref(), b.as_ref())).collect();
        work_up(WorkUpInput {
            procedure: self.procedure,
            hand_in: self.hand_in,
            lots: &lots,
            left_out: &BTreeSet::new(),
        })
    }

    /// The result where one lot holds so many times what it is assigned.
    fn times(&self, lot: &LotCode, factor: Decimal) -> Option<f64> {
        let other = |code: &LotCode| {
            let held = self.lots.get(code)?;
            let value = match code == lot {
                true => held.molarity.value.checked_mul(factor)?,
                false => held.molarity.value,
            };
            let molarity = Assigned {
                value,
                ..held.molarity
            };
            Some(Lot {
                molarity,
                ..held.clone()
            })
        };
        self.with(other).value().map(as_f64)
    }

    /// By how many percent the result follows one percent of a lot.
    fn sensitivity(&self, lot: &LotCode, result: f64) -> Option<f64> {
        let raised = self.times(lot, RAISED)?;
        Some((raised / result).ln() / as_f64(RAISED).ln())
    }

    fn lots_used(&self) -> BTreeSet<&'a LotCode> {
        let rows = self.hand_in.titrations.iter();
        let named = rows.flat_map(|row| [&row.lot, &row.excess_lot]);
        named.flatten().collect()
    }

    /// The result of the procedure, with what it owes to lots.
    pub fn result(&self) -> Option<KnownValue> {
        let done = self.work_up();
        let (value, budget) = (done.value()?, done.budget.as_ref()?);
        let standard_uncertainty = from_f64(budget.standard, 12)?;
        let through = self.lots_used().into_iter().filter_map(|code| {
            let lot = self.lots.get(code)?;
            let share = self.sensitivity(code, as_f64(value))? * relative(lot.molarity);
            (share != 0.0).then(|| (code.clone(), share))
        });
        Some(KnownValue {
            value: Assigned::new(value, standard_uncertainty).ok()?,
            coverage_factor: budget.coverage_factor,
            through: through.collect(),
        })
    }

    /// The molarity with which the result would be what the bottle holds.
    pub fn molarity(&self, lot: &Lot, bottle: &KnownValue) -> Option<KnownValue> {
        let result = self.result()?;
        let (first, wanted) = (as_f64(result.value.value), as_f64(bottle.value.value));
        let slope = self.sensitivity(&lot.code, first)?;
        if slope.abs() < 0.05 {
            return None;
        }
        let (mut factor, mut there) = (1.0, first);
        for _ in 0..STEPS {
            factor *= (wanted / there).powf(1.0 / slope);
            there = self.times(&lot.code, from_f64(factor, 15)?)?;
        }
        if (there / wanted - 1.0).abs() > 1e-6 {
            return None;
        }
        let own = result.through.get(&lot.code).copied().unwrap_or_default();
        let rest = (relative(result.value).powi(2) - own.powi(2)).max(0.0);
        let others = result.through.iter().filter(|(code, _)| **code != lot.code);
        let mut through: BTreeMap<LotCode, f64> = others
            .map(|(code, share)| (code.clone(), -share / slope))
            .collect();
        for (code, share) in &bottle.through {
            *through.entry(code.clone()).or_default() += share / slope;
        }
        // what result and bottle owe to one lot cancels in part
        let shared: f64 = bottle
            .through
            .iter()
            .filter_map(|(code, share)| {
                let theirs = result.through.get(code).filter(|_| *code != lot.code)?;
                Some(share * theirs)
            })
            .sum();
        let variance = rest + relative(bottle.value).powi(2) - 2.0 * shared;
        let molarity = as_f64(lot.molarity.value) * factor;
        let standard = molarity * variance.max(0.0).sqrt() / slope.abs();
        let value = Assigned::new(from_f64(molarity, 12)?, from_f64(standard, 12)?);
        Some(KnownValue {
            value: value.ok()?,
            coverage_factor: result.coverage_factor,
            through,
        })
    }
}

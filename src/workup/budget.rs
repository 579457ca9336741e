//! Uncertainty of a step and its budget (JCGM 100:2008, first order).

use std::borrow::Cow;

use super::graph::{Doubt, Graph, Scope, StepId};
use crate::stats::student_t_two_sided;

/// The uncertainty of one step, put together and taken apart. All in the step's unit but `freedom` and `coverage`.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Every cause, largest first.
    pub contributions: Vec<Contribution>,
    /// Causes the trials share, combined.
    pub systematic: f64,
    /// Causes drawn anew in each trial, as the reading and endpoint model predicts them for the mean.
    pub predicted_random: f64,
    /// Degrees of freedom of that; infinite where the model is stated and not estimated.
    pub predicted_freedom: f64,
    /// s/√n of the per-trial results; none for a single trial.
    pub observed_random: Option<f64>,
    /// Combined standard uncertainty: systematic ⊕ the larger of the two random parts.
    pub standard: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite, not rounded); infinite where nothing is an estimate from data.
    pub freedom: f64,
    /// Coverage factor: Student t at 95 %.
    pub coverage: f64,
    /// Expanded uncertainty, 95 %.
    pub expanded: f64,
}

/// One cause of uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    pub name: Cow<'static, str>,
    /// |sensitivity| × standard uncertainty, in the unit of the step.
    pub amount: f64,
    /// Whether trials share it.
    pub scope: Scope,
    /// Degrees of freedom of its standard uncertainty; infinite where that is not an estimate from data.
    pub freedom: f64,
}

/// The uncertainty of `of`, with `spread` = (s, n) of the per-trial results it is the mean of.
pub fn budget(graph: &Graph, of: StepId, spread: Option<(f64, usize)>) -> Budget {
    let contributions = contributions(graph, of);
    let (mut systematic, mut predicted) = (0.0, 0.0);
    for c in &contributions {
        let sum = if c.scope == Scope::Each {
            &mut predicted
        } else {
            &mut systematic
        };
        *sum += c.amount * c.amount;
    }
    let (systematic, predicted_random) = (systematic.sqrt(), predicted.sqrt());
    let observed = spread
        .filter(|(_, n)| *n > 1)
        .map(|(s, n)| (s / (n as f64).sqrt(), n as f64 - 1.0));
    let counted = observed.filter(|(amount, _)| *amount > predicted_random);
    let random = counted.map_or(predicted_random, |(amount, _)| amount);
    let standard = systematic.hypot(random);
    let each = |c: &Contribution| c.scope == Scope::Each;
    let predicted_freedom = freedom(
        contributions.iter().filter(|c| each(c)),
        None,
        predicted_random,
    );
    let counted_too = |c: &&Contribution| counted.is_none() || !each(c);
    let freedom = freedom(contributions.iter().filter(counted_too), counted, standard);
    let coverage = student_t_two_sided(0.95, freedom);
    Budget {
        contributions,
        systematic,
        predicted_random,
        predicted_freedom,
        observed_random: observed.map(|(amount, _)| amount),
        standard,
        freedom,
        coverage,
        expanded: coverage * standard,
    }
}

/// Welch–Satterthwaite (JCGM 100:2008, G.2b), with the scatter that counts as (amount, freedom). Contributions of one
/// name rest on one estimate, so they count together.
fn freedom<'c>(
    contributions: impl Iterator<Item = &'c Contribution>,
    counted: Option<(f64, f64)>,
    standard: f64,
) -> f64 {
    let mut sum = counted.map_or(0.0, |(amount, freedom)| amount.powi(4) / freedom);
    let mut estimates: Vec<(&str, f64, f64)> = Vec::new();
    for c in contributions.filter(|c| c.freedom.is_finite()) {
        let variance = c.amount * c.amount;
        match estimates.iter_mut().find(|(name, ..)| *name == c.name) {
            Some((_, known, _)) => *known += variance,
            None => estimates.push((&c.name, variance, c.freedom)),
        }
    }
    for (_, variance, freedom) in estimates {
        sum += variance * variance / freedom;
    }
    if sum > 0.0 {
        standard.powi(4) / sum
    } else {
        f64::INFINITY
    }
}

/// Causes of one name: shared errors add with their signs, errors drawn anew add in squares.
fn contributions(graph: &Graph, of: StepId) -> Vec<Contribution> {
    let by = graph.sensitivities(of);
    // few enough that a search beats a map
    let mut sums: Vec<(&Doubt, f64)> = Vec::with_capacity(16);
    for ((_, step), by) in graph.steps().zip(&by) {
        for doubt in &step.doubts {
            let amount = by * doubt.standard;
            let amount = if doubt.scope == Scope::Shared {
                amount
            } else {
                amount * amount
            };
            let known = sums
                .iter_mut()
                .find(|(known, _)| known.scope == doubt.scope && same(&known.name, &doubt.name));
            match known {
                Some((_, sum)) => *sum += amount,
                None => sums.push((doubt, amount)),
            }
        }
    }
    let mut list: Vec<Contribution> = sums
        .into_iter()
        .map(|(doubt, sum)| Contribution {
            name: doubt.name.clone(),
            amount: if doubt.scope == Scope::Shared {
                sum.abs()
            } else {
                sum.sqrt()
            },
            scope: doubt.scope,
            freedom: doubt.freedom,
        })
        .filter(|c| c.amount > 0.0)
        .collect();
    list.sort_by(|a, b| {
        b.amount
            .total_cmp(&a.amount)
            .then_with(|| a.name.cmp(&b.name))
    });
    list
}

/// Most names are fixed texts, so that their place tells them apart without a look at the letters.
fn same(one: &str, other: &str) -> bool {
    one.len() == other.len() && (one.as_ptr() == other.as_ptr() || one == other)
}

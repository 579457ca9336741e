//! Uncertainty of a step and its budget (JCGM 100:2008, first order).

use std::collections::BTreeMap;

use super::graph::{Graph, Scope, StepId};
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
    /// s/√n of the per-trial results; none for a single trial.
    pub observed_random: Option<f64>,
    /// Combined standard uncertainty: systematic ⊕ the larger of the two random parts.
    pub standard: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite, not rounded); infinite where the predicted part is used.
    pub freedom: f64,
    /// Coverage factor: Student t at 95 %.
    pub coverage: f64,
    /// Expanded uncertainty, 95 %.
    pub expanded: f64,
}

/// One cause of uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// What it is.
    pub name: String,
    /// |sensitivity| × standard uncertainty, in the unit of the step.
    pub amount: f64,
    /// Whether trials share it.
    pub scope: Scope,
}

/// The uncertainty of `of`, with `spread` = (s, n) of the per-trial results it is the mean of.
#[must_use]
pub fn budget(graph: &Graph, of: StepId, spread: Option<(f64, usize)>) -> Budget {
    let contributions = contributions(graph, of);
    let combined = |scope| {
        contributions
            .iter()
            .filter(|c| c.scope == scope)
            .map(|c| c.amount.powi(2))
            .sum::<f64>()
            .sqrt()
    };
    let (systematic, predicted_random) = (combined(Scope::Shared), combined(Scope::Each));
    let observed = spread
        .filter(|(_, n)| *n > 1)
        .map(|(s, n)| (s / (n as f64).sqrt(), n as f64 - 1.0));
    let (random, random_freedom) = match observed {
        Some((amount, freedom)) if amount > predicted_random => (amount, freedom),
        _ => (predicted_random, f64::INFINITY),
    };
    let standard = systematic.hypot(random);
    // Welch–Satterthwaite, G.2b: every other part has infinitely many degrees of freedom
    let freedom = if random_freedom.is_finite() {
        random_freedom * (standard / random).powi(4)
    } else {
        f64::INFINITY
    };
    let coverage = student_t_two_sided(0.95, freedom);
    Budget {
        contributions,
        systematic,
        predicted_random,
        observed_random: observed.map(|(amount, _)| amount),
        standard,
        freedom,
        coverage,
        expanded: coverage * standard,
    }
}

/// Standard deviation the reading and endpoint model predicts for one trial's result.
#[must_use]
pub fn trial_scatter(graph: &Graph, trial: StepId) -> f64 {
    contributions(graph, trial)
        .iter()
        .filter(|c| c.scope == Scope::Each)
        .map(|c| c.amount.powi(2))
        .sum::<f64>()
        .sqrt()
}

/// Causes of one name: shared errors add with their signs, errors drawn anew add in squares.
fn contributions(graph: &Graph, of: StepId) -> Vec<Contribution> {
    let by = graph.sensitivities(of);
    let mut sums: BTreeMap<(Scope, &str), f64> = BTreeMap::new();
    for (id, step) in graph.steps().take(by.len()) {
        for doubt in &step.doubts {
            let amount = by[id.place()] * doubt.standard;
            let sum = sums.entry((doubt.scope, &doubt.name)).or_insert(0.0);
            *sum += if doubt.scope == Scope::Shared {
                amount
            } else {
                amount.powi(2)
            };
        }
    }
    let mut list: Vec<Contribution> = sums
        .into_iter()
        .map(|((scope, name), sum)| Contribution {
            name: name.to_owned(),
            amount: if scope == Scope::Shared {
                sum.abs()
            } else {
                sum.sqrt()
            },
            scope,
        })
        .filter(|c| c.amount > 0.0)
        .collect();
    list.sort_by(|a, b| b.amount.total_cmp(&a.amount));
    list
}

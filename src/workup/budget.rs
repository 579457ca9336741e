//! Uncertainty of a step and its budget (JCGM 100:2008, first order).

use super::component::{Cause, Component, Rows, Scope};
use super::graph::{Graph, StepId};
use crate::language::{Message, message};
use crate::stats::student_t_two_sided;

/// The uncertainty of one step, put together and taken apart. All in the step's unit but the degrees of freedom
/// and the coverage factor.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Largest first.
    pub contributions: Vec<Contribution>,
    /// Components the trials share, combined.
    pub systematic: f64,
    /// Components drawn anew in each trial, as the reading and endpoint model predicts them for the mean.
    pub predicted_random: f64,
    /// Degrees of freedom of that; infinite where the model is stated and not estimated.
    pub predicted_degrees_of_freedom: f64,
    /// s/√n of the per-trial results; none for a single trial.
    pub observed_random: Option<f64>,
    /// Combined standard uncertainty: systematic ⊕ the larger of the two random parts.
    pub standard: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite, not rounded); infinite where nothing is an estimate from data.
    pub degrees_of_freedom: f64,
    /// Coverage factor: Student t at 95 %.
    pub coverage_factor: f64,
    /// Expanded uncertainty, 95 %.
    pub expanded: f64,
}

/// What one error contributes.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    pub cause: Cause,
    pub rows: Rows,
    /// |sensitivity| × standard uncertainty, in the unit of the step.
    pub amount: f64,
    /// Whether trials share it.
    pub scope: Scope,
    /// Degrees of freedom of its standard uncertainty; infinite where that is not an estimate from data.
    pub degrees_of_freedom: f64,
}

impl Contribution {
    /// In words, such as “burette calibration, blank”.
    pub fn words(&self) -> Message {
        let cause = self.cause.words();
        match self.rows {
            Rows::Trials => cause,
            Rows::Blanks => message!("cause.of-blank", cause = cause),
            Rows::Standards => message!("cause.of-standards", cause = cause),
        }
    }

    /// The same in English.
    pub fn name(&self) -> String {
        self.words().to_string()
    }
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
    let predicted_degrees_of_freedom = degrees_of_freedom(
        contributions.iter().filter(|c| each(c)),
        None,
        predicted_random,
    );
    let counted_too = |c: &&Contribution| counted.is_none() || !each(c);
    let effective = contributions.iter().filter(counted_too);
    let degrees_of_freedom = degrees_of_freedom(effective, counted, standard);
    let coverage_factor = student_t_two_sided(0.95, degrees_of_freedom);
    Budget {
        contributions,
        systematic,
        predicted_random,
        predicted_degrees_of_freedom,
        observed_random: observed.map(|(amount, _)| amount),
        standard,
        degrees_of_freedom,
        coverage_factor,
        expanded: coverage_factor * standard,
    }
}

/// Welch–Satterthwaite (JCGM 100:2008, G.2b), with the scatter that counts as (amount, degrees of freedom).
/// Contributions of one cause rest on one estimate, so they count together.
fn degrees_of_freedom<'c>(
    contributions: impl Iterator<Item = &'c Contribution>,
    counted: Option<(f64, f64)>,
    standard: f64,
) -> f64 {
    let mut sum = counted.map_or(0.0, |(amount, freedom)| amount.powi(4) / freedom);
    let mut estimates: Vec<(&Cause, f64, f64)> = Vec::new();
    for c in contributions.filter(|c| c.degrees_of_freedom.is_finite()) {
        let variance = c.amount * c.amount;
        match estimates.iter_mut().find(|(cause, ..)| **cause == c.cause) {
            Some((_, known, _)) => *known += variance,
            None => estimates.push((&c.cause, variance, c.degrees_of_freedom)),
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

/// Shared errors add with their signs, errors drawn anew add in squares.
fn contributions(graph: &Graph, of: StepId) -> Vec<Contribution> {
    let by = graph.sensitivities(of);
    // few enough that a search beats a map
    let mut sums: Vec<(&Component, f64)> = Vec::with_capacity(16);
    for ((_, step), by) in graph.steps().zip(&by) {
        for component in &step.components {
            let amount = by * component.standard;
            let amount = if component.scope == Scope::Shared {
                amount
            } else {
                amount * amount
            };
            let known = sums
                .iter_mut()
                .find(|(known, _)| known.is_same_error(component));
            match known {
                Some((_, sum)) => *sum += amount,
                None => sums.push((component, amount)),
            }
        }
    }
    let mut list: Vec<Contribution> = sums
        .into_iter()
        .map(|(component, sum)| Contribution {
            cause: component.cause.clone(),
            rows: component.rows,
            amount: if component.scope == Scope::Shared {
                sum.abs()
            } else {
                sum.sqrt()
            },
            scope: component.scope,
            degrees_of_freedom: component.degrees_of_freedom,
        })
        .filter(|c| c.amount > 0.0)
        .collect();
    list.sort_by(|a, b| {
        b.amount
            .total_cmp(&a.amount)
            .then_with(|| a.name().cmp(&b.name()))
    });
    list
}

//! How likely each explanation is, and whether one is clear of the rest.

use rust_decimal::Decimal;

use super::{Candidate, Explanation, SlipCode};
use crate::measure::from_f64;

/// One way a slip can have happened.
pub(super) struct Tried {
    pub code: SlipCode,
    pub place: String,
    pub prediction: Decimal,
    /// Logarithm of the likelihood of what is seen, under this slip.
    pub log_likelihood: f64,
    /// Distance of the prediction from what it should fit, in standard uncertainties.
    pub off: f64,
    /// In how many ways this slip was tried: they share its weight.
    pub ways: usize,
}

/// Everything that was tried, and what else there could be: the log-likelihood and weight of no slip, and of none that
/// is known.
pub(super) struct Hypotheses {
    pub tried: Vec<Tried>,
    pub otherwise: Vec<(f64, f64)>,
}

/// How much likelier the first has to be than the next of another code, and than what no slip explains.
const CLEARLY: f64 = 10.0;
/// Beyond so many standard uncertainties a slip explains nothing.
const CONSISTENT: f64 = 3.0;
/// Least share of the likelihood to be listed as one of several.
const WORTH_LISTING: Decimal = Decimal::from_parts(5, 0, 0, false, 2);
/// As many as are listed.
const LISTED: usize = 5;

/// Ranks what was tried beside the weighted likelihood that no slip, or none that is known, explains it.
pub(super) fn rank(Hypotheses { tried, otherwise }: Hypotheses) -> Explanation {
    let weighed = |t: &Tried| t.log_likelihood + (t.code.weight() / t.ways.max(1) as f64).ln();
    let highest = tried
        .iter()
        .map(weighed)
        .chain(otherwise.iter().map(|(log, weight)| log + weight.ln()))
        .fold(f64::NEG_INFINITY, f64::max);
    if !highest.is_finite() {
        return Explanation::default();
    }
    let share = |log: f64| (log - highest).exp();
    let rest: f64 = otherwise
        .iter()
        .map(|(log, weight)| share(log + weight.ln()))
        .sum();
    let mut all: Vec<(f64, Tried)> = tried.into_iter().map(|t| (share(weighed(&t)), t)).collect();
    let sum = rest + all.iter().map(|(w, _)| w).sum::<f64>();
    // the ways of one slip count together, and its likeliest stands for it
    all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.code.cmp(&b.1.code)));
    let mut codes: Vec<(SlipCode, f64)> = Vec::new();
    let mut candidates: Vec<Candidate> = Vec::new();
    for (weight, t) in all {
        match codes.iter_mut().find(|(code, _)| *code == t.code) {
            Some((_, total)) => *total += weight,
            None => codes.push((t.code, weight)),
        }
        let known = candidates.iter().any(|c| c.code == t.code);
        if t.off <= CONSISTENT && !known && weight / sum > 1e-3 {
            candidates.push(Candidate {
                code: t.code,
                place: t.place,
                prediction: t.prediction,
                off: from_f64(t.off, 3).unwrap_or_default(),
                share: from_f64(weight / sum, 3).unwrap_or_default(),
            });
        }
    }
    let total = |code: SlipCode| {
        codes
            .iter()
            .find(|(known, _)| *known == code)
            .map_or(0.0, |(_, total)| *total)
    };
    candidates.sort_by(|a, b| total(b.code).total_cmp(&total(a.code)));
    let first = candidates.first().map(|c| c.code);
    let put_forward = first.is_some_and(|first| {
        let next = codes
            .iter()
            .filter(|(code, _)| *code != first)
            .map(|(_, total)| *total)
            .fold(rest, f64::max);
        total(first) >= CLEARLY * next
    });
    if !put_forward {
        // what is hardly likelier than chance, or than something unknown, explains nothing
        candidates.retain(|c| c.share >= WORTH_LISTING);
    }
    candidates.truncate(LISTED);
    Explanation {
        candidates,
        put_forward,
    }
}

/// Logarithm of the normal density.
pub(super) fn log_normal(off: f64, standard: f64) -> f64 {
    -0.5 * (off / standard).powi(2) - standard.ln() - 0.5 * std::f64::consts::TAU.ln()
}

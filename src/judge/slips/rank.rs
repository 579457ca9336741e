//! How likely each explanation is, and whether one is clear of the rest.

use rust_decimal::Decimal;

use super::{Candidate, Explanation, SlipCode};
use crate::measure::{as_f64, from_f64};

/// One way a slip can have happened.
#[derive(Clone)]
pub(super) struct Tried {
    pub code: SlipCode,
    pub place: String,
    /// Numbers of the trials whose readings it is about; empty where it is not about single trials.
    pub trials: Vec<u32>,
    pub prediction: Decimal,
    /// Logarithm of the likelihood of what is seen, under this slip.
    pub log_likelihood: f64,
    /// Distance of the prediction from what it should fit, in standard uncertainties.
    pub off: f64,
    /// In how many ways this slip was tried: they share its weight.
    pub ways: usize,
}

/// Everything that was tried, and what else there could be.
pub(super) struct Hypotheses {
    pub tried: Vec<Tried>,
    /// The log-likelihood and weight of no slip, and of none that is known.
    pub otherwise: Vec<(f64, f64)>,
    /// Predictions no further apart than this cannot be told apart by what is seen: they are one explanation.
    pub alike: f64,
    /// Two slips at once, tried only where no single one fits; they are listed and never put forward.
    pub pairs: Vec<Tried>,
}

/// How much likelier the first has to be than the next different explanation, and than what no slip explains.
const CLEARLY: f64 = 10.0;
/// Beyond so many standard uncertainties a slip explains nothing.
const CONSISTENT: f64 = 3.0;
/// Least share of the likelihood to be listed as one of several.
const WORTH_LISTING: Decimal = Decimal::from_parts(5, 0, 0, false, 2);
/// Least share of an explanation's likelihood for another slip to be named beside its first.
const WORTH_NAMING: f64 = 0.02;
/// As many as are listed.
const LISTED: usize = 5;

/// One explanation: slips whose predictions cannot be told apart.
struct Pooled {
    prediction: f64,
    /// Whether it is only offered, and never put forward: then it hides nothing that may be.
    is_offered: bool,
    weight: f64,
    /// Each with its part of the weight, heaviest first.
    ways: Vec<(f64, Tried)>,
}

/// Ranks what was tried beside the weighted likelihood that no slip, or none that is known, explains it.
pub(super) fn rank(hypotheses: Hypotheses) -> Explanation {
    let Hypotheses {
        tried,
        otherwise,
        alike,
        pairs,
    } = hypotheses;
    let single = tried.iter().any(|t| t.off <= CONSISTENT);
    let tried = if single {
        tried
    } else {
        [tried, pairs].concat()
    };
    let weighed = |t: &Tried| t.log_likelihood + (t.code.weight() / t.ways.max(1) as f64).ln();
    let none = otherwise.iter().map(|(log, weight)| log + weight.ln());
    let highest = tried
        .iter()
        .map(weighed)
        .chain(none.clone())
        .fold(f64::NEG_INFINITY, f64::max);
    if !highest.is_finite() {
        return Explanation::default();
    }
    let rest: f64 = none.map(|log| (log - highest).exp()).sum();
    let all: Vec<(f64, Tried)> = tried
        .into_iter()
        .map(|t| ((weighed(&t) - highest).exp(), t))
        .collect();
    let sum = rest + all.iter().map(|(weight, _)| weight).sum::<f64>();
    let recognised: f64 = all
        .iter()
        .filter(|(_, t)| single && t.off <= CONSISTENT)
        .map(|(weight, _)| weight)
        .sum();
    let pooled = pool(all, alike);
    // explanations of one name count together, and the likeliest stands for them
    let mut names: Vec<(SlipCode, f64)> = Vec::new();
    let mut candidates: Vec<Candidate> = Vec::new();
    for explanation in &pooled {
        let Some(named) = explanation.candidate(sum) else {
            continue;
        };
        match names.iter_mut().find(|(code, _)| *code == named.code) {
            Some((_, total)) => *total += explanation.weight,
            None => {
                names.push((named.code, explanation.weight));
                let worth = explanation.weight / sum > 1e-3;
                let fits = named.off <= Decimal::from(CONSISTENT as i64);
                candidates.extend(Some(named).filter(|_| worth && fits));
            }
        }
    }
    let total = |code: SlipCode| {
        let known = names.iter().find(|(known, _)| *known == code);
        known.map_or(0.0, |(_, total)| *total)
    };
    candidates.sort_by(|a, b| {
        let offered = |c: &Candidate| !c.code.is_put_forward();
        let by_weight = total(b.code).total_cmp(&total(a.code));
        offered(a).cmp(&offered(b)).then(by_weight)
    });
    let put_forward = candidates.first().is_some_and(|first| {
        // what is only offered stands in nobody's way
        let others = names
            .iter()
            .filter(|(code, _)| *code != first.code && code.is_put_forward());
        let next = others.map(|(_, total)| *total).fold(rest, f64::max);
        single && first.code.is_put_forward() && total(first.code) >= CLEARLY * next
    });
    if !put_forward {
        // what is hardly likelier than chance, or than something unknown, explains nothing
        candidates.retain(|c| c.share >= WORTH_LISTING);
    }
    candidates.truncate(LISTED);
    Explanation {
        candidates,
        put_forward,
        recognised: from_f64(recognised / sum, 3).unwrap_or_default(),
    }
}

/// Puts together what cannot be told apart, likeliest first.
fn pool(mut all: Vec<(f64, Tried)>, alike: f64) -> Vec<Pooled> {
    all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.code.cmp(&b.1.code)));
    let mut pooled: Vec<Pooled> = Vec::new();
    for (weight, tried) in all {
        let prediction = as_f64(tried.prediction);
        let offered = !tried.code.is_put_forward();
        let known = pooled.iter_mut().find(|known| {
            known.is_offered == offered && (known.prediction - prediction).abs() <= alike
        });
        match known {
            Some(known) => {
                known.weight += weight;
                known.ways.push((weight, tried));
            }
            None => pooled.push(Pooled {
                prediction,
                is_offered: offered,
                weight,
                ways: vec![(weight, tried)],
            }),
        }
    }
    pooled.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    pooled
}

impl Pooled {
    /// Named by its likeliest slip, with the others beside it; `sum` is the weight of all there is.
    fn candidate(&self, sum: f64) -> Option<Candidate> {
        let mut codes: Vec<(SlipCode, f64)> = Vec::new();
        for (weight, tried) in &self.ways {
            match codes.iter_mut().find(|(code, _)| *code == tried.code) {
                Some((_, total)) => *total += weight,
                None => codes.push((tried.code, *weight)),
            }
        }
        codes.sort_by(|a, b| b.1.total_cmp(&a.1));
        let (code, _) = *codes.first()?;
        let (_, named) = self.ways.iter().find(|(_, tried)| tried.code == code)?;
        let beside = codes.iter().skip(1);
        let beside = beside.filter(|(_, weight)| weight / self.weight >= WORTH_NAMING);
        Some(Candidate {
            code,
            place: named.place.clone(),
            trials: named.trials.clone(),
            beside: beside.map(|(code, _)| *code).collect(),
            prediction: named.prediction,
            off: from_f64(named.off, 3).unwrap_or_default(),
            share: from_f64(self.weight / sum, 3).unwrap_or_default(),
        })
    }
}

/// All ways of one code share its weight.
pub(super) fn share_weight(mut tried: Vec<Tried>) -> Vec<Tried> {
    let codes: Vec<SlipCode> = tried.iter().map(|t| t.code).collect();
    for t in &mut tried {
        t.ways = codes.iter().filter(|code| **code == t.code).count();
    }
    tried
}

/// Logarithm of the normal density.
pub(super) fn log_normal(off: f64, standard: f64) -> f64 {
    -0.5 * (off / standard).powi(2) - standard.ln() - 0.5 * std::f64::consts::TAU.ln()
}

//! Two groups beside each other: means and shares.

use super::distributions::{student_t_two_sided, two_sided_t_p};
use super::replicates::mean_and_s;

/// One mean less another, with what is known of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// The first less the second.
    pub value: f64,
    pub standard: f64,
    /// Effective degrees of freedom.
    pub freedom: f64,
    /// Two-sided probability that chance puts equal means so far apart.
    pub p: f64,
}

/// Mean, s and number of a group.
pub type Summary = (f64, f64, usize);

impl Difference {
    /// The interval that holds the true difference with that probability, such as 0.95.
    pub fn interval(&self, level: f64) -> [f64; 2] {
        let half = student_t_two_sided(level, self.freedom) * self.standard;
        [self.value - half, self.value + half]
    }
}

/// The difference of two means whose groups scatter each in its own way (B. L. Welch, Biometrika 34 (1947) 28). Where
/// neither scatters at all, the probability is that of dealing the values so by chance. None for fewer than two values in
/// a group.
pub fn welch(one: &[f64], other: &[f64]) -> Option<Difference> {
    let summary = |values: &[f64]| {
        let (mean, s) = mean_and_s(values)?;
        Some((mean, s, values.len()))
    };
    let (first, second) = (summary(one)?, summary(other)?);
    let nowhere = |values: &[f64]| values.iter().all(|value| *value == values[0]);
    if !(nowhere(one) && nowhere(other)) || first.2 < 2 || second.2 < 2 {
        return welch_of(first, second);
    }
    let alike = one[0] == other[0];
    Some(Difference {
        value: one[0] - other[0],
        standard: 0.0,
        freedom: f64::INFINITY,
        p: if alike {
            1.0
        } else {
            fisher_exact((one.len(), 0), (0, other.len()))
        },
    })
}

/// The same from means, standard deviations and numbers; none without scatter.
pub fn welch_of(one: Summary, other: Summary) -> Option<Difference> {
    if one.2 < 2 || other.2 < 2 {
        return None;
    }
    let variance = |(_, s, n): Summary| s * s / n as f64;
    let (a, b) = (variance(one), variance(other));
    let standard = (a + b).sqrt();
    if standard <= 0.0 {
        return None;
    }
    let part = |variance: f64, n: usize| variance * variance / (n as f64 - 1.0);
    let freedom = (a + b).powi(2) / (part(a, one.2) + part(b, other.2));
    let value = one.0 - other.0;
    Some(Difference {
        value,
        standard,
        freedom,
        p: two_sided_t_p(value / standard, freedom),
    })
}

/// Two-sided probability that chance deals `one` = (with, without) and `other` as unevenly as they are or more so, where
/// both have the same share (R. A. Fisher, The Design of Experiments, 1935, II).
pub fn fisher_exact(one: (usize, usize), other: (usize, usize)) -> f64 {
    let (with, without) = (one.0.saturating_add(other.0), one.1.saturating_add(other.1));
    let first = one.0.saturating_add(one.1);
    let logs = log_factorials(with.saturating_add(without));
    let choose = |n: usize, k: usize| logs[n] - logs[k] - logs[n.saturating_sub(k)];
    let all = choose(with.saturating_add(without), first);
    let log_p = |k: usize| choose(with, k) + choose(without, first.saturating_sub(k)) - all;
    let seen = log_p(one.0);
    let least = first.saturating_sub(without);
    let tables = (least..=first.min(with)).map(log_p);
    // tables that are exactly as likely count, whatever the last figure of their logarithms
    let as_rare = tables.filter(|p| *p <= seen + 1e-9);
    as_rare.map(f64::exp).sum::<f64>().min(1.0)
}

/// ln n! from 0 to `most`.
fn log_factorials(most: usize) -> Vec<f64> {
    let mut logs = vec![0.0];
    for n in 1..=most {
        let last = logs.last().copied().unwrap_or_default();
        logs.push(last + (n as f64).ln());
    }
    logs
}

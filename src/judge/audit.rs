//! Audit of the truth: what a group of students finds, against what was assigned.

use rust_decimal::Decimal;
use serde::Serialize;

use crate::measure::as_f64;
use crate::stats::{algorithm_a, two_sided_normal_p};

/// What a group has in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum AuditKind {
    /// The bottle.
    Unknown,
    /// The titrant lot.
    Lot,
    /// The section.
    Section,
    /// The burette.
    Instrument,
}

impl AuditKind {
    /// As it is written in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::Lot => "lot",
            Self::Section => "section",
            Self::Instrument => "instrument",
        }
    }
}

/// The robust figures of one group.
#[derive(Clone, Debug, PartialEq)]
pub struct AuditRow {
    /// Results in the group.
    pub n: usize,
    /// Value assigned, where the group has one; the robust mean is then in its unit, else in percent of the truth.
    pub assigned: Option<Decimal>,
    /// Robust mean.
    pub robust_mean: f64,
    /// Robust mean against the truth, percent.
    pub bias_percent: f64,
    /// Its standard uncertainty: 1.25 s*/√p joined with the assigned value's, percent.
    pub bias_uncertainty_percent: f64,
    /// Two-sided, normal; none for a group too small to judge.
    pub p_value: Option<f64>,
}

/// Fewest results on which a group is judged.
const FEWEST: usize = 4;

/// Sums up a group from the signed relative errors of its results, percent, and the relative standard uncertainty of
/// the assigned value they share, percent. None for an empty group.
#[must_use]
pub fn audit_group(
    errors: &[f64],
    assigned: Option<Decimal>,
    assigned_uncertainty_percent: f64,
) -> Option<AuditRow> {
    let robust = algorithm_a(errors)?;
    let bias_uncertainty_percent = robust
        .standard_uncertainty()
        .hypot(assigned_uncertainty_percent);
    let p_value = (robust.n >= FEWEST && bias_uncertainty_percent > 0.0)
        .then(|| two_sided_normal_p(robust.mean / bias_uncertainty_percent));
    let in_percent_of_truth = 100.0 + robust.mean;
    Some(AuditRow {
        n: robust.n,
        assigned,
        robust_mean: assigned.map_or(in_percent_of_truth, |value| {
            as_f64(value) * in_percent_of_truth / 100.0
        }),
        bias_percent: robust.mean,
        bias_uncertainty_percent,
        p_value,
    })
}

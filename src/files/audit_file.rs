//! `audit.csv`: what groups of students find, against what was assigned.

use rust_decimal::Decimal;

use crate::judge::AuditGroup;
use crate::measure::{as_f64, from_f64, plain};
use crate::term::{ExperimentAudit, Judged, Slot, Term};
use crate::text::{guarded, write_csv};

const HEADER: [&str; 10] = [
    "experiment",
    "kind",
    "key",
    "n",
    "assigned",
    "robust_mean",
    "bias_percent",
    "bias_uncertainty_percent",
    "p_value",
    "verdict",
];

/// The audit as a file. It holds true values: it is for staff. Bias and its uncertainty are those of the group as it
/// is; the probability and the verdict allow for other groups that look off. A lot that drifts has a row of the kind
/// `drift` after its own: there bias and uncertainty are percent a day, the probability is that of the slope, and the
/// robust mean is the value at which results of the last day would be right on average.
pub fn audit_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let audits = term.audit(judged.iter().map(|(slot, one)| (slot, one)));
    write_csv(&HEADER, audits.iter().flat_map(rows))
}

fn rows(audit: &ExperimentAudit) -> Vec<[String; 10]> {
    let rows_of = |group: &AuditGroup| [Some(row(audit, group)), drift_row(audit, group)];
    audit.groups.iter().flat_map(rows_of).flatten().collect()
}

fn row(audit: &ExperimentAudit, group: &AuditGroup) -> [String; 10] {
    let assigned = audit.assigned.get(&group.name).map(|held| held.value.value);
    let in_percent_of_truth = 100.0 + group.bias_percent;
    let robust_mean = assigned.map_or(in_percent_of_truth, |value| {
        as_f64(value) * in_percent_of_truth / 100.0
    });
    [
        audit.experiment.to_string(),
        group.name.kind.in_files().to_owned(),
        guarded(&group.name.key),
        group.n().to_string(),
        assigned.map(plain).unwrap_or_default(),
        number(robust_mean),
        number(group.bias_percent),
        number(group.bias_uncertainty_percent),
        group.p_value.map(number).unwrap_or_default(),
        group.verdict.words(),
    ]
}

fn drift_row(audit: &ExperimentAudit, group: &AuditGroup) -> Option<[String; 10]> {
    let drift = group.drift()?;
    let assigned = audit.assigned.get(&group.name)?;
    let by_day = audit.consensus_by_day(group);
    let last = by_day.last().map(|(_, value)| plain(value.value));
    Some([
        audit.experiment.to_string(),
        "drift".to_owned(),
        guarded(&group.name.key),
        group.n().to_string(),
        plain(assigned.value.value),
        last.unwrap_or_default(),
        number(drift.per_day_percent),
        number(drift.standard_percent),
        number(drift.p),
        drift.words(),
    ])
}

/// Twelve figures; fewer where the number is so small that a decimal has no room for them.
fn number(value: f64) -> String {
    let fits = (1..=12).rev().find_map(|figures| from_f64(value, figures));
    plain(fits.unwrap_or(Decimal::ZERO))
}

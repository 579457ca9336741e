//! `audit.csv`: what groups of students find, against what was assigned.

use rust_decimal::Decimal;

use crate::judge::AuditGroup;
use crate::measure::{as_f64, from_f64, plain};
use crate::term::{ExperimentAudit, Judged, Slot, Term};
use crate::text::{WrittenColumn, guarded, write_columns};

/// What a group finds, or how a lot drifts.
struct AuditRow<'a> {
    audit: &'a ExperimentAudit,
    group: &'a AuditGroup,
    kind: &'static str,
    assigned: Option<Decimal>,
    robust_mean: String,
    /// Percent, or percent a day.
    bias: f64,
    bias_uncertainty: f64,
    p_value: Option<f64>,
    verdict: String,
}

fn columns<'t>() -> [WrittenColumn<AuditRow<'t>>; 10] {
    [
        ("experiment", |row| row.audit.experiment.to_string()),
        ("kind", |row| row.kind.to_owned()),
        ("key", |row| guarded(&row.group.name.key)),
        ("n", |row| row.group.n().to_string()),
        ("assigned", |row| {
            row.assigned.map(plain).unwrap_or_default()
        }),
        ("robust_mean", |row| row.robust_mean.clone()),
        ("bias_percent", |row| number(row.bias)),
        ("bias_uncertainty_percent", |row| {
            number(row.bias_uncertainty)
        }),
        ("p_value", |row| row.p_value.map(number).unwrap_or_default()),
        ("verdict", |row| row.verdict.clone()),
    ]
}

/// The audit as a file. It holds true values: it is for staff. Bias and its uncertainty are those of the group as it
/// is; the probability and the verdict allow for other groups that look off. A lot that drifts has a row of the kind
/// `drift` after its own: there bias and uncertainty are percent a day, the probability is that of the slope, and the
/// robust mean is the value at which results of the last day would be right on average.
pub fn audit_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let audits = term.audit(judged.iter().map(|(slot, one)| (slot, one)));
    let groups = audits.iter().flat_map(|audit| {
        let groups = audit.groups.iter();
        groups.flat_map(move |group| [Some(found(audit, group)), drift(audit, group)])
    });
    write_columns(&columns(), groups.flatten())
}

fn found<'a>(audit: &'a ExperimentAudit, group: &'a AuditGroup) -> AuditRow<'a> {
    let assigned = audit.assigned.get(&group.name).map(|held| held.value.value);
    let in_percent_of_truth = 100.0 + group.bias_percent;
    let robust_mean = assigned.map_or(in_percent_of_truth, |value| {
        as_f64(value) * in_percent_of_truth / 100.0
    });
    AuditRow {
        audit,
        group,
        kind: group.name.kind.in_files(),
        assigned,
        robust_mean: number(robust_mean),
        bias: group.bias_percent,
        bias_uncertainty: group.bias_uncertainty_percent,
        p_value: group.p_value,
        verdict: group.verdict.words(),
    }
}

fn drift<'a>(audit: &'a ExperimentAudit, group: &'a AuditGroup) -> Option<AuditRow<'a>> {
    let drift = group.drift()?;
    let assigned = audit.assigned.get(&group.name)?;
    let by_day = audit.consensus_by_day(group);
    let last = by_day.last().map(|(_, value)| plain(value.value));
    Some(AuditRow {
        audit,
        group,
        kind: "drift",
        assigned: Some(assigned.value.value),
        robust_mean: last.unwrap_or_default(),
        bias: drift.per_day_percent,
        bias_uncertainty: drift.standard_percent,
        p_value: Some(drift.p),
        verdict: drift.words(),
    })
}

/// Twelve figures; fewer where the number is so small that a decimal has no room for them.
fn number(value: f64) -> String {
    let fits = (1..=12).rev().find_map(|figures| from_f64(value, figures));
    plain(fits.unwrap_or(Decimal::ZERO))
}

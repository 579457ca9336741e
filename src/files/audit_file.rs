//! `audit.csv`: what groups of students find, against what was assigned.

use rust_decimal::Decimal;

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
/// is; the probability and the verdict allow for other groups that look off.
pub fn audit_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let audits = term.audit(judged.iter().map(|(slot, one)| (slot, one)));
    write_csv(&HEADER, audits.iter().flat_map(rows))
}

fn rows(audit: &ExperimentAudit) -> Vec<[String; 10]> {
    let row = |group: &crate::judge::AuditGroup| {
        let kind = group.name.kind.in_files()?;
        let assigned = audit.assigned.get(&group.name).map(|held| held.value.value);
        let in_percent_of_truth = 100.0 + group.bias_percent;
        let robust_mean = assigned.map_or(in_percent_of_truth, |value| {
            as_f64(value) * in_percent_of_truth / 100.0
        });
        Some([
            audit.experiment.to_string(),
            kind.to_owned(),
            guarded(&group.name.key),
            group.n().to_string(),
            assigned.map(plain).unwrap_or_default(),
            number(robust_mean),
            number(group.bias_percent),
            number(group.bias_uncertainty_percent),
            group.p_value.map(number).unwrap_or_default(),
            group.verdict.words(),
        ])
    };
    audit.groups.iter().filter_map(row).collect()
}

/// Twelve figures; fewer where the number is so small that a decimal has no room for them.
fn number(value: f64) -> String {
    let fits = (1..=12).rev().find_map(|figures| from_f64(value, figures));
    plain(fits.unwrap_or(Decimal::ZERO))
}

//! The audit in words.

use crate::judge::{AuditGroup, AuditKind};
use crate::measure::{from_f64, plain, to_decimals};
use crate::procedure::Procedure;
use crate::term::ExperimentAudit;

/// What a group that looks off was assigned and what its students find, in a sentence.
pub fn found(audit: &ExperimentAudit, group: &AuditGroup, procedure: &Procedure) -> String {
    let unit = match group.name.kind {
        AuditKind::Unknown => procedure.result.unit.name(),
        _ => "mol/L",
    };
    let assigned = audit.assigned.get(&group.name).map(|held| {
        let value = plain(held.value.value);
        format!("assigned {value} {unit}, ")
    });
    format!(
        "{assigned}{n} results, a bias of {bias} %: {verdict}",
        assigned = assigned.unwrap_or_default(),
        n = group.n(),
        bias = with_uncertainty(group.own.percent, group.own.joined_percent),
        verdict = group.verdict.words(),
    )
}

/// A signed number of percent.
pub fn signed(percent: f64) -> String {
    let text = decimals(percent.abs(), 2);
    match percent {
        _ if text == "0.00" => format!("\u{2007}{text}"),
        below if below < 0.0 => format!("\u{2212}{text}"),
        _ => format!("+{text}"),
    }
}

/// A signed number of percent with its standard uncertainty.
pub fn with_uncertainty(percent: f64, standard: f64) -> String {
    let text = format!("{} \u{b1} {}", signed(percent), decimals(standard, 2));
    text.trim().to_owned()
}

/// So many decimals.
pub fn decimals(value: f64, n: u32) -> String {
    from_f64(value, 12)
        .map(|value| to_decimals(value, n).to_string())
        .unwrap_or_default()
}

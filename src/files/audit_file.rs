//! `audit.csv`: what groups of students find, against what was assigned.

use std::collections::{BTreeMap, HashMap};

use rust_decimal::Decimal;

use super::cells::guarded;
use super::table::write_csv;
use crate::judge::{AuditKind, AuditRow, audit_group};
use crate::measure::{as_f64, from_f64, plain};
use crate::term::{Judged, Slot, Term};
use crate::truth::Assigned;

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

/// Level at which a group looks off, over all groups of one kind in one experiment together (Bonferroni).
const LEVEL: f64 = 0.01;

/// The verdict on a group whose students do not find what was assigned.
pub const LOOKS_OFF: &str = "looks off";

/// One group of an experiment's submissions, summed up.
#[derive(Clone, Debug, PartialEq)]
pub struct Audited {
    /// Key of the experiment.
    pub experiment: String,
    /// What the group has in common.
    pub kind: AuditKind,
    /// Which unknown, lot or section.
    pub key: String,
    /// Its figures.
    pub row: AuditRow,
    /// `agrees`, `looks off` or `too few to judge`.
    pub verdict: &'static str,
}

/// Sums up the groups of every experiment by unknown, lot and section, in course order. A submission that used
/// several lots belongs to no lot's group.
#[must_use]
pub fn audit(term: &Term, judged: &[(Slot, Judged)]) -> Vec<Audited> {
    let sections: HashMap<&str, &str> = term
        .students
        .iter()
        .map(|s| (s.id.as_str(), s.section.as_str()))
        .collect();
    let mut groups: BTreeMap<(&str, AuditKind), BTreeMap<&str, Vec<f64>>> = BTreeMap::new();
    for (slot, judged) in judged {
        let evaluation = &judged.evaluation;
        let outcome = evaluation.outcome.as_ref();
        let Some(error) = outcome
            .zip(evaluation.true_value)
            .and_then(|(o, truth)| signed_error(o.result, truth))
        else {
            continue;
        };
        let lot = evaluation.lot.as_str();
        let of = [
            (AuditKind::Unknown, Some(evaluation.unknown.as_str())),
            (
                AuditKind::Lot,
                Some(lot).filter(|lot| term.lots.contains_key(*lot)),
            ),
            (
                AuditKind::Section,
                sections.get(slot.student.as_str()).copied(),
            ),
        ];
        for (kind, key) in of {
            if let Some(key) = key {
                let kind = groups.entry((slot.experiment.as_str(), kind)).or_default();
                kind.entry(key).or_default().push(error);
            }
        }
    }
    let mut all = Vec::new();
    for experiment in &term.experiments {
        for kind in [AuditKind::Unknown, AuditKind::Lot, AuditKind::Section] {
            let rows: Vec<(&str, AuditRow)> = groups
                .get(&(experiment.key.as_str(), kind))
                .into_iter()
                .flatten()
                .filter_map(|(key, errors)| {
                    let assigned = assigned(term, &experiment.key, kind, key);
                    let uncertainty = assigned.map_or(0.0, relative_uncertainty);
                    let row = audit_group(errors, assigned.map(|a| a.value), uncertainty)?;
                    Some((*key, row))
                })
                .collect();
            let looks = rows.iter().filter(|(_, row)| row.p_value.is_some()).count();
            all.extend(rows.into_iter().map(|(key, row)| Audited {
                experiment: experiment.key.clone(),
                kind,
                key: key.to_owned(),
                verdict: verdict(row.p_value, looks),
                row,
            }));
        }
    }
    all
}

/// The audit as a file. It holds true values: it is for staff.
#[must_use]
pub fn audit_csv(term: &Term, judged: &[(Slot, Judged)]) -> String {
    let rows = audit(term, judged).into_iter().map(|group| {
        let row = &group.row;
        [
            group.experiment,
            group.kind.name().to_owned(),
            guarded(&group.key),
            row.n.to_string(),
            row.assigned.map(plain).unwrap_or_default(),
            number(row.robust_mean),
            number(row.bias_percent),
            number(row.bias_uncertainty_percent),
            row.p_value.map(number).unwrap_or_default(),
            group.verdict.to_owned(),
        ]
    });
    write_csv(&HEADER, rows)
}

/// Twelve figures; fewer where the number is so small that a decimal has no room for them.
fn number(value: f64) -> String {
    let fits = (1..=12).rev().find_map(|figures| from_f64(value, figures));
    plain(fits.unwrap_or(Decimal::ZERO))
}

fn signed_error(result: Decimal, truth: Decimal) -> Option<f64> {
    let off = result.checked_sub(truth)?;
    Some(100.0 * as_f64(off) / as_f64(truth)).filter(|error| error.is_finite())
}

fn relative_uncertainty(assigned: Assigned) -> f64 {
    100.0 * as_f64(assigned.standard_uncertainty) / as_f64(assigned.value)
}

fn assigned(term: &Term, experiment: &str, kind: AuditKind, key: &str) -> Option<Assigned> {
    match kind {
        AuditKind::Unknown => Some(*term.unknowns.get(experiment)?.get(key)?.truth.open()),
        AuditKind::Lot => term.lots.get(key).map(|lot| lot.molarity),
        AuditKind::Section | AuditKind::Instrument => None,
    }
}

fn verdict(p_value: Option<f64>, looks: usize) -> &'static str {
    match p_value {
        None => "too few to judge",
        Some(p) if p * (looks as f64) < LEVEL => LOOKS_OFF,
        Some(_) => "agrees",
    }
}

//! Single-mark glassware of another nominal volume than the one named.

use rust_decimal::Decimal;

use crate::measure::as_f64;
use crate::workup::{Graph, Role, StepId};

/// Every single-mark pipette and flask of a graph in another of the usual sizes that is larger or smaller by less than that
/// factor, with where that is.
pub(super) fn other_glassware(graph: &Graph, below: f64) -> Vec<(String, (StepId, Decimal))> {
    let mut found = Vec::new();
    for (id, step) in graph.steps() {
        let sizes: &[i64] = match step.quantity.role {
            Role::Aliquot | Role::ExcessVolume => &PIPETTES,
            // one that is read is not of a single mark
            Role::SampleVolume if step.quantity.read.is_none() => &PIPETTES,
            Role::SampleFlask | Role::MeasuredFlask => &FLASKS,
            _ => continue,
        };
        let own = step.value;
        let near = |size: &Decimal| {
            let ratio = as_f64(*size) / as_f64(own);
            *size != own && ratio > 1.0 / below && ratio < below
        };
        let label = step.quantity.label();
        for size in sizes.iter().map(|size| Decimal::from(*size)).filter(near) {
            let place = format!("{label}: {size} mL for {own}");
            found.push((place, (id, size)));
        }
    }
    found
}

/// Nominal volumes of single-mark pipettes, mL (ISO 648:2008, table 1).
const PIPETTES: [i64; 8] = [1, 2, 5, 10, 20, 25, 50, 100];
/// Of flasks, mL (ISO 1042:1998, table 1).
const FLASKS: [i64; 8] = [5, 10, 25, 50, 100, 200, 250, 500];

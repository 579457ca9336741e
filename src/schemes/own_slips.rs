//! Mistakes in a sum that only one kind of scheme has: which steps of the work-up have another value then.

use rust_decimal::Decimal;

use crate::judge::SlipCode;
use crate::measure::from_f64;
use crate::workup::{Graph, Own, Role, StepId};

/// A mistake in all trials alike.
#[derive(Clone, Debug)]
pub struct OwnSlip {
    pub code: SlipCode,
    /// How it is made, where that can be said.
    pub place: &'static str,
    /// The steps that have another value, with that.
    pub instead: Vec<(StepId, Decimal)>,
}

impl OwnSlip {
    /// None where a value is no number, or nothing is replaced.
    pub fn new(
        code: SlipCode,
        place: &'static str,
        instead: impl IntoIterator<Item = (StepId, Option<Decimal>)>,
    ) -> Option<Self> {
        let instead: Option<Vec<_>> = instead
            .into_iter()
            .map(|(id, value)| Some((id, value?)))
            .collect();
        let instead = instead.filter(|instead| !instead.is_empty())?;
        Some(Self {
            code,
            place,
            instead,
        })
    }
}

/// The steps of one kind, of whatever rows and points.
pub fn all_of(graph: &Graph, own: Own) -> Vec<StepId> {
    let steps = graph.steps();
    let is_it = steps.filter(|(_, step)| step.quantity.role == Role::Own(own));
    is_it.map(|(id, _)| id).collect()
}

/// As many figures as a sum on paper needs.
pub fn decimal(value: f64) -> Option<Decimal> {
    from_f64(value, 15)
}

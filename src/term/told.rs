//! What a student is told of the truth: nothing, unless the course chooses to and results are out for everybody.

use crate::ids::ExperimentKey;
use rust_decimal::Decimal;

use super::{Judged, Slot, Term};

/// What a student may know of the value of their bottle.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Code of the bottle.
    pub bottle: String,
    /// What was in it, in the result unit.
    pub assigned: Decimal,
    /// How far the result is off, percent of what was in it, with its sign; none without a result.
    pub off_percent: Option<Decimal>,
}

impl Term {
    /// Whether students see what was in their bottles: the course has chosen so, and the results are out for every
    /// section, so that nobody has still to hand in.
    pub fn shows_truth(&self, experiment: &ExperimentKey) -> bool {
        let chosen = self.sources.experiments.get(experiment);
        let out = |section: &str| self.released_to(experiment, section).is_some();
        chosen.is_some_and(|source| source.show_truth) && self.sections().into_iter().all(out)
    }

    /// What a student is told; none where the truth is not shown or not known.
    pub fn told(&self, slot: &Slot, judged: &Judged) -> Option<Told> {
        self.shows_truth(&slot.experiment)
            .then(|| Told::of(judged))
            .flatten()
    }
}

impl Told {
    /// What there is to tell, to whomever may hear it.
    pub(super) fn of(judged: &Judged) -> Option<Self> {
        let evaluation = &judged.evaluation;
        let assigned = evaluation.true_value?;
        let result = evaluation.outcome.as_ref().map(|outcome| outcome.result);
        Some(Self {
            bottle: evaluation.unknown.to_string(),
            assigned,
            off_percent: result.and_then(|result| off_percent(result, assigned)),
        })
    }
}

/// How far a value is off another, percent, with its sign.
fn off_percent(result: Decimal, assigned: Decimal) -> Option<Decimal> {
    result
        .checked_sub(assigned)?
        .checked_div(assigned)?
        .checked_mul(Decimal::ONE_HUNDRED)
}

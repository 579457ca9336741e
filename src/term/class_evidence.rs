//! What a class shows about each of its submissions.

use std::collections::{BTreeMap, HashMap};

use super::{Judged, Slot, Term};
use crate::course::Experiment;
use crate::judge::{ClassEvidence, ClassSpread, Likeness};
use crate::measure::as_f64;
use crate::stats::median;

impl Term {
    /// What everything worked up in an experiment shows about each submission.
    pub(super) fn class_evidence(
        &self,
        experiment: &Experiment,
        results: &BTreeMap<&Slot, &Judged>,
    ) -> HashMap<Slot, ClassEvidence> {
        let mut likenesses = self.likenesses_of(experiment);
        let all: Vec<(&Slot, &Judged)> = results.iter().map(|(slot, one)| (*slot, *one)).collect();
        let audit = self.audit_one(experiment, &all);
        let consensus = audit.consensus_of_groups();
        let off: Vec<f64> = audit
            .results
            .iter()
            .map(|found| {
                let shift = consensus.get(&found.slot).map_or(0.0, |c| c.percent);
                (found.observed.error_percent - shift) / found.observed.standard_percent
            })
            .collect();
        let middle = median(&off).unwrap_or(0.0);
        let between: Vec<f64> = off.iter().map(|off| off - middle).collect();
        let spread = ClassSpread::of(&within(&all), &between);
        let evidence = results.keys().map(|slot| {
            let likenesses: Vec<Likeness> =
                likenesses.remove(slot.student.as_str()).unwrap_or_default();
            let evidence = ClassEvidence {
                likenesses,
                spread,
                consensus: consensus.get(*slot).cloned(),
            };
            ((*slot).clone(), evidence)
        });
        evidence.collect()
    }
}

/// Of each student s over what reading and endpoint predict, with its degrees of freedom.
fn within(results: &[(&Slot, &Judged)]) -> Vec<(f64, usize)> {
    let ratios = results.iter().filter_map(|(_, judged)| {
        let outcome = judged.evaluation.outcome.as_ref()?;
        let predicted = as_f64(outcome.predicted_scatter?);
        let freedom = outcome.counted.checked_sub(1)?;
        (predicted > 0.0).then_some((as_f64(outcome.std_dev?) / predicted, freedom))
    });
    ratios.collect()
}

//! What a class shows about each of its submissions.

use std::collections::{BTreeMap, HashMap};

use super::{Judged, Slot, Term};
use crate::course::Experiment;
use crate::ids::StudentId;
use crate::judge::{
    ClassEvidence, ClassSpread, Consensus, EndDigits, Habits, Likeness, ScatterShare, TermScatter,
    class_scatter, pooled_digits, pooled_scatter,
};
use crate::measure::as_f64;
use crate::stats::median;

/// What the students' reports showed in the experiments of a term so far.
#[derive(Default)]
pub(super) struct TermSoFar<'a> {
    /// What each experiment is called, and what its class scatters.
    experiments: Vec<(&'a str, Option<f64>)>,
    /// By student, with the place of the experiment.
    shares: HashMap<StudentId, Vec<(usize, ScatterShare)>>,
}

impl<'a> TermSoFar<'a> {
    /// Adds the results of the experiment that comes next.
    pub fn add(&mut self, experiment: &'a Experiment, results: &BTreeMap<&Slot, &Judged>) {
        let place = self.experiments.len();
        let shares = results.iter().filter_map(|(slot, judged)| {
            let share = judged.evaluation.scatter?;
            Some((slot.student.clone(), share))
        });
        let shares: Vec<(StudentId, ScatterShare)> = shares.collect();
        let all: Vec<ScatterShare> = shares.iter().map(|(_, share)| *share).collect();
        let title = experiment.procedure.title.as_str();
        self.experiments.push((title, class_scatter(&all)));
        for (student, share) in shares {
            self.shares.entry(student).or_default().push((place, share));
        }
    }

    fn habits(&self, student: &StudentId) -> Habits {
        let shares = self.shares.get(student).map_or(&[][..], Vec::as_slice);
        let term = shares.iter().filter_map(|(place, share)| {
            let (experiment, class_s) = *self.experiments.get(*place)?;
            Some(TermScatter {
                experiment,
                share: *share,
                class_s,
            })
        });
        let term: Vec<TermScatter> = term.collect();
        let digits: Vec<EndDigits> = term.iter().map(|one| one.share.digits).collect();
        Habits {
            even_trials: pooled_scatter(&term),
            odd_digits: pooled_digits(&digits),
        }
    }
}

impl Term {
    /// What everything worked up in an experiment shows about each submission.
    pub(super) fn class_evidence(
        &self,
        experiment: &Experiment,
        results: &BTreeMap<&Slot, &Judged>,
        term: &TermSoFar,
    ) -> HashMap<Slot, ClassEvidence> {
        let mut likenesses = self.likenesses(experiment);
        let all: Vec<(&Slot, &Judged)> = results.iter().map(|(slot, one)| (*slot, *one)).collect();
        let audit = self.audit_one(experiment, &all);
        let consensus: BTreeMap<Slot, Consensus> = audit
            .shifts()
            .into_iter()
            .map(|(slot, off)| (slot, off.into()))
            .collect();
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
                habits: term.habits(&slot.student),
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

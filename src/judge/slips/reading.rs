//! Reading slips: what was written down differs from what was there, so the result is off the truth.
#![deny(clippy::wildcard_enum_match_arm)]

use rust_decimal::Decimal;

use super::glassware::other_glassware;
use super::misread::{all_upward, misread};
use super::rank::{Hypotheses, Tried, log_normal, share_weight};
use super::{Explanation, SlipCode};
use crate::chem::Formula;
use crate::columns::Column;
use crate::judge::case::Case;
use crate::measure::{as_f64, from_f64};
use crate::procedure::SampleBy;
use crate::stats::mean;
use crate::submission::Delivery;
use crate::truth::Assigned;
use crate::workup::{Of, Party, Role, StepId, TrialOutcome, WorkUp};

/// Share of a class that makes no slip, against the sum of the weights of slips.
const NO_SLIP: f64 = 150.0;
/// Weight of a mistake that is none of the slips, and how far off it leaves a result: a normal with so wide a relative
/// standard deviation.
const UNKNOWN: (f64, f64) = (1.0, 0.10);
/// How far a sample that was not measured may be from its nominal volume, relative.
const UNMEASURED: f64 = 0.03;
/// Drops that an endpoint may be overshot by in every trial.
const MOST_DROPS: i64 = 3;

/// Pieces that stand side by side differ by less than that factor.
const ON_THE_SHELF: f64 = 2.6;
/// What the trials that count look like beside the truth.
struct Seen<'w> {
    work_up: &'w WorkUp,
    trials: Vec<StepId>,
    truth: f64,
    /// Standard uncertainty that all trials share, the truth's included.
    shared: f64,
    /// Standard uncertainty of one trial by itself.
    each: f64,
}

/// Every hypothesis with its likelihood; none where the result is consistent. What is seen inside trials is set aside:
/// a trial with a slip of its own says nothing of the rest.
pub(super) fn hypotheses(
    case: &Case,
    work_up: &WorkUp,
    truth: Assigned,
    of_trials: &Explanation,
) -> Option<Hypotheses> {
    let budget = work_up.budget.as_ref()?;
    let of_trials = of_trials.likely();
    // the trials say already that every reading is another: the result cannot say more
    if of_trials.is_some_and(|slip| slip.code == SlipCode::AllReadUpward) {
        return None;
    }
    let odd = of_trials.map_or(&[][..], |slip| &slip.trials);
    let counted = || work_up.trials.iter().filter(|t| t.counted);
    let sound = |t: &&TrialOutcome| t.trial.number().is_none_or(|n| !odd.contains(&n));
    let mut trials: Vec<StepId> = counted().filter(sound).filter_map(|t| t.result).collect();
    // of two nobody knows which is wrong
    if trials.len() < 2 {
        trials = counted().filter_map(|t| t.result).collect();
    }
    let n = trials.len() as f64;
    let seen = Seen {
        work_up,
        truth: as_f64(truth.value),
        shared: budget.systematic.hypot(as_f64(truth.standard_uncertainty)),
        each: budget.predicted_random * (counted().count() as f64).sqrt(),
        trials,
    };
    let results = seen.results(&[])?;
    let off = (as_f64(mean(&results)?) - seen.truth).abs();
    let random = match budget.observed_random {
        Some(observed) if results.len() == counted().count() => observed.max(seen.each / n.sqrt()),
        _ => seen.each / n.sqrt(),
    };
    let joined = seen.shared.hypot(random);
    if off <= budget.coverage_factor * joined || seen.truth == 0.0 {
        return None;
    }
    let mut tried = seen.misread();
    tried.extend(seen.overshot(case));
    tried.extend(seen.sample_nominal(case));
    tried.extend(seen.other_unknown(case));
    tried.extend(seen.other_lot(case));
    tried.extend(seen.other_glassware());
    let results: Vec<f64> = results.iter().copied().map(as_f64).collect();
    let wide = UNKNOWN.1 * seen.truth.abs();
    let otherwise = vec![
        (
            seen.log_likelihood(&results, seen.truth, seen.shared),
            NO_SLIP,
        ),
        (
            seen.log_likelihood(&results, seen.truth, seen.shared.hypot(wide)),
            UNKNOWN.0,
        ),
    ];
    Some(Hypotheses {
        tried,
        otherwise,
        alike: joined / 5.0,
        pairs: Vec::new(),
    })
}

impl Seen<'_> {
    /// The results of the trials, with these substitutes.
    fn results(&self, substitutes: &[(StepId, Decimal)]) -> Option<Vec<Decimal>> {
        let graph = &self.work_up.graph;
        let with = |id: &StepId| graph.value_with(*id, substitutes).ok();
        self.trials.iter().map(with).collect()
    }

    /// The per-trial results as normals about the truth: a shared error and one each.
    fn log_likelihood(&self, results: &[f64], truth: f64, shared: f64) -> f64 {
        let n = results.len() as f64;
        let mean = results.iter().sum::<f64>() / n;
        let within: f64 = results.iter().map(|x| (x - mean).powi(2)).sum();
        let of_mean = shared.hypot(self.each / n.sqrt());
        let spread = -0.5 * within / self.each.powi(2) - (n - 1.0) * self.each.ln();
        log_normal(mean - truth, of_mean) + spread
    }

    /// The hypothesis that these steps should have had other values.
    fn with(
        &self,
        code: SlipCode,
        place: String,
        substitutes: &[(StepId, Decimal)],
    ) -> Option<Tried> {
        self.against(code, place, substitutes, self.truth, self.shared)
    }

    fn against(
        &self,
        code: SlipCode,
        place: String,
        substitutes: &[(StepId, Decimal)],
        truth: f64,
        shared: f64,
    ) -> Option<Tried> {
        let results = self.results(substitutes)?;
        let prediction = mean(&results)?;
        let results: Vec<f64> = results.into_iter().map(as_f64).collect();
        let n = results.len() as f64;
        let standard = shared.hypot(self.each / n.sqrt());
        Some(Tried {
            code,
            place,
            trials: Vec::new(),
            prediction,
            log_likelihood: self.log_likelihood(&results, truth, shared),
            off: (as_f64(prediction) - truth).abs() / standard,
            ways: 1,
        })
    }

    /// One reading of one trial misread, or every reading.
    fn misread(&self) -> Vec<Tried> {
        let graph = &self.work_up.graph;
        let counted = self.trials.iter().filter_map(|id| {
            let trial = self.work_up.trials.iter().find(|t| t.result == Some(*id))?;
            trial.trial.number()
        });
        let mut tried: Vec<Tried> = Vec::new();
        for trial in counted {
            for one in misread(graph, trial) {
                let found = self.with(one.code, one.place, &one.substitutes);
                tried.extend(found.map(|found| Tried {
                    trials: vec![trial],
                    ..found
                }));
            }
        }
        let mut tried = share_weight(tried);
        let upward = all_upward(graph);
        if !upward.is_empty() {
            let place = "every reading".to_owned();
            tried.extend(self.with(SlipCode::AllReadUpward, place, &upward));
        }
        tried
    }

    /// A pipette or flask of another nominal volume than the one named.
    fn other_glassware(&self) -> Vec<Tried> {
        let others = other_glassware(&self.work_up.graph, ON_THE_SHELF).into_iter();
        let tried = others.filter_map(|(place, substitute)| {
            self.with(SlipCode::WrongPipette, place, &[substitute])
        });
        share_weight(tried.collect())
    }

    fn overshot(&self, case: &Case) -> Vec<Tried> {
        let drop = case.procedure.uncertainty.drop;
        let last = self.last_ends();
        let tried = (1..=MOST_DROPS).filter_map(|drops| {
            let volume = drop.checked_mul(Decimal::from(drops))?;
            let less = |id: &StepId| {
                let end = self.work_up.graph.value(*id).checked_sub(volume)?;
                Some((*id, end))
            };
            let substitutes: Option<Vec<_>> = last.iter().map(less).collect();
            let substitutes = substitutes.filter(|s| !s.is_empty())?;
            let place = format!("{drops} drops, {volume} mL in every trial");
            self.with(SlipCode::Overshoot, place, &substitutes)
        });
        share_weight(tried.collect())
    }

    /// The last end reading of each titration of a trial.
    fn last_ends(&self) -> Vec<StepId> {
        let mut last: Vec<(Of, Delivery, StepId)> = Vec::new();
        for (id, step) in self.work_up.graph.steps() {
            let (of, role) = (step.quantity.of, step.quantity.role);
            let Role::BuretteEnd(delivery) = role else {
                continue;
            };
            if !of.is_trial() || delivery == Delivery::Excess {
                continue;
            }
            match last
                .iter_mut()
                .find(|(row, portion, _)| (*row, *portion) == (of, delivery))
            {
                Some((.., known)) => *known = id,
                None => last.push((of, delivery, id)),
            }
        }
        last.into_iter().map(|(.., id)| id).collect()
    }

    /// Every sample volume written is the nominal one, as it would be if it had not been looked at.
    fn sample_nominal(&self, case: &Case) -> Option<Tried> {
        let procedure = case.procedure;
        if procedure.sample.by != SampleBy::Volume || !procedure.reads_sample_volume() {
            return None;
        }
        let mut volumes = case
            .hand_in
            .numbered()
            .filter_map(|(_, t)| Column::SampleVolume.get(t));
        if !volumes.all(|v| v.value() == procedure.sample.nominal) {
            return None;
        }
        let results = self.results(&[])?;
        let found = as_f64(mean(&results)?);
        let results: Vec<f64> = results.into_iter().map(as_f64).collect();
        let shared = self.shared.hypot(UNMEASURED * self.truth.abs());
        let standard = shared.hypot(self.each / (results.len() as f64).sqrt());
        Some(Tried {
            code: SlipCode::SampleNominal,
            place: format!("{} mL in every trial", procedure.sample.nominal),
            trials: Vec::new(),
            prediction: from_f64(self.truth, 12)?,
            log_likelihood: self.log_likelihood(&results, self.truth, shared),
            off: (found - self.truth).abs() / standard,
            ways: 1,
        })
    }

    fn other_unknown(&self, case: &Case) -> Vec<Tried> {
        let own = case.marked_against().map(|unknown| unknown.code.as_str());
        let others = case
            .unknowns
            .values()
            .filter(|u| Some(u.code.as_str()) != own);
        let mut tried: Vec<Tried> = others
            .filter_map(|unknown| {
                let truth = *unknown.truth.open();
                let truth = match &case.class.consensus {
                    Some(consensus) => consensus.of_other(truth)?,
                    None => truth,
                };
                let (value, code) = (as_f64(truth.value), &unknown.code);
                self.against(
                    SlipCode::OtherUnknown,
                    code.to_string(),
                    &[],
                    value,
                    self.shared,
                )
            })
            .collect();
        let ways = tried.len();
        tried.iter_mut().for_each(|t| t.ways = ways);
        tried
    }

    fn other_lot(&self, case: &Case) -> Vec<Tried> {
        let Some((species, _)) = case.procedure.lot_reagent() else {
            return Vec::new();
        };
        let of_titrant = [Party::Titrant, Party::Stock].map(Role::Molarity);
        let steps = self.work_up.graph.steps();
        let molarities = steps.filter(|(_, step)| of_titrant.contains(&step.quantity.role));
        let molarities: Vec<StepId> = molarities.map(|(id, _)| id).collect();
        let standards = case.taken_over().into_iter();
        let standards = standards.flat_map(|line| &line.standards);
        let rows = case.hand_in.titrations.iter().chain(standards);
        let mut used: Vec<&str> = rows
            .filter_map(|row| case.lots_of(row).0)
            .map(|lot| lot.code.as_str())
            .collect();
        used.dedup();
        let of_it = |reagent: &str| Formula::parse(reagent).is_ok_and(|f| f == *species);
        let others = case
            .lots
            .values()
            .filter(|lot| !used.contains(&lot.code.as_str()) && of_it(&lot.reagent));
        let tried: Vec<Tried> = others
            .filter_map(|lot| {
                let substitutes: Vec<_> = molarities
                    .iter()
                    .map(|id| (*id, lot.molarity.value))
                    .collect();
                let substitutes = Some(substitutes).filter(|s| !s.is_empty())?;
                self.with(SlipCode::OtherLot, lot.code.to_string(), &substitutes)
            })
            .collect();
        share_weight(tried)
    }
}

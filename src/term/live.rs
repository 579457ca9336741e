//! What the results of an experiment say of its lots and bottles while they come in.

use std::collections::BTreeSet;

use jiff::Timestamp;
use rust_decimal::Decimal;

use super::{BySlot, Judged, Slot, Term};
use crate::course::Experiment;
use crate::ids::{LotCode, UnknownCode};
use crate::judge::{
    DefaultLots, LiveCall, LiveResult, LiveValues, ProvingReadings, live_calls, live_result,
};
use crate::measure::as_f64;
use crate::submission::HandIn;
use crate::truth::Assigned;

/// Chance that anything of a course is called off falsely, all looks at all of its experiments together.
const ERROR: f64 = 0.01;

/// Trials that were sent and are not handed in.
#[derive(Clone, Debug)]
pub struct SentReadings {
    pub slot: Slot,
    pub readings: HandIn,
    pub at: Timestamp,
}

/// What a careful person's readings are worth, whatever came of them: standard deviations in percent, of one trial among
/// others and of a result of two trials.
struct Care {
    trial: f64,
    result: f64,
}

impl Care {
    fn of(result: f64, systematic: f64, scatter: f64) -> Self {
        let percent = 100.0 / result.abs();
        Self {
            trial: percent * scatter,
            result: percent * (systematic + scatter * scatter / 2.0).sqrt(),
        }
    }
}

impl Term {
    /// The lots and bottles that look off by what is handed in and by trials sent before; those of somebody who has
    /// handed in count for nothing.
    pub fn live_calls(
        &self,
        experiment: &Experiment,
        judged: &BySlot<Judged>,
        sent: &[SentReadings],
    ) -> Vec<LiveCall> {
        let results = self.live_results(experiment, judged, sent);
        let error = ERROR / self.experiments.len().max(1) as f64;
        live_calls(&results, &self.live_values(experiment), error)
    }

    /// What each student's readings say so far.
    pub fn live_results(
        &self,
        experiment: &Experiment,
        judged: &BySlot<Judged>,
        sent: &[SentReadings],
    ) -> Vec<LiveResult> {
        let handed_in = judged.of_experiment(&experiment.key);
        let mut results: Vec<LiveResult> = handed_in
            .filter_map(|(slot, one)| self.live_of_judged(experiment, slot, one))
            .collect();
        let defaults = match sent.is_empty() {
            true => Default::default(),
            false => self.default_lots_by_section(experiment),
        };
        let still_at_work = sent
            .iter()
            .filter(|one| one.slot.experiment == experiment.key && !judged.contains_key(&one.slot));
        results.extend(still_at_work.filter_map(|one| {
            let student = self.student(&one.slot.student)?;
            let section = self.works_in(&experiment.key, student);
            let lots = defaults.get(section).cloned().unwrap_or_default();
            self.live_of_sent(experiment, one, &lots)
        }));
        results
    }

    fn live_of_judged(
        &self,
        experiment: &Experiment,
        slot: &Slot,
        judged: &Judged,
    ) -> Option<LiveResult> {
        let (reader, revisions) = self.handed_in_by(slot)?;
        // mates of a bench group share one set of readings
        if reader != slot {
            return None;
        }
        let evaluation = &judged.evaluation;
        let outcome = evaluation.outcome.as_ref()?;
        let truth = as_f64(evaluation.true_value?);
        let random = |scatter: Option<Decimal>| {
            scatter.map_or(0.0, as_f64).powi(2) / outcome.counted.max(1) as f64
        };
        let predicted = outcome.predicted_scatter;
        let systematic = as_f64(outcome.standard_uncertainty).powi(2)
            - random(outcome.std_dev).max(random(predicted));
        let care = Care::of(
            as_f64(outcome.result),
            systematic.max(0.0),
            predicted.map_or(0.0, as_f64),
        );
        let hand_in = &revisions.last()?.hand_in;
        let rows = hand_in.titrations.iter().zip(&evaluation.trials);
        let trials = rows.filter(|(row, _)| row.trial.number().is_some() && row.spoiled.is_none());
        let trials: Vec<f64> = trials
            .filter_map(|(_, trial)| Some(100.0 * (as_f64(trial.result?) / truth - 1.0)))
            .collect();
        let first = revisions
            .iter()
            .find_map(|one| one.submitted_at.or_else(|| one.hand_in.submitted_at()));
        let zone = &self.course.zone;
        let day = first.map_or(experiment.dates.due.date(), |at| zone.local(at).date());
        let lots = evaluation.titrant_lots().map(LotCode::new);
        let excess = hand_in
            .titrations
            .iter()
            .filter_map(|row| row.excess_lot.clone());
        let bottle = self.bottle(experiment, &evaluation.unknown)?;
        Some(LiveResult {
            lots: lots.chain(excess).collect(),
            bottle,
            section: self
                .works_in(&slot.experiment, self.student(&slot.student)?)
                .clone(),
            day,
            error_percent: live_result(&trials, care.trial, true)?,
            standard_percent: care.result,
        })
    }

    fn live_of_sent(
        &self,
        experiment: &Experiment,
        sent: &SentReadings,
        defaults: &DefaultLots,
    ) -> Option<LiveResult> {
        let written = sent.readings.unknown_written();
        let code = written.or_else(|| self.issued.get(&sent.slot))?;
        let bottle = self.bottle(experiment, code)?;
        let unknown = self.unknowns.get(&experiment.key)?.get(&bottle)?;
        let truth = as_f64(unknown.truth.open().value);
        let mut readings = sent.readings.clone();
        for row in &mut readings.titrations {
            row.lot = row.lot.take().or_else(|| defaults.titrant.clone());
            row.excess_lot = row.excess_lot.take().or_else(|| defaults.excess.clone());
        }
        let done = ProvingReadings {
            procedure: &experiment.procedure,
            hand_in: &readings,
            lots: &self.lots,
        }
        .work_up();
        let value = as_f64(done.value()?);
        let systematic = done.budget.as_ref()?.systematic.powi(2);
        let care = Care::of(value, systematic, done.predicted_scatter.unwrap_or(0.0));
        let rows = readings.titrations.iter().zip(&done.trials);
        let trials = rows.filter(|(row, _)| row.trial.number().is_some() && row.spoiled.is_none());
        let results = trials.filter_map(|(_, trial)| Some(as_f64(done.graph.value(trial.result?))));
        let trials: Vec<f64> = results.map(|one| 100.0 * (one / truth - 1.0)).collect();
        let rows = &readings.titrations;
        let lots = rows
            .iter()
            .flat_map(|row| [row.lot.clone(), row.excess_lot.clone()]);
        let known = |code: &LotCode| self.lots.contains_key(code);
        let student = self.student(&sent.slot.student)?;
        Some(LiveResult {
            lots: lots.flatten().filter(known).collect(),
            bottle,
            section: self.works_in(&experiment.key, student).clone(),
            day: self.course.zone.local(sent.at).date(),
            error_percent: live_result(&trials, care.trial, false)?,
            standard_percent: care.result,
        })
    }

    /// A bottle as it is written on its label, whatever capitals somebody wrote.
    fn bottle(&self, experiment: &Experiment, code: &str) -> Option<UnknownCode> {
        let bottles = self.unknowns.get(&experiment.key)?;
        let mut codes = bottles.keys();
        codes
            .find(|known| known.eq_ignore_ascii_case(code))
            .cloned()
    }

    /// Everything of an experiment that may be called off.
    pub fn live_values(&self, experiment: &Experiment) -> LiveValues {
        let percent = |value: &Assigned| {
            100.0 * as_f64(value.standard_uncertainty) / as_f64(value.value).abs()
        };
        let species: BTreeSet<String> = experiment
            .procedure
            .reagents_in_lots()
            .map(ToString::to_string)
            .collect();
        let is_used = |lot: &&crate::truth::Lot| {
            let formula = crate::chem::Formula::parse(&lot.reagent);
            formula.is_ok_and(|formula| species.contains(&formula.to_string()))
        };
        let lots = self.lots.values().filter(is_used);
        let bottles = self.unknowns.get(&experiment.key).into_iter().flatten();
        LiveValues {
            lots: lots
                .map(|lot| (lot.code.clone(), percent(&lot.molarity)))
                .collect(),
            bottles: bottles
                .map(|(code, unknown)| (code.clone(), percent(unknown.truth.open())))
                .collect(),
        }
    }
}

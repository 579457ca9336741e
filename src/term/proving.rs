//! Bottles and lots that staff have titrated before students get them, beside their records.

use jiff::Timestamp;

use super::Term;
use crate::changes::{Proves, ProvingTrial};
use crate::course::Experiment;
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::judge::{KnownValue, ProvedDifference, ProvingReadings, joined};
use crate::submission::HandIn;
use crate::text::Toml;
use crate::truth::{Assigned, Bottle};
use crate::workup::WorkUp;

/// A run worked up. It holds a value by titration: it is for staff.
#[derive(Clone, Debug)]
pub struct ProvedRun {
    pub experiment: ExperimentKey,
    pub run: u32,
    pub bottle: Bottle,
    pub by: String,
    /// When its last reading was entered.
    pub at: Option<Timestamp>,
    pub hand_in: HandIn,
    pub work_up: WorkUp,
    /// What it finds; none before a trial counts.
    pub titrated: Option<KnownValue>,
    /// Beside the value of today; none where that rests on the run itself, or there is none.
    pub difference: Option<ProvedDifference>,
}

impl ProvedRun {
    pub fn disagrees(&self) -> bool {
        self.difference
            .is_some_and(|difference| difference.disagrees())
    }
}

impl Term {
    /// The runs of an experiment, in order.
    pub fn proving_runs(&self, experiment: &Experiment) -> Vec<ProvedRun> {
        let trials = self
            .proving
            .get(&experiment.key)
            .map_or(&[][..], Vec::as_slice);
        let mut numbers: Vec<u32> = trials.iter().map(|trial| trial.run).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let run = |number| {
            let own = trials.iter().filter(|trial| trial.run == number);
            self.proved_run(experiment, number, &own.collect::<Vec<_>>())
        };
        numbers.into_iter().filter_map(run).collect()
    }

    /// The runs that put a bottle or a lot to the test, the last one last.
    pub fn runs_on(&self, bottle: &Bottle) -> Vec<ProvedRun> {
        let is_of = |experiment: &&Experiment| match bottle {
            Bottle::Lot(_) => true,
            Bottle::Unknown {
                experiment: key, ..
            } => experiment.key == *key,
        };
        let experiments = self.experiments.iter().filter(is_of);
        let mut runs: Vec<ProvedRun> = experiments
            .flat_map(|experiment| self.proving_runs(experiment))
            .filter(|run| run.bottle == *bottle)
            .collect();
        runs.sort_by_key(|run| run.at);
        runs
    }

    /// The value of a bottle joined with what its runs find, where they agree with it.
    pub fn joined_with_runs(&self, bottle: &Bottle) -> Option<Assigned> {
        let record = self.known_value(bottle)?;
        let runs = self.runs_on(bottle);
        let compared: Vec<&ProvedRun> =
            runs.iter().filter(|run| run.difference.is_some()).collect();
        if compared.is_empty() || compared.iter().any(|run| run.disagrees()) {
            return None;
        }
        let found = compared.iter().filter_map(|run| run.titrated.as_ref());
        joined(&std::iter::once(&record).chain(found).collect::<Vec<_>>())
    }

    /// The bottles of an experiment whose last run disagrees with what they are assigned.
    pub fn disagreeing(&self, experiment: &ExperimentKey) -> Vec<UnknownCode> {
        let Some(experiment) = self.experiment(experiment) else {
            return Vec::new();
        };
        let mut codes: Vec<UnknownCode> = Vec::new();
        for run in self.proving_runs(experiment) {
            if let Bottle::Unknown { code, .. } = &run.bottle
                && run.difference.is_some()
            {
                codes.retain(|known| known != code);
                codes.extend(run.disagrees().then(|| code.clone()));
            }
        }
        codes
    }

    fn proved_run(
        &self,
        experiment: &Experiment,
        number: u32,
        trials: &[&ProvingTrial],
    ) -> Option<ProvedRun> {
        let first = trials.first()?;
        let row = &first.titration;
        let bottle = match first.proves {
            Proves::Unknown => Bottle::unknown(&experiment.key, row.unknown.as_ref()?),
            Proves::Lot => Bottle::Lot(row.lot.clone()?),
        };
        let mut titrations: Vec<_> = trials.iter().map(|trial| trial.titration.clone()).collect();
        titrations.sort_by_key(|titration| match titration.trial.number() {
            None => (0, titration.trial),
            Some(_) => (1, titration.trial),
        });
        let hand_in = HandIn {
            titrations,
            ..HandIn::default()
        };
        let readings = ProvingReadings {
            procedure: &experiment.procedure,
            hand_in: &hand_in,
            lots: &self.lots,
        };
        let titrated = match &bottle {
            Bottle::Lot(code) if !experiment.procedure.is_standardisation() => {
                let unknown = Bottle::unknown(&experiment.key, row.unknown.as_ref()?);
                let unknown = self.known_value(&unknown);
                let lot = self.lots.get(code).zip(unknown);
                lot.and_then(|(lot, unknown)| readings.molarity(lot, &unknown))
            }
            _ => readings.result(),
        };
        let is_independent = |version: u32| version <= first.version || self.has_record(&bottle);
        let record = self
            .version(&bottle)
            .filter(|version| is_independent(*version));
        let record = record.and_then(|_| self.known_value(&bottle));
        Some(ProvedRun {
            experiment: experiment.key.clone(),
            run: number,
            by: first.by.clone(),
            at: trials.iter().filter_map(|trial| trial.at).max(),
            work_up: readings.work_up(),
            difference: record
                .zip(titrated.as_ref())
                .and_then(|(record, found)| record.beside(found)),
            titrated,
            bottle,
            hand_in,
        })
    }

    /// Which version of its value a bottle has.
    pub fn version(&self, bottle: &Bottle) -> Option<u32> {
        match bottle {
            Bottle::Lot(code) => self.lots.get(code).map(|lot| lot.version),
            Bottle::Unknown { experiment, code } => {
                let unknown = self.unknowns.get(experiment)?.get(code)?;
                Some(unknown.version)
            }
        }
    }

    fn has_record(&self, bottle: &Bottle) -> bool {
        self.record(bottle).is_some()
    }

    fn record(&self, bottle: &Bottle) -> Option<&String> {
        match bottle {
            Bottle::Lot(code) => self.sources.lots.get(code),
            Bottle::Unknown { experiment, code } => {
                let named = (experiment.clone(), code.clone());
                self.sources.unknowns.get(&named)
            }
        }
    }

    /// What a bottle is assigned, with the lot that its value rests on.
    fn known_value(&self, bottle: &Bottle) -> Option<KnownValue> {
        match bottle {
            Bottle::Lot(code) => {
                let lot = self.lots.get(code)?;
                Some(KnownValue::recorded(lot.molarity, Some(code)))
            }
            Bottle::Unknown { experiment, code } => {
                let unknown = self.unknowns.get(experiment)?.get(code)?;
                let stock = self.record(bottle).and_then(|text| self.stock_of(text));
                Some(KnownValue::recorded(*unknown.truth.open(), stock))
            }
        }
    }

    /// The lot of the course that a record was diluted from: one of the same reagent with the same value.
    fn stock_of(&self, record: &str) -> Option<&LotCode> {
        let read = Toml::read("record", record, |root| {
            let stocks = root.tables("unknown", |unknown| {
                unknown.table("prepared", |prepared| {
                    let molarity = prepared.parsed_if_any("stock_mol_per_L", crate::text::decimal);
                    let formula = prepared.text_if_any("formula");
                    Some((molarity?, formula?))
                })
            });
            stocks.into_iter().flatten().next()
        });
        let (molarity, formula) = read.ok()??;
        let mut lots = self.lots.values();
        let is_it =
            |lot: &&crate::truth::Lot| lot.molarity.value == molarity && lot.reagent == formula;
        lots.find(is_it).map(|lot| &lot.code)
    }
}

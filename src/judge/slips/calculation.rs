//! Calculation slips: the readings are right as far as the answer goes, the arithmetic is not.

use rust_decimal::Decimal;

use super::SlipCode;
use super::glassware::other_glassware;
use super::rank::{Hypotheses, Tried, log_normal};
use crate::judge::agreement::Agreement;
use crate::judge::case::Case;
use crate::measure::as_f64;
use crate::stats::mean;
use crate::submission::{HandIn, TrialLabel};
use crate::workup::{Of, Party, Role, Step, StepId, WorkUp, WorkUpInput, work_up};

/// What a careful calculation may still be off, relative: figures dropped on the way (common practice).
const ROUNDING: f64 = 0.000_5;
/// Weight of a mistake that is none of the slips; it may leave an answer anywhere within some factor of ten.
const UNKNOWN: f64 = 1.0;
const ANYWHERE: f64 = std::f64::consts::LN_10 * 2.0;
/// How seldom a second slip comes beside a first.
const RARE: f64 = 0.02;
/// Volumes taken for one another in a sum differ by less than that factor: half or twice as much would be a forgotten step.
const IN_A_SUM: f64 = 2.0;

pub(super) struct Answer<'w> {
    pub(super) case: &'w Case<'w>,
    pub(super) work_up: &'w WorkUp,
    pub(super) mean: StepId,
    pub(super) tried: Vec<(SlipCode, String, Decimal)>,
}

/// Every hypothesis with its likelihood, and what else there could be; none where the answer agrees.
pub(super) fn hypotheses(case: &Case, work_up: &WorkUp) -> Option<Hypotheses> {
    let reported = case.hand_in.reported.as_ref()?;
    if Agreement::of(case.procedure, work_up, reported)?.agrees || reported.value().is_zero() {
        return None;
    }
    let (answer, half_unit) = (as_f64(reported.value()), as_f64(reported.last_unit()) / 2.0);
    let value = work_up.value()?;
    // right, and written too coarsely: that is no slip of calculation
    if (answer - as_f64(value)).abs() <= half_unit * (1.0 + 1e-9) {
        return None;
    }
    let predictions = predictions(case, work_up);
    let tried = |code: SlipCode, place: &str, prediction: Decimal, ways: usize| {
        let value = as_f64(prediction);
        // rounding of the answer is rectangular: half a unit over √3
        let standard = (half_unit / 3f64.sqrt()).hypot(ROUNDING * value.abs());
        if standard <= 0.0 || !value.is_finite() {
            return None;
        }
        let off = (answer - value).abs() / standard;
        Some(Tried {
            code,
            place: place.to_owned(),
            trials: Vec::new(),
            prediction,
            log_likelihood: log_normal(off * standard, standard),
            off,
            ways,
        })
    };
    let ways = |code: SlipCode| {
        predictions
            .iter()
            .filter(|(other, ..)| *other == code)
            .count()
    };
    let single = predictions.iter();
    let single = single.filter_map(|(code, place, value)| tried(*code, place, *value, ways(*code)));
    let factors = predictions.iter().filter(|(code, ..)| code.is_factor());
    let pairs = factors.clone().enumerate().flat_map(|(index, first)| {
        let later = factors.clone().skip(index.saturating_add(1));
        let later = later.filter(|second| second.0 != first.0);
        later.filter_map(|second| {
            // factors of one product: each changes the answer in its own proportion
            let both = first.2.checked_mul(second.2)?.checked_div(value)?;
            let place = [first.1.as_str(), "and", second.0.words(), second.1.as_str()];
            let place = place.into_iter().filter(|words| !words.is_empty());
            let ways = ways(first.0).checked_mul(ways(second.0))?;
            let two = tried(first.0, &place.collect::<Vec<_>>().join(" "), both, ways)?;
            // both had to happen: the weight of the second comes on top
            let log_likelihood = two.log_likelihood + (second.0.weight() * RARE).ln();
            Some(Tried {
                log_likelihood,
                ..two
            })
        })
    });
    // somewhere within two powers of ten, in proportion
    let unknown = -(answer.abs() * ANYWHERE).ln();
    Some(Hypotheses {
        tried: single.collect(),
        pairs: pairs.collect(),
        otherwise: vec![(unknown, UNKNOWN)],
        alike: half_unit.max(ROUNDING * as_f64(value).abs() / 5.0),
    })
}

/// What the answer would be with each slip, with where it is made.
fn predictions(case: &Case, work_up: &WorkUp) -> Vec<(SlipCode, String, Decimal)> {
    let Some(mean) = work_up.result else {
        return Vec::new();
    };
    let mut answer = Answer {
        case,
        work_up,
        mean,
        tried: Vec::new(),
    };
    answer.volumes();
    answer.factors();
    answer.trials();
    answer.expressed();
    answer.rounded();
    answer.tried
}

impl Answer<'_> {
    pub(super) fn steps(&self, wanted: impl Fn(&Step) -> bool) -> Vec<StepId> {
        let steps = self.work_up.graph.steps();
        steps
            .filter(|(_, step)| wanted(step))
            .map(|(id, _)| id)
            .collect()
    }

    pub(super) fn with_role(&self, wanted: impl Fn(Role) -> bool) -> Vec<StepId> {
        self.steps(|step| wanted(step.quantity.role))
    }

    /// The same among those of numbered trials.
    pub(super) fn of_trials(&self, wanted: impl Fn(Role) -> bool) -> Vec<StepId> {
        self.steps(|step| step.quantity.of.is_trial() && wanted(step.quantity.role))
    }

    /// The row a step belongs to.
    fn row(&self, id: StepId) -> Of {
        self.work_up.graph.get(id).quantity.of
    }

    pub(super) fn value(&self, id: StepId) -> Decimal {
        self.work_up.graph.value(id)
    }

    /// The answer if these steps had these values.
    pub(super) fn with(
        &mut self,
        code: SlipCode,
        place: impl Into<String>,
        substitutes: &[(StepId, Decimal)],
    ) {
        let changes = substitutes
            .iter()
            .any(|(id, value)| self.value(*id) != *value);
        if !changes {
            return;
        }
        if let Ok(prediction) = self.work_up.graph.value_with(self.mean, substitutes) {
            self.tried.push((code, place.into(), prediction));
        }
    }

    fn counted(&self) -> Vec<u32> {
        let trials = self.work_up.trials.iter().filter(|t| t.counted);
        trials.filter_map(|t| t.trial.number()).collect()
    }

    fn volumes(&mut self) {
        let starts = self.of_trials(|role| matches!(role, Role::BuretteStart(_)));
        let zero = |ids: &[StepId]| {
            ids.iter()
                .map(|id| (*id, Decimal::ZERO))
                .collect::<Vec<_>>()
        };
        self.with(SlipCode::EndNotDifference, "", &zero(&starts));
        for n in self.counted() {
            let own: Vec<StepId> = starts
                .iter()
                .copied()
                .filter(|id| self.row(*id) == Of::Trial(n))
                .collect();
            // with one trial it is the slip before
            if self.counted().len() > 1 {
                self.with(
                    SlipCode::StartNotZeroIgnored,
                    format!("trial {n}"),
                    &zero(&own),
                );
            }
        }
        // what goes into the amount: the volume less its blank where there is one
        let mut used = self.of_trials(|role| role == Role::Net);
        if used.is_empty() {
            used = self.of_trials(|role| matches!(role, Role::Delivered(_) | Role::Equivalence));
        }
        let samples = self.with_role(|role| role == Role::SampleVolume);
        let times = |this: &Self, ids: &[StepId], factor: Decimal| {
            let scaled = |id: &StepId| Some((*id, this.value(*id).checked_mul(factor)?));
            ids.iter().filter_map(scaled).collect::<Vec<_>>()
        };
        for (volumes, place) in [(&used, "titrant"), (&samples, "sample")] {
            for (factor, words) in [
                (Decimal::ONE_THOUSAND, "mL taken for L"),
                (Decimal::new(1, 3), "L taken for mL"),
            ] {
                let substitutes = times(self, volumes, factor);
                self.with(
                    SlipCode::MillilitresAsLitres,
                    format!("{place}, {words}"),
                    &substitutes,
                );
            }
        }
        let mut exchanged = Vec::new();
        for id in &used {
            let rows = [self.row(*id), Of::All];
            let own = samples.iter().find(|s| rows.contains(&self.row(**s)));
            if let Some(sample) = own {
                exchanged.push((*id, self.value(*sample)));
                exchanged.push((*sample, self.value(*id)));
            }
        }
        // a sample in a single-mark piece stands once for all trials: then no one substitution does it
        if samples.iter().all(|s| self.row(*s) != Of::All) {
            self.with(SlipCode::VolumesExchanged, "", &exchanged);
        } else {
            self.exchanged_trial_by_trial(&used, &samples);
        }
        let own = self.case.procedure.scheme.slips(&self.work_up.graph);
        if own.iter().all(|slip| slip.code != SlipCode::BlankOmitted) {
            let blank = self.blank_steps();
            self.with(SlipCode::BlankOmitted, "", &zero(&blank));
        }
        for slip in own {
            self.with(slip.code, slip.place, &slip.instead);
        }
    }

    /// Each trial's result with the shared sample volume and its own titre exchanged, and their mean.
    fn exchanged_trial_by_trial(&mut self, used: &[StepId], samples: &[StepId]) {
        let Some(sample) = samples.first() else {
            return;
        };
        let graph = &self.work_up.graph;
        let results: Option<Vec<Decimal>> = self
            .work_up
            .trials
            .iter()
            .filter(|t| t.counted)
            .map(|t| {
                let own = used.iter().find(|id| {
                    let number = t.trial.number();
                    number.is_some_and(|n| self.row(**id) == Of::Trial(n))
                })?;
                let substitutes = [(*own, graph.value(*sample)), (*sample, graph.value(*own))];
                graph.value_with(t.result?, &substitutes).ok()
            })
            .collect();
        if let Some(prediction) = results.and_then(|results| mean(&results)) {
            self.tried
                .push((SlipCode::VolumesExchanged, String::new(), prediction));
        }
    }

    /// The blank as it is subtracted: the mean, or the only one.
    fn blank_steps(&self) -> Vec<StepId> {
        if self.case.procedure.uses_excess_lot() {
            // there the blank finds what was added, and nothing would be left without it
            return Vec::new();
        }
        self.work_up.blanks.clone()
    }

    /// Slips with ratios, molarities, aliquots.
    fn factors(&mut self) {
        for id in self.with_role(Role::is_ratio) {
            let (value, label) = (self.value(id), self.work_up.graph.get(id).quantity.label());
            if let Some(inverse) = Decimal::ONE.checked_div(value) {
                self.with(SlipCode::RatioInverted, label.clone(), &[(id, inverse)]);
            }
            self.with(SlipCode::RatioIgnored, label, &[(id, Decimal::ONE)]);
        }
        let procedure = self.case.procedure;
        let titrant = procedure.lot_reagent();
        let excess = procedure.excess().map(|e| (&e.species, e.nominal));
        let mut both = Vec::new();
        for (parties, reagent) in [
            ([Party::Titrant, Party::Stock].as_slice(), titrant),
            (&[Party::Excess], excess),
        ] {
            let Some((species, nominal)) = reagent else {
                continue;
            };
            let of_reagent = |role| parties.iter().any(|p| role == Role::Molarity(*p));
            let labels = self.with_role(of_reagent).into_iter();
            let labels: Vec<(StepId, Decimal)> = labels.map(|id| (id, nominal)).collect();
            self.with(SlipCode::NominalMolarity, species.to_string(), &labels);
            both.extend(labels);
        }
        if excess.is_some() {
            self.with(SlipCode::NominalMolarity, "both labels", &both);
        }
        self.dilutions();
        for (place, substitute) in other_glassware(&self.work_up.graph, IN_A_SUM) {
            self.with(SlipCode::WrongPipette, place, &[substitute]);
        }
        let mut remainders = Vec::new();
        for used in self.with_role(|role| role == Role::ExcessUsed) {
            let left = self.work_up.graph.find(Role::ExcessLeft, self.row(used));
            remainders.extend(left.map(|left| (used, self.value(left))));
        }
        self.with(SlipCode::BackNotSubtracted, "", &remainders);
    }

    /// A dilution forgotten: the part taken for the whole flask, what the flask holds for the sample, what was pipetted
    /// for what was made of it and measured; or all of them at once.
    fn dilutions(&mut self) {
        let value = |steps: Vec<StepId>| steps.first().map(|id| (*id, self.value(*id)));
        let flask = value(self.with_role(|role| role == Role::SampleFlask));
        let aliquot = value(self.with_role(|role| role == Role::Aliquot));
        let measured = self.of_trials(|role| role == Role::MeasuredFlask);
        let volumes = self.with_role(|role| role == Role::SampleVolume);
        let (Some((_, flask)), Some((aliquot, part))) = (flask, aliquot) else {
            // what was made of the sample and measured, for the sample
            let own = |id: &StepId| {
                let rows = [self.row(*id), Of::All];
                let sample = volumes.iter().find(|v| rows.contains(&self.row(**v)))?;
                Some((*id, self.value(*sample)))
            };
            let of_sample: Vec<_> = measured.iter().filter_map(own).collect();
            let place = "what was measured for the sample";
            self.with(SlipCode::DilutionOmitted, place, &of_sample);
            return;
        };
        let of_measured: Vec<_> = measured.iter().map(|id| (*id, part)).collect();
        let of_sample: Vec<_> = volumes.iter().map(|id| (*id, flask)).collect();
        self.with(SlipCode::DilutionOmitted, "", &[(aliquot, flask)]);
        self.with(
            SlipCode::DilutionOmitted,
            "the flask for the sample",
            &of_sample,
        );
        self.with(
            SlipCode::DilutionOmitted,
            "the second dilution",
            &of_measured,
        );
        if !of_measured.is_empty() {
            let all = [of_sample, of_measured].concat();
            self.with(SlipCode::DilutionOmitted, "both dilutions", &all);
        }
    }

    /// Slips about which trials are averaged.
    fn trials(&mut self) {
        let result = |t: &crate::workup::TrialOutcome| Some((t.trial, self.value(t.result?)));
        let all: Vec<(TrialLabel, Decimal)> =
            self.work_up.trials.iter().filter_map(result).collect();
        let counted: Vec<Decimal> = self
            .work_up
            .trials
            .iter()
            .filter(|t| t.counted)
            .filter_map(|t| t.result)
            .map(|id| self.value(id))
            .collect();
        if all.len() > 1 {
            for (trial, value) in &all {
                self.tried
                    .push((SlipCode::OneTrialOnly, format!("trial {trial}"), *value));
            }
        }
        let rejected = self
            .work_up
            .trials
            .iter()
            .filter(|t| !t.counted && t.result.is_some());
        let mut extra: Vec<(String, Decimal)> = rejected
            .filter_map(|t| Some((format!("trial {}", t.trial), self.value(t.result?))))
            .collect();
        extra.extend(
            self.rough()
                .map(|value| ("the rough titration".to_owned(), value)),
        );
        for (place, value) in &extra {
            let with: Vec<Decimal> = counted.iter().copied().chain([*value]).collect();
            if let Some(prediction) = mean(&with) {
                self.tried
                    .push((SlipCode::RoughIncluded, place.clone(), prediction));
            }
        }
        if extra.len() > 1 {
            let with: Vec<Decimal> = counted
                .iter()
                .copied()
                .chain(extra.iter().map(|e| e.1))
                .collect();
            if let Some(prediction) = mean(&with) {
                self.tried
                    .push((SlipCode::RoughIncluded, "all of them".into(), prediction));
            }
        }
    }

    /// The result of the rough titration, as if it had been a trial.
    fn rough(&self) -> Option<Decimal> {
        let rows = &self.case.hand_in.titrations;
        let index = rows.iter().position(|row| row.trial == TrialLabel::Rough)?;
        let mut row = rows.get(index)?.clone();
        row.trial = TrialLabel::Numbered(1);
        let mut titrations = vec![row];
        titrations.extend(
            rows.iter()
                .filter(|r| r.trial == TrialLabel::Blank)
                .cloned(),
        );
        let lots: Vec<_> = titrations
            .iter()
            .map(|row| self.case.lots_of(row))
            .collect();
        let hand_in = HandIn {
            titrations,
            ..HandIn::default()
        };
        let done = work_up(WorkUpInput {
            procedure: self.case.procedure,
            hand_in: &hand_in,
            lots: &lots,
            left_out: &Default::default(),
        });
        done.value()
    }
}

//! One submission judged: worked up, compared with the truth, marked, flagged.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use smol_str::SmolStr;

use super::agreement::Agreement;
use super::carried::{AsAssigned, CarriedOutcome, follows_from_answered};
use super::case::{Case, relative_error};
use super::class::ClassEvidence;
use super::flags::Flag;
use super::habits::ScatterShare;
use super::marks::{Marked, Marks, marks};
use super::raise::{Slips, flags};
use super::slips::{self, Explanation};
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::language::Message;
use crate::measure::from_f64;
use crate::submission::TrialLabel;
use crate::text::exact;
use crate::truth::{Lot, Unknown};
use crate::workup::WorkUp;

/// The judgement of one submission. For staff: its figures give the truth away, so students see none of it before
/// release but what [`WorkUp`] holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Evaluation {
    /// Code of the unknown it is marked against; empty if none is known.
    pub unknown: SmolStr,
    /// The assigned values used: lots, then the unknown.
    #[serde(deserialize_with = "exact")]
    pub versions: Vec<UsedVersion>,
    #[serde(deserialize_with = "exact")]
    pub trials: Vec<TrialView>,
    /// Figures of the result; none if no trial counts.
    pub outcome: Option<Outcome>,
    /// In the result unit.
    pub true_value: Option<Decimal>,
    /// The titrant that an earlier experiment gave it; none where it is a lot of the prep room.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carried: Option<Box<CarriedOutcome>>,
    /// (x − x_true) / |x_true|, percent, not rounded.
    pub relative_error_percent: Option<Decimal>,
    /// What explains a trial that lies apart from the others.
    #[serde(default)]
    pub trial_slips: Explanation,
    /// What explains a result off the truth.
    #[serde(default)]
    pub reading_slips: Explanation,
    /// What explains an answer that does not follow from its readings.
    #[serde(default)]
    pub calculation_slips: Explanation,
    pub marks: Marks,
    /// What a person should look at, most consequential first.
    #[serde(deserialize_with = "exact")]
    pub flags: Vec<Flag>,
    /// What it says of how far the student's trials lie apart; none where nothing is titrated.
    pub scatter: Option<ScatterShare>,
    /// What the class showed about it when it was judged.
    pub class: ClassEvidence,
}

/// Which version of an assigned value an evaluation rests on; in words such as `lot E-1 v2`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UsedVersion {
    pub value: UsedValue,
    pub version: u32,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum UsedValue {
    /// Of the titrant or of the stock of standards.
    TitrantLot(LotCode),
    ExcessLot(LotCode),
    /// Of the titrant, as found in the experiment of that key.
    Standardisation(LotCode),
    /// Of the calibration line, as its standards were read in the experiment of that key.
    Line(ExperimentKey),
    Unknown(UnknownCode),
}

/// One titration of an evaluation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrialView {
    pub trial: TrialLabel,
    /// mL.
    pub delivered: Option<Decimal>,
    /// In the result unit.
    pub result: Option<Decimal>,
    pub counted: bool,
    /// Why a numbered trial does not count.
    pub why_not: Option<Box<Message>>,
}

/// Figures of a result, in its unit unless they say otherwise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// How many trials count.
    pub counted: usize,
    /// mL; none where nothing is titrated.
    #[serde(default)]
    pub mean_delivered: Option<Decimal>,
    /// Mean of the counted trials' results, not rounded.
    pub result: Decimal,
    /// Sample standard deviation; none for a single trial.
    pub std_dev: Option<Decimal>,
    /// What reading and endpoint predict for it.
    pub predicted_scatter: Option<Decimal>,
    /// Range / mean; none if the mean is zero.
    pub range_percent: Option<Decimal>,
    /// Half-width of the 95 % confidence interval of the mean; none for a single trial.
    pub confidence_95: Option<Decimal>,
    pub standard_uncertainty: Decimal,
    /// Expanded uncertainty, 95 %.
    pub expanded_uncertainty: Decimal,
    /// Effective degrees of freedom; none if infinite.
    pub degrees_of_freedom: Option<Decimal>,
}

impl Evaluation {
    /// What explains what was found, from the trials to the answer.
    pub fn explanations(&self) -> [&Explanation; 3] {
        [
            &self.trial_slips,
            &self.reading_slips,
            &self.calculation_slips,
        ]
    }

    /// Codes of the lots of the titrant, or of the stock, that it rests on.
    pub fn titrant_lots(&self) -> impl Iterator<Item = &str> {
        self.versions.iter().filter_map(|used| match &used.value {
            UsedValue::TitrantLot(code) => Some(code.as_str()),
            UsedValue::ExcessLot(_)
            | UsedValue::Standardisation(_)
            | UsedValue::Line(_)
            | UsedValue::Unknown(_) => None,
        })
    }

    /// The same for people and files, separated by spaces.
    pub fn titrant_lots_written(&self) -> String {
        self.titrant_lots().collect::<Vec<_>>().join(" ")
    }
}

impl fmt::Display for UsedVersion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.value {
            UsedValue::TitrantLot(code) | UsedValue::ExcessLot(code) => write!(f, "lot {code}")?,
            UsedValue::Standardisation(key) => write!(f, "titrant found in {key}")?,
            UsedValue::Line(key) => write!(f, "standards of {key}")?,
            UsedValue::Unknown(code) => write!(f, "unknown {code}")?,
        }
        write!(f, " v{}", self.version)
    }
}

const FIGURES: usize = 12;

/// A submission judged: worked up, explained, marked and flagged.
pub fn evaluate(case: &Case) -> Evaluation {
    let work_up = case.work_up();
    let truth = case.marked_against().map(|u| *u.truth.open());
    let worked_up = worked_up(case, &work_up);
    // points are given against what was assigned; nobody is accused for the prep room's fault
    let compared = truth.and_then(|truth| match &case.class.consensus {
        Some(consensus) => consensus.instead_of(truth),
        None => Some(truth),
    });
    // where the titrant was standardised wrongly, its error is known: what is left of it is to be explained
    let as_assigned = AsAssigned::of(case);
    let off = as_assigned.as_ref().filter(|one| one.is_off);
    let without_it = Case {
        carried: off.map(|one| &one.titrant).or(case.carried),
        ..*case
    };
    let compared_work_up = off.map_or(&work_up, |one| &one.work_up);
    let trial_slips = slips::of_trials(&without_it, compared_work_up, compared);
    let reading_slips = slips::of_readings(&without_it, compared_work_up, compared, &trial_slips);
    let answer = case.hand_in.reported.as_ref();
    let answer = answer.and_then(|answer| {
        let agreement = Agreement::of(case.procedure, &work_up, answer)?;
        let otherwise = || follows_from_answered(case, answer);
        match agreement.agrees {
            true => Some(agreement),
            false => otherwise().or(Some(agreement)),
        }
    });
    let calculation_slips = match answer {
        Some(answer) if answer.with_answered_titrant => Explanation::default(),
        _ => slips::of_answer(case, &work_up),
    };
    let forgiven = case.procedure.marking.forgive_carried_error;
    let result_as_assigned = as_assigned.as_ref().and_then(|one| one.work_up.value());
    let error_as_assigned = result_as_assigned
        .filter(|_| forgiven || off.is_some())
        .zip(truth)
        .and_then(|(x, truth)| relative_error(x, truth.value));
    let marks = marks(&Marked {
        procedure: case.procedure,
        hand_in: case.hand_in,
        counted: work_up.counted(),
        spread: work_up.spread.as_ref(),
        relative_error_percent: worked_up.relative_error_percent,
        error_as_assigned,
        submitted_at: case.submitted_at,
        due: case.due,
        by_hand: case.by_hand,
        adjustment: case.settlement.adjustment,
        late_excused: case.settlement.late_excused,
        answer,
        slips: &calculation_slips,
    });
    let slips = Slips {
        of_trials: &trial_slips,
        of_readings: &reading_slips,
        of_answer: &calculation_slips,
        answer,
        off,
    };
    let flags = flags(case, &work_up, compared, &marks, &slips);
    Evaluation {
        carried: case.carried.map(|carried| {
            Box::new(CarriedOutcome {
                experiment: ExperimentKey::new(carried.lot.code.as_str()),
                molarity: carried.lot.molarity,
                is_off: off.is_some(),
                result_as_assigned,
            })
        }),
        trial_slips,
        reading_slips,
        calculation_slips,
        marks,
        flags,
        class: case.class.clone(),
        ..worked_up
    }
}

/// What the class is made of: the result with its figures, neither explained nor marked nor flagged.
pub fn result_of(case: &Case) -> Evaluation {
    worked_up(case, &case.work_up())
}

fn worked_up(case: &Case, work_up: &WorkUp) -> Evaluation {
    let unknown = case.marked_against();
    let truth = unknown.map(|u| *u.truth.open());
    let relative_error_percent = work_up
        .value()
        .zip(truth)
        .and_then(|(x, truth)| relative_error(x, truth.value));
    Evaluation {
        unknown: unknown.map(|u| SmolStr::new(&u.code)).unwrap_or_default(),
        versions: versions(case, work_up, unknown),
        trials: work_up
            .trials
            .iter()
            .map(|t| TrialView {
                trial: t.trial,
                delivered: t.delivered.map(|id| work_up.graph.value(id)),
                result: t.result.map(|id| work_up.graph.value(id)),
                counted: t.counted,
                why_not: t.why_not.as_ref().map(|why| Box::new(why.with_words())),
            })
            .collect(),
        outcome: outcome(work_up),
        true_value: truth.map(|t| t.value),
        carried: None,
        relative_error_percent,
        trial_slips: Explanation::default(),
        reading_slips: Explanation::default(),
        calculation_slips: Explanation::default(),
        marks: Marks::default(),
        flags: Vec::new(),
        scatter: ScatterShare::of(case.procedure, case.hand_in, work_up),
        class: ClassEvidence::default(),
    }
}

/// The assigned values used: lots, then the unknown.
fn versions(case: &Case, work_up: &WorkUp, unknown: Option<&Unknown>) -> Vec<UsedVersion> {
    // where there is a blank, the excess is taken from it and not from a lot
    let none = work_up.counted() == 0;
    let mut used: [Vec<&Lot>; 2] = Default::default();
    let line = case.taken_over();
    let rows = case.hand_in.titrations.iter().zip(&work_up.trials);
    // of the trials that count; if none does, of all that were titrated
    let rows = rows.filter(|(_, outcome)| outcome.counted || none);
    let rows = rows.map(|(titration, _)| titration);
    for titration in rows.chain(line.into_iter().flat_map(|line| &line.standards)) {
        let (titrant, excess) = case.lots_of(titration);
        let titrant = titrant.filter(|_| case.procedure.lot_reagent().is_some());
        let excess =
            excess.filter(|_| case.procedure.uses_excess_lot() && !case.hand_in.has_blank());
        for (lots, lot) in used.iter_mut().zip([titrant, excess]) {
            lots.extend(lot.filter(|lot| !lots.iter().any(|known| known.code == lot.code)));
        }
    }
    let [lots, excess_lots] = used;
    let of_lots = |value: fn(LotCode) -> UsedValue| {
        move |lot: &&Lot| UsedVersion {
            value: match lot.standardised {
                Some(_) => UsedValue::Standardisation(lot.code.clone()),
                None => value(lot.code.clone()),
            },
            version: lot.version,
        }
    };
    let titrants = lots.iter().map(of_lots(UsedValue::TitrantLot));
    let excess = excess_lots.iter().map(of_lots(UsedValue::ExcessLot));
    let unknown_used = unknown.map(|u| UsedVersion {
        value: UsedValue::Unknown(u.code.clone()),
        version: u.version,
    });
    let line = line.map(|line| UsedVersion {
        value: UsedValue::Line(line.experiment.clone()),
        version: line.version,
    });
    let lots = titrants.chain(excess);
    lots.chain(line).chain(unknown_used).collect()
}

fn outcome(work_up: &WorkUp) -> Option<Outcome> {
    let (spread, budget) = (work_up.spread.as_ref()?, work_up.budget.as_ref()?);
    let decimal = |value: f64| from_f64(value, FIGURES);
    Some(Outcome {
        counted: spread.n,
        mean_delivered: work_up.mean_delivered,
        result: work_up.value()?,
        std_dev: spread.s.and_then(decimal),
        predicted_scatter: work_up.predicted_scatter.and_then(decimal),
        range_percent: spread.range_percent(),
        confidence_95: spread.confidence_95().and_then(decimal),
        standard_uncertainty: decimal(budget.standard)?,
        expanded_uncertainty: decimal(budget.expanded)?,
        degrees_of_freedom: Some(budget.degrees_of_freedom)
            .filter(|f| f.is_finite())
            .and_then(decimal),
    })
}

//! From a hand-in to its result: every row worked up, the trials that count chosen, their mean taken.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::back::{self, Back};
use super::budget::{Budget, budget};
use super::choose::choose;
use super::graph::{Graph, Operation, Sign, StepId, WorkUpError};
use super::line::{self, Line};
use super::parts::Builder;
use super::quantity::{Of, Quantity};
use super::role::{Delivery, Own, Role, Titre};
use super::two_endpoint::{self, Endpoints};
use super::{density, direct, gravimetric, standardisation};
use crate::procedure::{Method, Portion, Procedure};
use crate::stats::Replicates;
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::truth::Lot;

const BLANK_MASS: Own = Own::new("mass of the blank", "mb");
const MEAN_BLANK_MASS: Own = Own::new("mean mass of the blank", "m\u{304}b");

/// A hand-in with what is needed to work it up.
#[derive(Clone, Copy)]
pub struct WorkUpInput<'a> {
    /// How it was to be done.
    pub procedure: &'a Procedure,
    pub hand_in: &'a HandIn,
    /// For each row in order, the titrant's (or the stock's) and the excess reagent's lot.
    pub lots: &'a [(Option<&'a Lot>, Option<&'a Lot>)],
    /// Trials left out by decision.
    pub left_out: &'a BTreeSet<u32>,
}

/// A hand-in worked up. Nothing in it depends on a true value.
#[derive(Clone, Debug)]
pub struct WorkUp {
    pub graph: Graph,
    /// One per row of the hand-in, in its order.
    pub trials: Vec<TrialOutcome>,
    /// The mean of the counted trials' results; none if no trial counts.
    pub result: Option<StepId>,
    /// Spread of the counted trials' results.
    pub spread: Option<Replicates>,
    /// Uncertainty of the result.
    pub budget: Option<Budget>,
    /// Mean delivered volume of the counted trials, mL; none where nothing is titrated.
    pub mean_delivered: Option<Decimal>,
    /// Standard deviation of one trial's result that reading and endpoint predict.
    pub predicted_scatter: Option<f64>,
    /// Whether the rule asks for concordant titres and no two agree.
    pub none_agree: bool,
    /// Whether a blank is asked for and none was measured.
    pub blank_missing: bool,
}

/// What became of one row.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialOutcome {
    pub trial: TrialLabel,
    /// Delivered volume; to the second endpoint where there are two in one flask. None where nothing is titrated.
    pub delivered: Option<StepId>,
    /// Delivered volume of the second portion.
    pub second: Option<StepId>,
    /// Result of a numbered trial.
    pub result: Option<StepId>,
    pub counted: bool,
    /// Why a numbered trial does not count.
    pub why_not: Option<String>,
}

/// What a scheme's file builds one trial from.
pub(super) struct Measured<'a> {
    pub row: &'a Titration,
    pub lot: Option<&'a Lot>,
    pub excess_lot: Option<&'a Lot>,
    pub volumes: Volumes,
    pub blank: Blank,
    pub line: Option<Line>,
    of: Of,
}

/// Delivered volumes of one row, mL.
#[derive(Clone, Copy, Default)]
pub(super) struct Volumes {
    pub delivered: Option<StepId>,
    /// To the first of two endpoints.
    pub first: Option<StepId>,
    /// To the second of two endpoints, from the start of its portion.
    pub second: Option<StepId>,
}

/// The mean blank, in volumes or as a mass.
#[derive(Clone, Copy, Default)]
pub(super) struct Blank {
    pub volumes: Volumes,
    /// g
    pub mass: Option<StepId>,
}

impl<'a> Measured<'a> {
    pub fn delivered(&self) -> Result<StepId, WorkUpError> {
        self.volumes
            .delivered
            .ok_or_else(|| self.missing("delivered volume", "no reading of it"))
    }

    pub fn titrant_lot(&self) -> Result<&'a Lot, WorkUpError> {
        self.lot
            .ok_or_else(|| self.missing("titrant", "no lot of it"))
    }

    fn missing(&self, label: &str, what: &'static str) -> WorkUpError {
        WorkUpError {
            label: format!("{label}, {}", self.of),
            what,
        }
    }
}

/// Works up readings alone, with the molarities that labels state: what they deliver and which trials count by the
/// procedure's rule. Its figures of the result are nominal.
pub fn work_up_readings(procedure: &Procedure, hand_in: &HandIn) -> WorkUp {
    let titrant = procedure
        .lot_reagent()
        .map(|(_, label)| Lot::nominal(label));
    let excess = procedure.excess.as_ref().map(|e| Lot::nominal(e.nominal));
    let lots = vec![(titrant.as_ref(), excess.as_ref()); hand_in.titrations.len()];
    work_up(WorkUpInput {
        procedure,
        hand_in,
        lots: &lots,
        left_out: &BTreeSet::new(),
    })
}

/// Works up a hand-in. Never fails: a trial that cannot be computed says why and does not count.
pub fn work_up(input: WorkUpInput) -> WorkUp {
    let procedure = input.procedure;
    let mut builder = Builder::new(procedure);
    let rows = &input.hand_in.titrations;
    let lots = |index: usize| input.lots.get(index).copied().unwrap_or((None, None));
    let mut trials: Vec<TrialOutcome> =
        rows.iter().map(|row| TrialOutcome::of(row.trial)).collect();
    // what trials share comes first: a step follows only from earlier ones
    let blank = blank(&mut builder, rows, &mut trials);
    let line = calibration(&mut builder, rows, &lots);
    for (index, row) in rows.iter().enumerate() {
        let of = match row.trial {
            TrialLabel::Numbered(n) => Of::Trial(n),
            TrialLabel::Rough => Of::Rough,
            TrialLabel::Blank | TrialLabel::Standard(_) => continue,
        };
        let (lot, excess_lot) = lots(index);
        let outcome = &mut trials[index];
        let found = volumes(&mut builder, row, of).and_then(|volumes| {
            outcome.delivered = volumes.delivered;
            outcome.second = volumes.second.filter(|_| !row.other.second.is_empty());
            let measured = Measured {
                row,
                lot,
                excess_lot,
                volumes,
                blank,
                line: line.clone()?,
                of,
            };
            match of {
                Of::Trial(_) => trial(&mut builder, &measured, of).map(Some),
                _ => Ok(None),
            }
        });
        match found {
            Ok(result) => outcome.result = result,
            Err(why) => outcome.why_not = Some(why.to_string()),
        }
    }
    let none_agree = choose(&builder.graph, &mut trials, procedure, input.left_out);
    let asked_for = procedure.trials.blank;
    let blank_missing = asked_for && blank.volumes.delivered.is_none() && blank.mass.is_none();
    finish(builder.graph, trials, procedure, none_agree, blank_missing)
}

fn finish(
    mut graph: Graph,
    trials: Vec<TrialOutcome>,
    procedure: &Procedure,
    none_agree: bool,
    blank_missing: bool,
) -> WorkUp {
    let counted = || trials.iter().filter(|t| t.counted);
    let results: Vec<StepId> = counted().filter_map(|t| t.result).collect();
    let delivered: Vec<Decimal> = counted()
        .filter_map(|t| t.delivered)
        .map(|id| graph.value(id))
        .collect();
    let values: Vec<Decimal> = results.iter().map(|id| graph.value(*id)).collect();
    let spread = Replicates::of(&values).ok();
    let unit = procedure.result.unit.name();
    let result = spread.as_ref().and_then(|_| {
        let mean = Operation::mean(results);
        graph.step(Role::MeanResult, unit, mean).ok()
    });
    let budget =
        result.map(|id| budget(&graph, id, spread.as_ref().and_then(|r| Some((r.s?, r.n)))));
    // errors drawn anew in each trial average out as 1/√n
    let trials_counted = spread.as_ref().map_or(0.0, |r| r.n as f64);
    let predicted_scatter = budget
        .as_ref()
        .map(|b| b.predicted_random * trials_counted.sqrt());
    WorkUp {
        graph,
        trials,
        result,
        spread,
        budget,
        mean_delivered: Replicates::of(&delivered).ok().map(|r| r.mean),
        predicted_scatter,
        none_agree,
        blank_missing,
    }
}

impl WorkUp {
    /// The result in the procedure's unit, not rounded.
    pub fn value(&self) -> Option<Decimal> {
        self.result.map(|id| self.graph.value(id))
    }

    /// How many trials count.
    pub fn counted(&self) -> usize {
        self.trials.iter().filter(|t| t.counted).count()
    }
}

impl TrialOutcome {
    fn of(trial: TrialLabel) -> Self {
        Self {
            trial,
            delivered: None,
            second: None,
            result: None,
            counted: false,
            why_not: None,
        }
    }
}

/// Works up the blank rows; their mean is none where the procedure asks for no blank, though the rows are shown.
fn blank(builder: &mut Builder, rows: &[Titration], trials: &mut [TrialOutcome]) -> Blank {
    let (mut delivered, mut first, mut second, mut masses) = (vec![], vec![], vec![], vec![]);
    let blanks = rows
        .iter()
        .zip(trials)
        .filter(|(row, _)| row.trial == TrialLabel::Blank);
    for (index, (row, outcome)) in blanks.enumerate() {
        let of = Of::Blank(index.saturating_add(1));
        let found = volumes(builder, row, of).unwrap_or_default();
        outcome.delivered = found.delivered;
        outcome.second = found.second.filter(|_| !row.other.second.is_empty());
        delivered.extend(found.delivered);
        first.extend(found.first);
        second.extend(found.second);
        if let Method::Gravimetric { precipitate, .. } = builder.procedure.method() {
            masses.extend(gravimetric::content(
                builder,
                row,
                &precipitate.balance,
                BLANK_MASS,
                of,
            ));
        }
    }
    if !builder.procedure.trials.blank {
        return Blank::default();
    }
    let mut mean = |steps: &[StepId], role, unit| builder.blank(steps, role, unit).unwrap_or(None);
    Blank {
        volumes: Volumes {
            delivered: mean(&delivered, Role::MeanBlank(Titre::Whole), "mL"),
            first: mean(&first, Role::MeanBlank(Titre::First), "mL"),
            second: mean(&second, Role::MeanBlank(Titre::Second), "mL"),
        },
        mass: mean(&masses, Role::Own(MEAN_BLANK_MASS), "g"),
    }
}

/// The calibration line, where the procedure has one.
fn calibration<'a>(
    builder: &mut Builder<'a>,
    rows: &'a [Titration],
    lots: &impl Fn(usize) -> (Option<&'a Lot>, Option<&'a Lot>),
) -> Result<Option<Line>, WorkUpError> {
    let Method::CalibrationLine { calibration, .. } = builder.procedure.method() else {
        return Ok(None);
    };
    let standards: Vec<_> = rows
        .iter()
        .enumerate()
        .filter_map(|(index, row)| match row.trial {
            TrialLabel::Standard(n) => Some((n, row, lots(index).0)),
            _ => None,
        })
        .collect();
    line::line(builder, calibration, &standards).map(Some)
}

fn volumes(builder: &mut Builder, row: &Titration, of: Of) -> Result<Volumes, WorkUpError> {
    if builder.procedure.burette().is_none() {
        return Ok(Volumes::default());
    }
    let delivered = builder.delivered(Delivery::First, &row.burette, of)?;
    let mut found = Volumes {
        delivered: Some(delivered),
        ..Volumes::default()
    };
    if let Method::TwoEndpoint { portion, .. } = builder.procedure.method() {
        match portion {
            Portion::Another if !row.other.second.is_empty() => {
                found.first = Some(delivered);
                found.second = Some(builder.delivered(Delivery::Second, &row.other.second, of)?);
            }
            Portion::Another => {}
            Portion::Same => {
                found.second = Some(delivered);
                found.first = first_endpoint(builder, row, of)?;
            }
        }
    }
    Ok(found)
}

/// Volume to the first of two endpoints in one flask: from the same start reading as the whole.
fn first_endpoint(
    builder: &mut Builder,
    row: &Titration,
    of: Of,
) -> Result<Option<StepId>, WorkUpError> {
    // of the first filling, which comes first
    let start = builder.graph.find(Role::BuretteStart(Delivery::First), of);
    let (Some(start), Some(read)) = (start, &row.other.first_endpoint) else {
        return Ok(None);
    };
    let quantity = Quantity::new(Role::FirstEndpointReading).of(of);
    let reading = builder.reading(quantity, read.value());
    let terms = Operation::sum([(Sign::Plus, reading), (Sign::Minus, start)]);
    let quantity = Quantity::new(Role::ToFirstEndpoint).of(of);
    let volume = builder.graph.step(quantity, "mL", terms)?;
    builder.delivery_components(volume, 1, of);
    Ok(Some(volume))
}

fn trial<'a>(
    builder: &mut Builder<'a>,
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    match builder.procedure.method() {
        Method::Direct {
            titrant,
            analyte_per_titrant,
            asked,
        } => direct::trial(
            builder,
            (titrant, *analyte_per_titrant, asked),
            measured,
            of,
        ),
        Method::Back {
            titrant,
            excess,
            analyte_per_excess,
            excess_per_titrant,
            asked,
        } => {
            let by = Back {
                titrant,
                excess,
                analyte_per_excess: *analyte_per_excess,
                excess_per_titrant: *excess_per_titrant,
                asked,
            };
            back::trial(builder, by, measured, of)
        }
        Method::Standardisation {
            titrant,
            weighed,
            titrant_per_weighed,
            asked,
        } => {
            let by = (titrant, weighed, *titrant_per_weighed, asked);
            standardisation::trial(builder, by, measured, of)
        }
        Method::TwoEndpoint {
            titrant,
            first,
            second,
            asked,
            ..
        } => {
            let endpoints = Endpoints {
                first: *first,
                second: *second,
            };
            two_endpoint::trial(builder, (titrant, endpoints, asked), measured, of)
        }
        Method::Gravimetric {
            precipitate,
            analyte_per_precipitate,
            asked,
        } => {
            let by = (precipitate, *analyte_per_precipitate, asked);
            gravimetric::trial(builder, by, measured, of)
        }
        Method::Density(vessel) => density::trial(builder, vessel, measured, of),
        Method::CalibrationLine {
            calibration,
            analyte_per_species,
            asked,
        } => {
            let by = (calibration, *analyte_per_species, asked);
            line::trial(builder, by, measured, of)
        }
    }
}

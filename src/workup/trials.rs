//! From a hand-in to its result: every row worked up, the trials that count chosen, their mean taken.
#![deny(clippy::wildcard_enum_match_arm)]

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::budget::{Budget, budget};
use super::choose::choose;
use super::graph::{Graph, Operation, StepId, StepIds, WorkUpError, Worked};
use super::parts::Builder;
use super::quantity::Of;
use super::role::Role;
use crate::language::{Message, message};
use crate::procedure::Procedure;
use crate::stats::Replicates;
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::truth::Lot;

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
    /// The blanks, as they are taken off in every trial.
    pub blanks: Vec<StepId>,
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
    /// The two titres as they are laid beside those of other trials, mL: for the nominal sample, where each trial has its
    /// own. 0 for one that is not there.
    pub comparable: [Decimal; 2],
    pub counted: bool,
    /// Why a numbered trial does not count.
    pub why_not: Option<Message>,
}

/// A row with the lots that count for it.
#[derive(Clone, Copy)]
pub struct LabRow<'a> {
    pub titration: &'a Titration,
    /// The titrant's, or the stock's.
    pub lot: Option<&'a Lot>,
    pub excess_lot: Option<&'a Lot>,
}

/// What one row measures, before anything follows from it.
#[derive(Clone, Copy, Default)]
pub struct Measured {
    /// Delivered volume, as people see it; none where nothing is titrated.
    pub delivered: Option<StepId>,
    /// Delivered volume of the second portion.
    pub second: Option<StepId>,
    /// What a result follows from, less its blank, with the role of the mean of its blanks.
    pub signals: [Option<(StepId, Role)>; 2],
}

impl Measured {
    /// A result that follows from one step.
    pub fn one(signal: StepId, mean_blank: Role) -> Self {
        Self {
            signals: [Some((signal, mean_blank)), None],
            ..Self::default()
        }
    }
}

/// What trials share beside lots, glassware and blanks; its scheme knows what it is.
#[derive(Clone, Default)]
pub struct Shared {
    pub steps: StepIds,
    /// A standard uncertainty estimated from it, with its degrees of freedom.
    pub standard: f64,
    pub degrees_of_freedom: f64,
}

/// What a scheme's file builds one trial from.
pub struct Trial<'a> {
    pub of: Of,
    pub row: LabRow<'a>,
    pub measured: Measured,
    /// The mean blank of each signal.
    pub blanks: [Option<StepId>; 2],
    pub shared: Shared,
    /// Whether the titrant's molarity is that of an earlier experiment.
    pub carried_over: bool,
}

impl<'a> Trial<'a> {
    pub fn delivered(&self) -> Worked<StepId> {
        self.signal("step.delivered")
    }

    /// The first signal.
    pub fn signal(&self, label: &'static str) -> Worked<StepId> {
        let signal = self.measured.signals[0].map(|(signal, _)| signal);
        signal.ok_or_else(|| self.missing(label, "why.no-reading"))
    }

    pub fn titrant_lot(&self) -> Worked<&'a Lot> {
        let lot = self.row.lot;
        let what = if self.carried_over {
            "why.no-standardisation"
        } else {
            "why.no-lot"
        };
        lot.ok_or_else(|| self.missing("why.titrant", what))
    }

    /// Something found wanting, both by their keys.
    pub fn missing(&self, label: &'static str, what: &'static str) -> WorkUpError {
        WorkUpError {
            label: self.of.after(label),
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
    let excess = procedure.excess().map(|e| Lot::nominal(e.nominal));
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
    let with_lots = |(index, titration)| {
        let (lot, excess_lot) = input.lots.get(index).copied().unwrap_or_default();
        LabRow {
            titration,
            lot,
            excess_lot,
        }
    };
    let rows = input.hand_in.titrations.iter().enumerate();
    let rows: Vec<LabRow> = rows.map(with_lots).collect();
    let labels = rows.iter().map(|row| row.titration.trial);
    let mut trials: Vec<TrialOutcome> = labels.map(TrialOutcome::of).collect();
    // what trials share comes first: a step follows only from earlier ones
    let blanks = blanks(&mut builder, &rows, &mut trials);
    let shared = procedure.scheme.shared(&mut builder, &rows);
    for (row, outcome) in rows.iter().zip(&mut trials) {
        let of = match row.titration.trial {
            TrialLabel::Numbered(n) => Of::Trial(n),
            TrialLabel::Rough => Of::Rough,
            TrialLabel::Blank | TrialLabel::Standard(_) => continue,
        };
        let measured = procedure.scheme.measure(&mut builder, row.titration, of);
        let result = measured.and_then(|measured| {
            outcome.saw(&measured);
            if !of.is_trial() || row.titration.spoiled.is_some() {
                return Ok(None);
            }
            let trial = Trial {
                of,
                row: *row,
                measured,
                blanks,
                shared: shared.clone()?,
                carried_over: procedure.carried_over().is_some(),
            };
            procedure.scheme.trial(&mut builder, &trial).map(Some)
        });
        match result {
            Ok(result) => outcome.result = result,
            Err(why) => outcome.why_not = Some(why.into()),
        }
        if let Some(why) = &row.titration.spoiled {
            outcome.why_not = Some(message!("why.spoiled", why = why));
        }
    }
    let none_agree = choose(
        &builder.graph,
        &mut trials,
        procedure,
        blanks[0],
        input.left_out,
    );
    let blank_missing = procedure.trials.blank && blanks[0].is_none();
    let mut done = finish(builder.graph, trials, procedure);
    done.blanks = blanks.into_iter().flatten().collect();
    done.none_agree = none_agree;
    done.blank_missing = blank_missing;
    done
}

fn finish(mut graph: Graph, trials: Vec<TrialOutcome>, procedure: &Procedure) -> WorkUp {
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
        blanks: Vec::new(),
        none_agree: false,
        blank_missing: false,
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
            comparable: [Decimal::ZERO; 2],
            counted: false,
            why_not: None,
        }
    }

    fn saw(&mut self, measured: &Measured) {
        self.delivered = measured.delivered;
        self.second = measured.second;
    }
}

/// Works up the blank rows; their mean is none where the procedure asks for no blank, though the rows are shown.
fn blanks(
    builder: &mut Builder,
    rows: &[LabRow],
    trials: &mut [TrialOutcome],
) -> [Option<StepId>; 2] {
    let scheme = &builder.procedure.scheme;
    let mut signals: [Vec<(StepId, Role)>; 2] = Default::default();
    let blank_rows = rows
        .iter()
        .zip(trials)
        .filter(|(row, _)| row.titration.trial == TrialLabel::Blank);
    for (index, (row, outcome)) in blank_rows.enumerate() {
        let of = Of::Blank(index.saturating_add(1));
        let measured = scheme.measure(builder, row.titration, of);
        let measured = measured.unwrap_or_default();
        outcome.saw(&measured);
        for (signals, signal) in signals.iter_mut().zip(measured.signals) {
            signals.extend(signal);
        }
    }
    if !builder.procedure.trials.blank {
        return [None; 2];
    }
    signals.map(|signals| match signals.as_slice() {
        [] => None,
        [(one, _)] => Some(*one),
        [(first, role), ..] => {
            let unit = builder.graph.get(*first).unit;
            let mean = Operation::mean(signals.iter().map(|(signal, _)| *signal));
            builder.graph.step(*role, unit, mean).ok()
        }
    })
}

//! From a hand-in to its result: every titration worked up, the trials that count chosen, their mean taken.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::budget::{Budget, budget, trial_scatter};
use super::graph::{Graph, Operation, StepId, WorkUpError};
use super::parts::{Builder, Of};
use super::{back, direct, standardisation};
use crate::procedure::{Accept, Chemistry, Procedure};
use crate::stats::{Replicates, dixon_outlier};
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::truth::Lot;

/// A hand-in with what is needed to work it up.
#[derive(Clone, Copy)]
pub struct WorkUpInput<'a> {
    /// How it was to be done.
    pub procedure: &'a Procedure,
    /// What was read.
    pub hand_in: &'a HandIn,
    /// For each titration in order, the titrant's and the excess reagent's lot.
    pub lots: &'a [(Option<&'a Lot>, Option<&'a Lot>)],
    /// Trials left out by decision.
    pub left_out: &'a BTreeSet<u32>,
}

/// A hand-in worked up. Nothing in it depends on a true value.
#[derive(Clone, Debug)]
pub struct WorkUp {
    /// Every step.
    pub graph: Graph,
    /// One per titration of the hand-in, in its order.
    pub trials: Vec<TrialOutcome>,
    /// The mean of the counted trials' results; none if no trial counts.
    pub result: Option<StepId>,
    /// Spread of the counted trials' results.
    pub spread: Option<Replicates>,
    /// Uncertainty of the result.
    pub budget: Option<Budget>,
    /// Mean delivered volume of the counted trials, mL.
    pub mean_delivered: Option<Decimal>,
    /// Standard deviation of one trial's result that reading and endpoint predict.
    pub predicted_scatter: Option<f64>,
    /// Whether the rule asks for concordant titres and no two agree.
    pub none_agree: bool,
    /// Whether a blank is asked for and none was titrated.
    pub blank_missing: bool,
}

/// What became of one titration.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialOutcome {
    /// Which.
    pub trial: TrialLabel,
    /// Delivered volume.
    pub delivered: Option<StepId>,
    /// Result of a numbered trial.
    pub result: Option<StepId>,
    /// Whether it counts.
    pub counted: bool,
    /// Why a numbered trial does not count.
    pub why_not: Option<String>,
}

/// Works up a hand-in. Never fails: a trial that cannot be computed says why and does not count.
#[must_use]
pub fn work_up(input: WorkUpInput) -> WorkUp {
    let mut builder = Builder::new(input.procedure);
    let titrations = &input.hand_in.titrations;
    let blanks: Vec<&Titration> = titrations
        .iter()
        .filter(|t| t.trial == TrialLabel::Blank)
        .collect();
    let blank = if input.procedure.trials.blank {
        builder.blank(&blanks).unwrap_or(None)
    } else {
        None
    };
    let blank_missing = input.procedure.trials.blank && blank.is_none();
    let mut trials: Vec<TrialOutcome> = titrations
        .iter()
        .enumerate()
        .map(|(index, titration)| {
            let lots = input.lots.get(index).copied().unwrap_or((None, None));
            outcome(&mut builder, titration, blank, lots)
        })
        .collect();
    let none_agree = choose(&builder.graph, &mut trials, input.procedure, input.left_out);
    let mut graph = builder.graph;
    let counted: Vec<&TrialOutcome> = trials.iter().filter(|t| t.counted).collect();
    let results: Vec<StepId> = counted.iter().filter_map(|t| t.result).collect();
    let delivered: Vec<Decimal> = counted
        .iter()
        .filter_map(|t| t.delivered)
        .map(|id| graph.value(id))
        .collect();
    let values: Vec<Decimal> = results.iter().map(|id| graph.value(*id)).collect();
    let spread = Replicates::of(&values).ok();
    let predicted_scatter = root_mean_square(results.iter().map(|id| trial_scatter(&graph, *id)));
    let unit = input.procedure.result.unit.name();
    let mean = Operation::Mean(results);
    let result = spread
        .as_ref()
        .and_then(|_| graph.step("mean result", "x\u{0304}", unit, mean).ok());
    let budget =
        result.map(|id| budget(&graph, id, spread.as_ref().and_then(|r| Some((r.s?, r.n)))));
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
    #[must_use]
    pub fn value(&self) -> Option<Decimal> {
        self.result.map(|id| self.graph.value(id))
    }

    /// How many trials count.
    #[must_use]
    pub fn counted(&self) -> usize {
        self.trials.iter().filter(|t| t.counted).count()
    }
}

fn outcome(
    builder: &mut Builder,
    titration: &Titration,
    blank: Option<StepId>,
    lots: (Option<&Lot>, Option<&Lot>),
) -> TrialOutcome {
    let mut outcome = TrialOutcome {
        trial: titration.trial,
        delivered: None,
        result: None,
        counted: false,
        why_not: None,
    };
    let of = match titration.trial {
        TrialLabel::Numbered(n) => Of::Trial(n),
        TrialLabel::Rough => Of::Rough,
        // worked up before the trials, where it is used; here only for show
        TrialLabel::Blank => Of::Blank(1),
    };
    let mut shown = Builder::new(builder.procedure);
    let target = if matches!(of, Of::Trial(_)) {
        &mut *builder
    } else {
        &mut shown
    };
    match target.delivered(titration, of) {
        Ok(delivered) if matches!(of, Of::Trial(_)) => {
            outcome.delivered = Some(delivered);
            match trial(builder, titration, delivered, blank, lots, of) {
                Ok(result) => outcome.result = Some(result),
                Err(why) => outcome.why_not = Some(why.to_string()),
            }
        }
        Ok(delivered) => {
            let volume = shown.graph.value(delivered);
            let label = format!("delivered volume, {}", of.words());
            outcome.delivered = Some(builder.graph.given(
                label,
                format!("V{}", of.tag()),
                "mL",
                volume,
            ));
        }
        Err(why) => outcome.why_not = Some(why.to_string()),
    }
    outcome
}

fn trial(
    builder: &mut Builder,
    titration: &Titration,
    delivered: StepId,
    blank: Option<StepId>,
    (lot, excess_lot): (Option<&Lot>, Option<&Lot>),
    of: Of,
) -> Result<StepId, WorkUpError> {
    let procedure = builder.procedure;
    let titrant = || {
        lot.ok_or_else(|| WorkUpError {
            label: format!("titrant, {}", of.words()),
            what: "no lot of it",
        })
    };
    match procedure.chemistry() {
        Chemistry::Direct {
            analyte_per_titrant,
        } => direct::trial(
            builder,
            *analyte_per_titrant,
            titration,
            delivered,
            blank,
            titrant()?,
            of,
        ),
        Chemistry::Back {
            analyte_per_excess,
            excess_per_titrant,
        } => {
            let ratios = back::Ratios {
                analyte_per_excess: *analyte_per_excess,
                excess_per_titrant: *excess_per_titrant,
            };
            back::trial(
                builder,
                ratios,
                titration,
                delivered,
                blank,
                (titrant()?, excess_lot),
                of,
            )
        }
        Chemistry::Standardisation {
            weighed,
            reacting_per_weighed,
            titrant_per_reacting,
        } => {
            let standard = (weighed, *reacting_per_weighed, *titrant_per_reacting);
            standardisation::trial(builder, standard, titration, delivered, blank, of)
        }
    }
}

/// Marks the trials that count and says of the others why not. True if titres should agree and no two do.
fn choose(
    graph: &Graph,
    trials: &mut [TrialOutcome],
    procedure: &Procedure,
    left_out: &BTreeSet<u32>,
) -> bool {
    let mut open: Vec<usize> = Vec::new();
    for (index, trial) in trials.iter_mut().enumerate() {
        match trial.trial.number() {
            Some(n) if left_out.contains(&n) => trial.why_not = Some("left out by decision".into()),
            Some(_) if trial.result.is_some() => open.push(index),
            _ => {}
        }
    }
    let mut none_agree = false;
    let counted = match procedure.trials.accept {
        Accept::All => open.clone(),
        Accept::Concordant { within } => {
            let titre = |index: &usize| {
                trials[*index]
                    .delivered
                    .map_or(Decimal::ZERO, |id| graph.value(id))
            };
            let titres: Vec<(u32, Decimal)> = open
                .iter()
                .map(|i| (trials[*i].trial.number().unwrap_or(0), titre(i)))
                .collect();
            match concordant(&titres, within) {
                Some(chosen) => open
                    .iter()
                    .zip(&chosen)
                    .filter(|(_, c)| **c)
                    .map(|(i, _)| *i)
                    .collect(),
                None => {
                    none_agree = open.len() > 1;
                    open.clone()
                }
            }
        }
        Accept::Dixon { level, from } => {
            let values: Vec<Decimal> = open
                .iter()
                .filter_map(|i| trials[*i].result)
                .map(|id| graph.value(id))
                .collect();
            let outlier = if values.len() >= from {
                dixon_outlier(&values, level)
            } else {
                None
            };
            open.iter()
                .enumerate()
                .filter(|(place, _)| Some(*place) != outlier)
                .map(|(_, i)| *i)
                .collect()
        }
    };
    let reason = match procedure.trials.accept {
        Accept::Concordant { within } => format!("not within {within} mL of the concordant titres"),
        Accept::Dixon { level, .. } => {
            format!("an outlier by Dixon\u{2019}s test at {} %", level.percent())
        }
        Accept::All => String::new(),
    };
    for index in open {
        if counted.contains(&index) {
            trials[index].counted = true;
        } else {
            trials[index].why_not = Some(reason.clone());
        }
    }
    none_agree
}

/// Which of the (trial number, titre) pairs form the largest set, at least two, within so many mL; of equally large
/// ones that with the smallest range, then the latest (the higher trial numbers). None if no two agree.
fn concordant(titres: &[(u32, Decimal)], within: Decimal) -> Option<Vec<bool>> {
    let lowest = |low: Decimal| {
        move |titre: &(u32, Decimal)| {
            titre.1 >= low && titre.1.checked_sub(low).is_some_and(|gap| gap <= within)
        }
    };
    titres
        .iter()
        .filter_map(|(_, low)| {
            let inside: Vec<(u32, Decimal)> =
                titres.iter().filter(|t| lowest(*low)(t)).copied().collect();
            let high = inside.iter().map(|t| t.1).max()?;
            let mut numbers: Vec<u32> = inside.iter().map(|t| t.0).collect();
            numbers.sort_unstable_by(|a, b| b.cmp(a));
            let range = high.checked_sub(*low)?;
            (inside.len() > 1).then_some((inside.len(), std::cmp::Reverse(range), numbers, *low))
        })
        .max_by(|a, b| (a.0, a.1, &a.2).cmp(&(b.0, b.1, &b.2)))
        .map(|(_, _, _, low)| titres.iter().map(lowest(low)).collect())
}

fn root_mean_square(values: impl ExactSizeIterator<Item = f64>) -> Option<f64> {
    let n = values.len() as f64;
    (n > 0.0).then(|| (values.map(|v| v * v).sum::<f64>() / n).sqrt())
}

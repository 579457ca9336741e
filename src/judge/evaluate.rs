//! One submission judged: worked up, compared with the truth, marked, flagged.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::flags::Flag;
use super::marks::{Marked, Marks, marks};
use super::raise::flags;
use crate::measure::from_f64;
use crate::procedure::Procedure;
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::truth::{Lot, Unknown};
use crate::workup::{WorkUp, WorkUpInput, work_up};

/// A submission with everything its judgement depends on. The same case gives the same evaluation, always.
#[derive(Clone, Copy)]
pub struct Case<'a> {
    /// With the experiment's own trial rules and marking.
    pub procedure: &'a Procedure,
    /// What was handed in.
    pub hand_in: &'a HandIn,
    /// Which revision it is, from 1.
    pub revision: u32,
    /// The course's lots by code.
    pub lots: &'a BTreeMap<String, Lot>,
    /// Lots that count where none is written.
    pub default_lots: &'a DefaultLots,
    /// The experiment's unknowns by code.
    pub unknowns: &'a BTreeMap<String, Unknown>,
    /// Code of the unknown issued to the student.
    pub issued: Option<&'a str>,
    /// When it was handed in.
    pub submitted_at: Option<Timestamp>,
    /// When it was due.
    pub due: Option<Timestamp>,
    /// Points an assistant gave.
    pub by_hand: Option<Decimal>,
    /// What an assistant decided.
    pub settlement: &'a Settlement,
}

/// The lots of a section: what counts where a row names none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DefaultLots {
    /// Titrant.
    pub titrant: Option<String>,
    /// Excess reagent.
    pub excess: Option<String>,
    /// Whether the course assigned them, so that another lot is a mismatch.
    pub assigned: bool,
}

/// Decisions on a submission that change its evaluation.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Settlement {
    /// Numbers of trials left out.
    pub left_out: BTreeSet<u32>,
    /// Points added or taken off.
    pub adjustment: Decimal,
    /// Mark against the unknown written, not the one issued.
    pub against_written: bool,
    /// Lateness costs nothing.
    pub late_excused: bool,
}

/// The judgement of one submission. For staff: its figures give the truth away, so students see none of it before
/// release but what [`WorkUp`] holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Evaluation {
    /// Code of the unknown it is marked against; empty if none is known.
    pub unknown: String,
    /// Codes of the titrant lots used, separated by spaces.
    pub lot: String,
    /// Versions of the assigned values used, such as `lot E-1 v2`.
    pub versions: Vec<String>,
    /// One per titration.
    pub trials: Vec<TrialView>,
    /// Figures of the result; none if no trial counts.
    pub outcome: Option<Outcome>,
    /// In the result unit.
    pub true_value: Option<Decimal>,
    /// |x − x_true| / x_true, percent, not rounded.
    pub relative_error_percent: Option<Decimal>,
    /// Points.
    pub marks: Marks,
    /// What a person should look at, most consequential first.
    pub flags: Vec<Flag>,
}

/// One titration of an evaluation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrialView {
    /// Which.
    pub trial: TrialLabel,
    /// mL.
    pub delivered: Option<Decimal>,
    /// In the result unit.
    pub result: Option<Decimal>,
    /// Whether it counts.
    pub counted: bool,
    /// Why a numbered trial does not count.
    pub why_not: Option<String>,
}

/// Figures of a result, in its unit unless they say otherwise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// How many trials count.
    pub counted: usize,
    /// mL.
    pub mean_delivered: Decimal,
    /// Mean of the counted trials' results, not rounded.
    pub result: Decimal,
    /// Sample standard deviation; none for a single trial.
    pub std_dev: Option<Decimal>,
    /// Range / mean; none if the mean is zero.
    pub range_percent: Option<Decimal>,
    /// Half-width of the 95 % confidence interval of the mean; none for a single trial.
    pub confidence_95: Option<Decimal>,
    /// Combined standard uncertainty.
    pub standard_uncertainty: Decimal,
    /// Expanded uncertainty, 95 %.
    pub expanded_uncertainty: Decimal,
    /// Effective degrees of freedom; none if infinite.
    pub freedom: Option<Decimal>,
}

/// Two-sided level at which a result counts as off the truth, and one-sided level of the scatter test: 24 clean
/// submissions raise a quarter of a flag each by chance.
pub const FLAG_LEVEL: f64 = 0.01;
const FIGURES: usize = 12;

impl Case<'_> {
    /// The submission worked up, without its truth.
    #[must_use]
    pub fn work_up(&self) -> WorkUp {
        let lots: Vec<_> = self
            .hand_in
            .titrations
            .iter()
            .map(|t| self.lots_of(t))
            .collect();
        let left_out = &self.settlement.left_out;
        work_up(WorkUpInput {
            procedure: self.procedure,
            hand_in: self.hand_in,
            lots: &lots,
            left_out,
        })
    }

    fn lots_of(&self, titration: &Titration) -> (Option<&Lot>, Option<&Lot>) {
        let find = |written: &Option<String>, default: &Option<String>| {
            written
                .as_ref()
                .or(default.as_ref())
                .and_then(|code| self.lots.get(code))
        };
        let titrant = find(&titration.lot, &self.default_lots.titrant);
        (
            titrant,
            find(&titration.excess_lot, &self.default_lots.excess),
        )
    }

    /// A written code that is not the one issued.
    pub(super) fn other_code(&self) -> Option<&str> {
        let issued = self.issued?;
        let written = self
            .hand_in
            .titrations
            .iter()
            .filter_map(|t| t.unknown.as_deref());
        written
            .into_iter()
            .find(|code| !code.eq_ignore_ascii_case(issued))
    }

    pub(super) fn known(&self, code: &str) -> Option<&Unknown> {
        self.unknowns.get(code).or_else(|| {
            self.unknowns
                .values()
                .find(|u| u.code.eq_ignore_ascii_case(code))
        })
    }

    /// What it is marked against: the one issued, unless an assistant settled otherwise or none was issued.
    pub(super) fn marked_against(&self) -> Option<&Unknown> {
        let written = self.hand_in.unknown_written();
        let settled = if self.settlement.against_written {
            self.other_code().or(written)
        } else {
            None
        };
        settled
            .and_then(|code| self.known(code))
            .or_else(|| match self.issued {
                Some(code) => self.known(code),
                None => written.and_then(|code| self.known(code)),
            })
    }
}

/// Judges a submission.
#[must_use]
pub fn evaluate(case: &Case) -> Evaluation {
    let work_up = case.work_up();
    let unknown = case.marked_against();
    let truth = unknown.map(|u| *u.truth.open());
    let value = work_up.value();
    let relative_error_percent = value
        .zip(truth)
        .and_then(|(x, truth)| relative_error(x, truth.value));
    let marks = marks(&Marked {
        procedure: case.procedure,
        hand_in: case.hand_in,
        counted: work_up.counted(),
        spread: work_up.spread.as_ref(),
        relative_error_percent,
        submitted_at: case.submitted_at,
        due: case.due,
        by_hand: case.by_hand,
        adjustment: case.settlement.adjustment,
        late_excused: case.settlement.late_excused,
    });
    let mut lots: Vec<&Lot> = Vec::new();
    if case.procedure.uses_titrant_lot() {
        // of the trials that count; if none does, of all that were titrated
        let none = work_up.counted() == 0;
        let rows = case
            .hand_in
            .titrations
            .iter()
            .zip(&work_up.trials)
            .filter(|(_, trial)| trial.counted || none);
        for lot in rows.filter_map(|(titration, _)| case.lots_of(titration).0) {
            if !lots.iter().any(|known| known.code == lot.code) {
                lots.push(lot);
            }
        }
    }
    let mut versions: Vec<String> = lots
        .iter()
        .map(|lot| format!("lot {} v{}", lot.code, lot.version))
        .collect();
    versions.extend(unknown.map(|u| format!("unknown {} v{}", u.code, u.version)));
    Evaluation {
        unknown: unknown.map(|u| u.code.clone()).unwrap_or_default(),
        lot: lots
            .iter()
            .map(|lot| lot.code.as_str())
            .collect::<Vec<_>>()
            .join(" "),
        versions,
        trials: work_up
            .trials
            .iter()
            .map(|t| TrialView {
                trial: t.trial,
                delivered: t.delivered.map(|id| work_up.graph.value(id)),
                result: t.result.map(|id| work_up.graph.value(id)),
                counted: t.counted,
                why_not: t.why_not.clone(),
            })
            .collect(),
        outcome: outcome(&work_up),
        true_value: truth.map(|t| t.value),
        relative_error_percent,
        marks,
        flags: flags(case, &work_up, truth),
    }
}

/// |x − truth| / truth in percent; none for a truth of zero.
pub(super) fn relative_error(x: Decimal, truth: Decimal) -> Option<Decimal> {
    x.checked_sub(truth)?
        .abs()
        .checked_mul(Decimal::ONE_HUNDRED)?
        .checked_div(truth.abs())
}

fn outcome(work_up: &WorkUp) -> Option<Outcome> {
    let (spread, budget) = (work_up.spread.as_ref()?, work_up.budget.as_ref()?);
    let decimal = |value: f64| from_f64(value, FIGURES);
    Some(Outcome {
        counted: spread.n,
        mean_delivered: work_up.mean_delivered?,
        result: work_up.value()?,
        std_dev: spread.s.and_then(decimal),
        range_percent: spread.range_percent(),
        confidence_95: spread.confidence_95().and_then(decimal),
        standard_uncertainty: decimal(budget.standard)?,
        expanded_uncertainty: decimal(budget.expanded)?,
        freedom: Some(budget.freedom)
            .filter(|f| f.is_finite())
            .and_then(decimal),
    })
}

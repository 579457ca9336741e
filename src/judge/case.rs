//! What the judgement of a submission depends on.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::carried::{CarriedLine, CarriedTitrant};
use super::class::ClassEvidence;
use crate::ids::{LotCode, UnknownCode};
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
    pub lots: &'a BTreeMap<LotCode, Lot>,
    /// Lots that count where none is written.
    pub default_lots: &'a DefaultLots,
    /// The titrant that the student found the molarity of in an earlier experiment, where the procedure asks for it; none
    /// where nobody has.
    pub carried: Option<&'a CarriedTitrant>,
    /// The standards that the student read in an earlier experiment, where the procedure takes their line over; none where
    /// there are none yet.
    pub line: Option<&'a CarriedLine>,
    /// The experiment's unknowns by code.
    pub unknowns: &'a BTreeMap<UnknownCode, Unknown>,
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
    /// What the class and the term show about it.
    pub class: &'a ClassEvidence,
}

/// The lots of a section: what counts where a row names none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DefaultLots {
    pub titrant: Option<LotCode>,
    pub excess: Option<LotCode>,
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
    pub late_excused: bool,
    /// Rows that nobody could read, each in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub set_aside: Vec<String>,
}

impl Case<'_> {
    /// The submission worked up, without its truth.
    pub fn work_up(&self) -> WorkUp {
        let rows = self.hand_in.titrations.len();
        let taken_over = self.taken_over().map(|line| HandIn {
            titrations: [&self.hand_in.titrations[..], &line.standards].concat(),
            ..self.hand_in.clone()
        });
        let hand_in = taken_over.as_ref().unwrap_or(self.hand_in);
        let lots: Vec<_> = hand_in.titrations.iter().map(|t| self.lots_of(t)).collect();
        let left_out = &self.settlement.left_out;
        let mut work_up = work_up(WorkUpInput {
            procedure: self.procedure,
            hand_in,
            lots: &lots,
            left_out,
        });
        work_up.trials.truncate(rows);
        work_up
    }

    /// The line that counts; none where standards were read again beside the samples.
    pub(in crate::judge) fn taken_over(&self) -> Option<&CarriedLine> {
        let rows = &self.hand_in.titrations;
        let again = |row: &Titration| matches!(row.trial, TrialLabel::Standard(_));
        self.line.filter(|_| !rows.iter().any(again))
    }

    /// The titrant's, or the stock's, and the excess reagent's lot that count for a row.
    pub fn lots_of(&self, titration: &Titration) -> (Option<&Lot>, Option<&Lot>) {
        let find = |written: &Option<LotCode>, default: &Option<LotCode>| {
            written
                .as_ref()
                .or(default.as_ref())
                .and_then(|code| self.lots.get(code))
        };
        let titrant = match (&titration.lot, self.procedure.carried_over()) {
            (None, Some(_)) => self.carried.map(|carried| &carried.lot),
            _ => find(&titration.lot, &self.default_lots.titrant),
        };
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
            self.other_code().or(written.map(|code| &**code))
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

/// (x − truth) / truth in percent, signed; none for a truth of zero.
pub(super) fn relative_error(x: Decimal, truth: Decimal) -> Option<Decimal> {
    x.checked_sub(truth)?
        .checked_mul(Decimal::ONE_HUNDRED)?
        .checked_div(truth.abs())
}

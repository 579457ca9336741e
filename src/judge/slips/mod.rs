//! Slips: one named mistake that explains a number. Each is a substitution on the work-up graph.
//!
//! *Reading slips* explain a result that disagrees with the truth, *calculation slips* an answer that disagrees with the
//! student's own readings. A slip is put forward only if the number is inconsistent without it, consistent with it, and
//! the slip is clearly likelier than every other; else all that remain are listed. It is a likely explanation and never
//! a verdict.

mod calculation;
mod code;
mod rank;
mod reading;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::case::Case;
use crate::truth::Assigned;
use crate::workup::WorkUp;

pub use code::SlipCode;

/// What explains a number of a submission.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Explanation {
    /// What explains it, likeliest first; empty where nothing needs explaining or nothing does.
    pub candidates: Vec<Candidate>,
    /// Whether the first is clearly likelier than the others, and so put forward; else it is one of them.
    pub put_forward: bool,
}

/// One slip that would explain it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Candidate {
    pub code: SlipCode,
    /// Where and how, such as “trial 2, end reading: 27.64 for 27.36”; empty where the code says it all.
    pub place: String,
    /// What the number would be: the result without the slip, or the answer with it.
    pub prediction: Decimal,
    /// How far that is from what it should fit, in standard uncertainties.
    pub off: Decimal,
    /// Share of the likelihood among all that was tried, unexplained included.
    pub share: Decimal,
}

impl Explanation {
    /// The slip put forward.
    pub fn likely(&self) -> Option<&Candidate> {
        self.candidates.first().filter(|_| self.put_forward)
    }
}

/// What explains a result that is off the truth.
pub fn of_readings(case: &Case, work_up: &WorkUp, truth: Option<Assigned>) -> Explanation {
    let tried = truth.and_then(|truth| reading::hypotheses(case, work_up, truth));
    tried.map_or_else(Explanation::default, rank::rank)
}

/// What explains an answer that does not follow from its readings.
pub fn of_answer(case: &Case, work_up: &WorkUp) -> Explanation {
    let tried = calculation::hypotheses(case, work_up);
    tried.map_or_else(Explanation::default, rank::rank)
}

/// Every answer that a calculation slip would give: which, where, and the answer in the result unit.
pub fn wrong_answers(case: &Case, work_up: &WorkUp) -> Vec<(SlipCode, String, Decimal)> {
    calculation::predictions(case, work_up)
}

/// Each slip with its least distance from explaining the number, in standard uncertainties; empty where nothing needs
/// explaining. For readings where a truth is given, else for the answer.
pub fn distances(case: &Case, work_up: &WorkUp, truth: Option<Assigned>) -> Vec<(SlipCode, f64)> {
    let tried = match truth {
        Some(truth) => reading::hypotheses(case, work_up, truth),
        None => calculation::hypotheses(case, work_up),
    };
    let mut least: Vec<(SlipCode, f64)> = Vec::new();
    for t in tried.map(|h| h.tried).unwrap_or_default() {
        match least.iter_mut().find(|(code, _)| *code == t.code) {
            Some((_, off)) => *off = off.min(t.off),
            None => least.push((t.code, t.off)),
        }
    }
    least
}

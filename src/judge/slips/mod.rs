//! Slips: one named mistake that explains a number. Each is a substitution on the work-up graph.
//!
//! There are three places to look, each on its own: *trial against trial*, where one trial lies apart from the others;
//! *result against truth*, where a result disagrees with what was assigned; *answer against readings*, where an answer
//! does not follow from the student's own readings. Slips whose predictions cannot be told apart are one explanation. One is
//! put forward only if the number is inconsistent without it, consistent with it, and it is clearly likelier than every
//! other; else all that remain are listed. It is a likely explanation and never a verdict.

mod calculation;
mod code;
mod expressed;
mod glassware;
mod misread;
mod rank;
mod reading;
mod relatives;
mod trials;

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
    /// Share of the likelihood that recognised slips hold, one at a time, told apart or not.
    #[serde(default)]
    pub recognised: Decimal,
}

/// One slip that would explain it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Candidate {
    pub code: SlipCode,
    /// Where and how, such as “trial 2, end reading: 27.64 for 27.36”; empty where the code says it all.
    pub place: String,
    /// Numbers of the trials whose readings it is about; empty where it is not about single trials.
    #[serde(default)]
    pub trials: Vec<u32>,
    /// Other slips that would give the same number, likeliest first.
    #[serde(default)]
    pub beside: Vec<SlipCode>,
    /// What the number would be: the trial's result or the result without the slip, or the answer with it.
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

    /// Whether nearly all of the likelihood is held by recognised slips, one at a time.
    pub fn is_recognised(&self) -> bool {
        self.put_forward || self.recognised >= RECOGNISED
    }
}

/// Share of the likelihood from which a number counts as explained by a recognised slip, whichever it was.
const RECOGNISED: Decimal = Decimal::from_parts(9, 0, 0, false, 1);

impl Candidate {
    /// What it is, with the others that cannot be told from it.
    pub fn words(&self) -> String {
        let codes = std::iter::once(&self.code).chain(&self.beside);
        let words: Vec<&str> = codes.map(|code| code.words()).collect();
        words.join(", or ")
    }
}

/// What explains a trial that lies apart from the others. Where several slips do, and leave other results, the truth
/// says which is likelier.
pub fn of_trials(case: &Case, work_up: &WorkUp, truth: Option<Assigned>) -> Explanation {
    trials::hypotheses(case, work_up, truth).map_or_else(Explanation::default, rank::rank)
}

/// What explains a result that is off the truth.
pub fn of_readings(
    case: &Case,
    work_up: &WorkUp,
    truth: Option<Assigned>,
    of_trials: &Explanation,
) -> Explanation {
    let tried = truth.and_then(|truth| reading::hypotheses(case, work_up, truth, of_trials));
    tried.map_or_else(Explanation::default, rank::rank)
}

/// What explains an answer that does not follow from its readings.
pub fn of_answer(case: &Case, work_up: &WorkUp) -> Explanation {
    let tried = calculation::hypotheses(case, work_up);
    tried.map_or_else(Explanation::default, rank::rank)
}

/// Each slip with its least distance from explaining the number, in standard uncertainties; empty where nothing needs
/// explaining. For readings where a truth is given, else for the answer.
pub fn distances(case: &Case, work_up: &WorkUp, truth: Option<Assigned>) -> Vec<(SlipCode, f64)> {
    let tried = match truth {
        Some(truth) => {
            reading::hypotheses(case, work_up, truth, &of_trials(case, work_up, Some(truth)))
        }
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

//! What explains a number that is off: the slip put forward, and the runners-up.

use crate::judge::{Evaluation, Explanation};
use crate::measure::{plain, to_decimals, to_figures};

/// What explains a result, or an answer.
pub struct Explained {
    pub title: &'static str,
    /// How the prediction is to be read.
    pub prediction: &'static str,
    /// Whether the first is put forward; else it is one of them.
    pub put_forward: bool,
    pub slips: Vec<SlipLine>,
}

pub struct SlipLine {
    pub words: String,
    /// Where it was made; empty where the words say it all.
    pub place: String,
    /// The number with, or without, it.
    pub prediction: String,
    /// Standard uncertainties between that and what it should fit.
    pub off: String,
    /// Share of the likelihood of all that was tried, percent.
    pub share: String,
}

/// What explains the numbers of a submission, where something does.
pub fn explained(evaluation: &Evaluation) -> Vec<Explained> {
    let of = |explanation: &Explanation, title, prediction| {
        let line = |c: &crate::judge::Candidate| SlipLine {
            words: c.words(),
            place: c.place.clone(),
            prediction: plain(to_figures(c.prediction, 5)),
            off: to_decimals(c.off, 1).to_string(),
            share: plain(to_figures(
                c.share.saturating_mul(rust_decimal::Decimal::ONE_HUNDRED),
                2,
            )),
        };
        let slips: Vec<SlipLine> = explanation.candidates.iter().map(line).collect();
        (!slips.is_empty()).then_some(Explained {
            title,
            prediction,
            put_forward: explanation.put_forward,
            slips,
        })
    };
    let trials = of(
        &evaluation.trial_slips,
        "What may explain the trial that lies apart",
        "Trial without it",
    );
    let result = of(
        &evaluation.reading_slips,
        "What may explain the result",
        "Result without it",
    );
    let answer = of(
        &evaluation.calculation_slips,
        "What may explain the answer",
        "Answer with it",
    );
    [trials, result, answer].into_iter().flatten().collect()
}

//! What is fair and what is found, on classes as they are: rows of the rehearsal's table beside their goals, and classes
//! typed by hand. `CONCORDANT_LONG=1` simulates many and holds every row to its goal; else few are simulated, and a row
//! fails where its goal is met as little as chance allows once in a thousand times.

mod cylinder;
mod rows;
mod term;
mod ugly;

use concordant::judge::{Evaluation, FlagCode, SlipCode};
use concordant::simulate::table::{Goal, Tally};

fn is_long() -> bool {
    std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1")
}

/// The first number, or with `CONCORDANT_LONG=1` the second.
fn many(few: usize, long: usize) -> usize {
    if is_long() { long } else { few }
}

/// Once in a thousand times.
const LEVEL: f64 = 0.001;

fn meets(goal: Goal, tally: Tally) -> bool {
    let Tally { made, found } = tally;
    goal.is_met(tally)
        || !is_long()
            && match goal {
                Goal::AtLeast(percent) => {
                    let missed = made - found;
                    at_least(missed, made, 1.0 - percent / 100.0) > LEVEL
                }
                Goal::AtMost(percent) => at_least(found, made, percent / 100.0) > LEVEL,
            }
}

/// Probability of so many or more among so many that each come about with that probability (binomial).
fn at_least(least: usize, of_all: usize, probability: f64) -> f64 {
    let mut fewer = 0.0;
    let mut term = (1.0 - probability).powi(of_all as i32);
    for found in 0..least {
        fewer += term;
        let left = (of_all - found) as f64;
        term *= left / (found + 1) as f64 * probability / (1.0 - probability);
    }
    1.0 - fewer
}

/// Whether the evidence of a slip names it and its trial.
fn names(judged: &Evaluation, slip: SlipCode, trial: u32) -> bool {
    let number = trial.to_string();
    let told = evidence_of_slips(judged);
    told.iter().any(|evidence| {
        let words = evidence.split(|letter: char| !letter.is_alphanumeric());
        let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
        let mut pairs = words.windows(2);
        evidence.contains(slip.words()) && pairs.any(|pair| pair == ["trial", number.as_str()])
    })
}

fn evidence_of_slips(judged: &Evaluation) -> Vec<&str> {
    let flags = judged.flags.iter();
    let slips = flags.filter(|flag| flag.code == FlagCode::LikelySlip);
    slips.map(|flag| flag.evidence.as_str()).collect()
}

/// By the tables of the binomial distribution.
#[test]
fn chances_are_those_of_the_tables() {
    for (least, of_all, probability, expected) in [
        (1, 10, 0.1, 0.651_322),
        (3, 20, 0.05, 0.075_484),
        (0, 5, 0.5, 1.0),
        (5, 5, 0.5, 0.031_25),
    ] {
        let found = at_least(least, of_all, probability);
        assert!((found - expected).abs() < 1e-6, "{found} for {expected}");
    }
}

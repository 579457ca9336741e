//! A picture of the trials: a dot each, the mean with its expanded uncertainty, and for staff what was assigned.

use rust_decimal::Decimal;

use crate::judge::Evaluation;
use crate::language::{Language, message, number};
use crate::measure::{as_f64, plain, to_figures};

/// Places are in percent of the width.
pub struct TrialsPicture {
    pub dots: Vec<Dot>,
    pub mean: String,
    /// Where the interval of the mean begins, and how wide it is.
    pub interval: (String, String),
    pub assigned: Option<String>,
    /// px.
    pub height: usize,
    /// All of it, for who does not see it.
    pub words: String,
}

/// One trial.
pub struct Dot {
    pub label: String,
    pub x: String,
    /// px.
    pub y: usize,
    pub counts: bool,
}

/// Height of a trial, px.
const ROW: usize = 22;
/// Room at both sides, percent of the width; the left has the labels.
const MARGINS: (f64, f64) = (16.0, 6.0);

/// None where fewer than two trials have a result: a single dot says nothing. What was assigned is drawn where it is
/// given, which is for staff alone.
pub fn picture(
    evaluation: &Evaluation,
    assigned: Option<Decimal>,
    language: Language,
) -> Option<TrialsPicture> {
    let outcome = evaluation.outcome.as_ref()?;
    let numbered = evaluation.trials.iter();
    let numbered = numbered.filter_map(|one| Some((one.trial.number()?, one.result?, one.counted)));
    let trials: Vec<(u32, Decimal, bool)> = numbered.collect();
    if trials.len() < 2 {
        return None;
    }
    let (mean, expanded) = (as_f64(outcome.result), as_f64(outcome.expanded_uncertainty));
    let shown = trials.iter().map(|(_, result, _)| as_f64(*result));
    let shown = shown.chain([mean - expanded, mean + expanded]);
    let shown: Vec<f64> = shown.chain(assigned.map(as_f64)).collect();
    let low = shown.iter().copied().fold(f64::INFINITY, f64::min);
    let high = shown.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let width = Some(high - low).filter(|width| width.is_finite() && *width > 0.0)?;
    let percent = |value: f64| {
        let room = 100.0 - MARGINS.0 - MARGINS.1;
        MARGINS.0 + room * (value - low) / width
    };
    let place = |value: f64| format!("{:.2}", percent(value));
    let dots = trials
        .iter()
        .enumerate()
        .map(|(index, (number, result, counts))| Dot {
            label: language.counted("trial.numbered", number),
            x: place(as_f64(*result)),
            y: ROW / 2 + ROW * index,
            counts: *counts,
        });
    let from = percent(mean - expanded);
    let to = percent(mean + expanded);
    let figures = to_figures(outcome.expanded_uncertainty, 2).scale();
    let value = |value: Decimal| plain(crate::measure::to_decimals(value, figures));
    let each = trials.iter().map(|(n, result, counts)| {
        let said = match counts {
            true => message!("picture.trial-value"),
            false => message!("picture.trial-value-not"),
        };
        language.say(&said.with("n", *n).with("value", number(value(*result))))
    });
    let each: Vec<String> = each.collect();
    let found = number(value(outcome.result));
    let words = match assigned {
        None => message!("picture.trials", each = each.join(", "), mean = found),
        Some(assigned) => message!(
            "picture.trials-assigned",
            each = each.join(", "),
            mean = found,
            assigned = number(value(assigned)),
        ),
    };
    Some(TrialsPicture {
        dots: dots.collect(),
        mean: place(mean),
        interval: (format!("{from:.2}"), format!("{:.2}", to - from)),
        assigned: assigned.map(|assigned| place(as_f64(assigned))),
        height: ROW * trials.len(),
        words: language.say(&words),
    })
}

//! What the class and the term show about a submission, beyond what it shows itself.

use std::sync::LazyLock;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::alike::Likeness;
use super::audit::GroupOff;
use super::end_digits::{OddDigits, TERM_DIGITS_LEVEL};
use super::flags::{Flag, FlagCode};
use super::habits::{EvenTrials, TERM_SCATTER_LEVEL};
use crate::measure::{as_f64, from_f64};
use crate::stats::{chi_square_above, median};
use crate::truth::Assigned;

/// Facts that rest on other submissions. A judgement without them is that of a student alone in the world.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ClassEvidence {
    /// What the readings share with those of others, beyond chance.
    pub likenesses: Vec<Likeness>,
    pub spread: ClassSpread,
    /// Where the audit finds a group of this submission off.
    pub consensus: Option<Consensus>,
    /// What the student's reports of the term show together, up to this one.
    pub habits: Habits,
}

/// What is odd about a student's reports of a term, put together.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Habits {
    pub even_trials: Option<EvenTrials>,
    pub odd_digits: Option<OddDigits>,
}

impl Habits {
    pub(super) fn flags(&self) -> impl Iterator<Item = Flag> {
        let even = self
            .even_trials
            .as_ref()
            .map(|even| Flag::by_chance(FlagCode::ScatterLow, even.words(), TERM_SCATTER_LEVEL));
        let odd = self
            .odd_digits
            .as_ref()
            .map(|odd| Flag::by_chance(FlagCode::EndDigits, odd.words(), TERM_DIGITS_LEVEL));
        even.into_iter().chain(odd)
    }
}

/// How a class scatters on an experiment, in terms of what reading and endpoint predict; never below that.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClassSpread {
    /// Of one trial within a student.
    pub within: f64,
    /// Of results between students, in terms of their standard uncertainty.
    pub between: f64,
}

/// What the class finds where what was assigned is off: nobody is accused for the prep room's fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Consensus {
    /// How far results of the group lie from what was assigned, percent.
    pub percent: f64,
    pub standard_percent: f64,
    /// What of it (a lot, a section, a day) would shift the results of any other bottle as well, percent.
    pub elsewhere_percent: f64,
    /// What is off, such as “titrant lot edta-2”.
    pub cause: String,
}

/// Fewest students from whom the scatter of a class is told.
const FEWEST: usize = 8;

impl Default for ClassSpread {
    fn default() -> Self {
        Self::AS_PREDICTED
    }
}

impl ClassEvidence {
    /// Of a student alone in the world.
    pub const ALONE: &'static Self = &Self::NOTHING;
    const NOTHING: Self = Self {
        likenesses: Vec::new(),
        spread: ClassSpread::AS_PREDICTED,
        consensus: None,
        habits: Habits {
            even_trials: None,
            odd_digits: None,
        },
    };
}

impl ClassSpread {
    const AS_PREDICTED: Self = Self {
        within: 1.0,
        between: 1.0,
    };

    /// From each student's s over the median that is expected of it, and each result's distance from the class's middle
    /// over its standard uncertainty. Medians: a few who work badly do not make the class look bad.
    pub fn of(within: &[f64], between: &[f64]) -> Self {
        let off: Vec<f64> = between.iter().map(|off| off.abs()).collect();
        let at_least_one = |values: &[f64], of_one: f64| {
            let enough = values.len() >= FEWEST;
            let found = median(values)
                .filter(|_| enough)
                .map(|found| found / of_one);
            let found = found.filter(|value| value.is_finite());
            // two figures, so that one more hand-in does not judge a whole class anew
            let found = found.and_then(|value| from_f64(value, 2)).map(as_f64);
            found.unwrap_or(1.0).max(1.0)
        };
        Self {
            within: at_least_one(within, 1.0),
            // median of the absolute value of a standard normal
            between: at_least_one(&off, 0.674_49),
        }
    }
}

/// Median of s over σ with so many degrees of freedom: where the upper tail of chi-square is a half.
pub fn median_of_s(freedom: usize) -> Option<f64> {
    static USUAL: LazyLock<Vec<Option<f64>>> =
        LazyLock::new(|| (0..16).map(find_median_of_s).collect());
    let usual = USUAL.get(freedom).copied();
    usual.unwrap_or_else(|| find_median_of_s(freedom))
}

fn find_median_of_s(freedom: usize) -> Option<f64> {
    let freedom = Some(freedom as f64).filter(|f| *f > 0.0)?;
    let (mut low, mut high) = (0.0, freedom + 1.0);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if chi_square_above(middle, freedom) > 0.5 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some((low / freedom).sqrt())
}

impl Consensus {
    /// What a result of the group is compared with instead of the assigned value.
    pub fn instead_of(&self, truth: Assigned) -> Option<Assigned> {
        self.shifted(truth, self.percent)
    }

    /// The same for another bottle.
    pub(super) fn of_other(&self, truth: Assigned) -> Option<Assigned> {
        self.shifted(truth, self.elsewhere_percent)
    }

    fn shifted(&self, truth: Assigned, percent: f64) -> Option<Assigned> {
        let value = as_f64(truth.value);
        let found = from_f64(value * (1.0 + percent / 100.0), 15)?;
        let own = as_f64(truth.standard_uncertainty);
        let standard = if percent == 0.0 {
            own
        } else {
            (value * self.standard_percent / 100.0).hypot(own)
        };
        Assigned::new(found, from_f64(standard, 15).unwrap_or(Decimal::ZERO)).ok()
    }
}

impl From<GroupOff> for Consensus {
    /// The shift to the place to which it is known: the second figure of its standard uncertainty (JCGM 100:2008, 7.2.6).
    /// What is nearer cannot be told, and one more hand-in seldom judges a whole group anew.
    fn from(off: GroupOff) -> Self {
        let place = second_figure(off.standard_percent);
        let (percent, elsewhere) = (off.percent, off.elsewhere_percent());
        Self {
            percent: to_place(percent, place),
            standard_percent: to_place(off.standard_percent, place),
            elsewhere_percent: to_place(elsewhere, place),
            cause: off.group.to_string(),
        }
    }
}

/// The power of ten of the second figure; none of nothing.
fn second_figure(value: f64) -> Option<i32> {
    let first = value.abs().log10().floor();
    first.is_finite().then_some((first - 1.0) as i32)
}

/// A number to a power of ten, as it is written.
fn to_place(value: f64, place: Option<i32>) -> f64 {
    let Some(place) = place else { return value };
    // a power below one is divided by: tenths have no exact double, tens have
    let unit = 10_f64.powi(place.saturating_abs());
    match place < 0 {
        true => (value * unit).round() / unit,
        false => (value / unit).round() * unit,
    }
}

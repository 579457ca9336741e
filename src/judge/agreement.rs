//! Whether a student's own answer follows from the readings.

use rust_decimal::Decimal;

use crate::measure::{Reading, to_decimals};
use crate::procedure::Procedure;
use crate::workup::{WorkUp, significant_figures};

/// An answer beside the recomputation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Agreement {
    /// Whether it lies within what the marking allows, or is the recomputed value rounded to its own last place with
    /// hardly fewer figures than the work-up gives.
    pub agrees: bool,
    /// Figures it is written with and figures the work-up gives, where it is written with two or more too few.
    pub too_few: Option<(u32, u32)>,
    /// Whether it is an answer beside the molarity that the student answered for the titrant, and not the one found.
    pub with_answered_titrant: bool,
}

impl Agreement {
    /// None where nothing could be worked up.
    pub fn of(procedure: &Procedure, work_up: &WorkUp, answer: &Reading) -> Option<Self> {
        let value = work_up.value()?;
        let expected = work_up
            .result
            .and_then(|id| significant_figures(&work_up.graph, id));
        let written = figures(answer);
        let too_few = expected
            .map(|expected| (written, expected))
            .filter(|(written, expected)| written.saturating_add(1) < *expected);
        let off = answer.value().checked_sub(value)?.abs();
        let percent = off
            .checked_mul(Decimal::ONE_HUNDRED)
            .and_then(|off| off.checked_div(value.abs()));
        // as on a scale: what lies exactly on the limit agrees
        let within =
            percent.is_some_and(|percent| to_decimals(percent, 15) <= procedure.marking.within());
        let half = answer.last_unit().checked_div(Decimal::TWO)?;
        let rounded = off <= half && too_few.is_none();
        Some(Self {
            agrees: within || rounded,
            too_few,
            with_answered_titrant: false,
        })
    }
}

/// Significant figures as they are written: leading zeros are none, and zeros at the end of a whole number count.
fn figures(answer: &Reading) -> u32 {
    let mantissa = answer
        .written()
        .split(['e', 'E'])
        .next()
        .unwrap_or_default();
    let digits = mantissa.chars().filter(char::is_ascii_digit);
    let significant = digits.skip_while(|digit| *digit == '0').count();
    u32::try_from(significant).unwrap_or(u32::MAX).max(1)
}

//! Last digits: those that are estimated between two marks fall on every digit alike.
//!
//! Looked at are readings of a burette, where the meniscus comes to stand as it will: ends, first endpoints, and starts
//! after a filling that is not to zero. A start where the titration before ended is the same meniscus read
//! again and would count twice. A cylinder is filled to where the procedure asks, so its digits are chosen; a balance
//! and a photometer display theirs.
//!
//! The test is the exact binomial one of how many digits are 0 or 5, to either side: too many where somebody reads to
//! the mark or to half a division (G. U. Yule, On reading a scale, J. R. Stat. Soc. 90 (1927) 570), too few where
//! digits are made up (J. E. Mosimann, C. V. Wiseman, R. E. Edelman, Data fabrication: can people generate random
//! digits?, Accountability in Research 4 (1995) 31). Each side has half the level (Bonferroni). It asks for 0 and 5
//! together because titres of one bottle lie within a few steps of each other: that spread is nearly even over the
//! five steps from one 0 or 5 to the next, though not over ten.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::columns::Column;
use crate::measure::{Glassware, Reading, from_f64, plain};
use crate::procedure::Procedure;
use crate::stats::{binomial_at_least, binomial_at_most};
use crate::submission::{Delivery, HandIn, Piece, Titration};

/// Fewest digits of a student's term.
const FEWEST_OF_TERM: u64 = 16;
/// Fewest digits of a section.
const FEWEST_OF_SECTION: u64 = 40;
/// Level for a student's term.
pub const TERM_DIGITS_LEVEL: f64 = 0.001;
/// Level for a section: strict, since every section of every experiment is looked at.
const SECTION_LEVEL: f64 = 0.000_1;
/// Share of digits that are 0 or 5 where every digit is as likely as another.
const SHARE: f64 = 0.2;

/// How many last digits were estimated, and how many of them are 0 or 5.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct EndDigits {
    pub estimated: u64,
    /// Of them 0 or 5.
    pub round: u64,
}

/// Last digits unlike estimated ones.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct OddDigits {
    pub digits: EndDigits,
    /// How likely so many, or so few, are by chance.
    pub p: f64,
}

impl EndDigits {
    /// The digits of a hand-in.
    pub fn of(procedure: &Procedure, hand_in: &HandIn) -> Self {
        let mut digits = Self::default();
        let Some(step) = procedure.burette().and_then(Glassware::readable_step) else {
            return digits;
        };
        let mut stood = None;
        for row in &hand_in.titrations {
            for reading in estimated(row, &mut stood) {
                // written to the mark or finer than anybody reads: that is a matter of decimals
                if reading.decimals() == step.scale() {
                    digits.add(reading.value(), step);
                }
            }
        }
        digits
    }

    /// Those of two together.
    pub fn with(self, other: Self) -> Self {
        Self {
            estimated: self.estimated.saturating_add(other.estimated),
            round: self.round.saturating_add(other.round),
        }
    }

    /// What is odd about those of a section.
    pub fn of_section(self) -> Option<OddDigits> {
        self.odd(FEWEST_OF_SECTION, SECTION_LEVEL)
    }

    /// What is odd about those of a student over a term.
    pub(super) fn of_term(self) -> Option<OddDigits> {
        self.odd(FEWEST_OF_TERM, TERM_DIGITS_LEVEL)
    }

    fn add(&mut self, value: Decimal, step: Decimal) {
        let half_division = step.saturating_mul(Decimal::from(5));
        let beyond = value.checked_rem(half_division);
        self.estimated = self.estimated.saturating_add(1);
        let round = beyond.is_some_and(|beyond| beyond.is_zero());
        self.round = self.round.saturating_add(u64::from(round));
    }

    fn odd(self, fewest: u64, level: f64) -> Option<OddDigits> {
        let Self { estimated, round } = self;
        let above = binomial_at_least(round, estimated, SHARE);
        let below = binomial_at_most(round, estimated, SHARE);
        let p = (2.0 * above.min(below)).min(1.0);
        (estimated >= fewest && p < level).then_some(OddDigits { digits: self, p })
    }
}

impl OddDigits {
    /// Whether there are too many of them, as of readings to the mark or to half a division; else too few.
    pub fn is_rounded(&self) -> bool {
        self.digits.round as f64 > SHARE * self.digits.estimated as f64
    }

    /// What was counted, in a sentence.
    pub fn words(&self) -> String {
        let EndDigits { estimated, round } = self.digits;
        let expected = from_f64(SHARE * estimated as f64, 3).map(plain);
        let p = if self.p < 0.000_1 {
            "below 0.0001".to_owned()
        } else {
            from_f64(self.p, 1).map(plain).unwrap_or_default()
        };
        format!(
            "of {estimated} readings estimated between the marks of the burette {round} end in 0 or 5, where about {} \
             would (chance {})",
            expected.unwrap_or_default(),
            p,
        )
    }
}

/// The readings of a row whose last digit is estimated; `stood` is where the burette stood before, and stands then.
fn estimated<'a>(row: &'a Titration, stood: &mut Option<Decimal>) -> Vec<&'a Reading> {
    let mut found: Vec<&Reading> = Column::FirstEndpoint.get(row).into_iter().collect();
    let pieces = Delivery::BOTH.into_iter().flat_map(|d| row.pieces(d));
    for Piece { start, end } in pieces {
        // as near to zero as a meniscus is read is a filling to zero
        if start.value() > REREAD && is_filled(start.value(), *stood) {
            found.push(start);
        }
        found.push(end);
        *stood = Some(end.value());
    }
    found
}

/// Whether a start follows a filling, and is not where the burette stood before.
pub(super) fn is_filled(start: Decimal, stood: Option<Decimal>) -> bool {
    stood.is_none_or(|stood| start.saturating_sub(stood).abs() > REREAD)
}

/// How far two readings of one meniscus may lie apart, mL.
pub(super) const REREAD: Decimal = Decimal::from_parts(5, 0, 0, false, 2);

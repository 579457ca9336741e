//! A reading: a decimal number exactly as somebody wrote it.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use smol_str::SmolStr;

use crate::language::{Message, message};

/// A number as written at the bench: its value **and** how many decimals were written.
///
/// `18.40` and `18.4` are different records of the same number, so equality compares the writing.
/// Both `.` and `,` serve as decimal mark; which one was used is kept.
#[derive(Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Reading {
    /// Mostly so short that it stands in its place.
    written: SmolStr,
    value: Decimal,
}

/// Why a piece of text is not a reading.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadingError {
    #[error("found nothing, expected a number such as 18.40")]
    Empty,
    /// More characters than anybody reads off glassware.
    #[error("found {found} characters, expected at most {limit}")]
    TooLong {
        found: usize,
        /// The limit that applies.
        limit: usize,
    },
    /// A character or an arrangement outside the grammar.
    #[error(
        "found \u{201c}{found}\u{201d}, expected digits with at most one decimal point or comma, such as 18.40"
    )]
    Malformed {
        /// The text as it was given.
        found: String,
    },
}

impl From<ReadingError> for Message {
    fn from(why: ReadingError) -> Self {
        match why {
            ReadingError::Empty => message!("reading.empty"),
            ReadingError::TooLong { found, limit } => {
                message!("reading.too-long", found = found, limit = limit)
            }
            ReadingError::Malformed { found } => message!("reading.malformed", found = found),
        }
    }
}

impl Reading {
    /// Most characters a reading may have, spaces around it not counted.
    pub const MAX_CHARACTERS: usize = 12;
    /// Most characters a reported answer may have.
    pub const MAX_ANSWER_CHARACTERS: usize = 24;

    /// Reads a bench reading: optional spaces, digits, at most one `.` or `,` between digits.
    pub fn parse(text: &str) -> Result<Self, ReadingError> {
        Self::parse_within(text, Self::MAX_CHARACTERS)
    }

    /// As [`Reading::parse`], possibly with a sign in front: a potential may be negative.
    pub fn parse_signed(text: &str) -> Result<Self, ReadingError> {
        let written = trimmed(text);
        let Some(digits) = written.strip_prefix(['-', '\u{2212}', '+']) else {
            return Self::parse(text);
        };
        let mut value = Self::parse(digits)?.value;
        value.set_sign_negative(!written.starts_with('+'));
        Ok(Self {
            written: written.into(),
            value,
        })
    }

    /// As [`Reading::parse`], possibly as a balance types it in place of a keyboard, such as `+   0.3775 g`: sign and unit are
    /// left out of what is kept.
    pub fn parse_of_balance(text: &str) -> Result<Self, ReadingError> {
        let written = trimmed(text);
        let number = written.strip_prefix('+').unwrap_or(written);
        let number = number.strip_suffix('g').unwrap_or(number);
        match Self::parse(number) {
            Ok(reading) => Ok(reading),
            // what is wrong is said of what was typed
            Err(_) => Self::parse(text),
        }
    }

    /// Reads a student's own answer: the same grammar, with room for more figures.
    pub fn parse_answer(text: &str) -> Result<Self, ReadingError> {
        Self::parse_within(text, Self::MAX_ANSWER_CHARACTERS)
    }

    /// As [`Reading::parse_answer`], possibly with a power of ten as in `1.23e-3`, `1.23×10^-3` or `1.23 x 10-3`.
    fn parse_power(text: &str) -> Result<Self, ReadingError> {
        let written = trimmed(text);
        let Some((mantissa, exponent)) = power_of_ten(written) else {
            return Self::parse_within(text, Self::MAX_ANSWER_CHARACTERS);
        };
        let length = written.chars().count();
        if length > Self::MAX_ANSWER_CHARACTERS {
            return Err(ReadingError::TooLong {
                found: length,
                limit: Self::MAX_ANSWER_CHARACTERS,
            });
        }
        let plain = Self::parse_within(mantissa, Self::MAX_ANSWER_CHARACTERS)?;
        let value = shifted(plain.value, exponent).ok_or_else(|| ReadingError::Malformed {
            found: written.to_owned(),
        })?;
        Ok(Self {
            written: written.into(),
            value,
        })
    }

    /// As [`Reading::parse_answer`], possibly with a power of ten, as in `1.23e-3`, `1.23×10^-3` or `1.23 x 10-3`, and
    /// with a unit behind the number that `is_unit` knows; the unit is left out of what is kept.
    pub fn parse_answer_in(
        text: &str,
        is_unit: impl Fn(&str) -> bool,
    ) -> Result<Self, ReadingError> {
        let whole = Self::parse_power(text);
        if whole.is_ok() {
            return whole;
        }
        let written = trimmed(text);
        let ends = written.char_indices().skip(1).map(|(at, _)| at);
        for at in ends {
            let Some((number, unit)) = written.split_at_checked(at) else {
                continue;
            };
            if is_unit(unit)
                && let Ok(answer) = Self::parse_power(number)
            {
                return Ok(answer);
            }
        }
        whole
    }

    fn parse_within(text: &str, limit: usize) -> Result<Self, ReadingError> {
        let written = trimmed(text);
        if written.is_empty() {
            return Err(ReadingError::Empty);
        }
        let length = written.chars().count();
        if length > limit {
            return Err(ReadingError::TooLong {
                found: length,
                limit,
            });
        }
        let malformed = || ReadingError::Malformed {
            found: written.to_owned(),
        };
        let (whole, fraction) = match written.split_once(['.', ',']) {
            Some((whole, fraction)) => (whole, Some(fraction)),
            None => (written, None),
        };
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !fraction.is_none_or(digits) {
            return Err(malformed());
        }
        let value = Decimal::from_str(&written.replace(',', ".")).map_err(|_| malformed())?;
        Ok(Self {
            written: written.into(),
            value,
        })
    }

    pub fn value(&self) -> Decimal {
        self.value
    }

    /// How many decimals were written.
    pub fn decimals(&self) -> u32 {
        let (mantissa, exponent) = power_of_ten(&self.written).unwrap_or((&self.written, 0));
        let fraction = mantissa.split_once(['.', ',']);
        let fraction = fraction.map_or(0, |(_, fraction)| fraction.len());
        let fraction = i64::try_from(fraction).unwrap_or(i64::MAX);
        let decimals = fraction.saturating_sub(exponent.into()).max(0);
        u32::try_from(decimals).unwrap_or(u32::MAX)
    }

    /// The text as it was written, without the spaces around it.
    pub fn written(&self) -> &str {
        &self.written
    }

    /// One unit in the last written figure: 0.01 for `18.40`.
    pub fn last_unit(&self) -> Decimal {
        let last = Decimal::new(1, self.decimals().min(Decimal::MAX_SCALE));
        let (mantissa, exponent) = power_of_ten(&self.written).unwrap_or((&self.written, 0));
        let fraction = mantissa.split_once(['.', ',']).map_or(0, |(_, f)| f.len());
        // 4.5e4 is written to thousands
        let above = i32::try_from(fraction).map_or(0, |f| exponent.saturating_sub(f).max(0));
        shifted(last, above).unwrap_or(last)
    }
}

fn trimmed(text: &str) -> &str {
    text.trim_matches([' ', '\t', '\u{a0}', '\u{202f}'])
}

/// What stands before a power of ten, and its exponent; none where there is no power.
fn power_of_ten(text: &str) -> Option<(&str, i32)> {
    let is_of_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',');
    let end = text.find(|c| !is_of_number(c))?;
    let (mantissa, rest) = text.split_at_checked(end)?;
    let rest = trimmed(rest);
    let exponent = match rest.strip_prefix(['e', 'E']) {
        Some(exponent) => exponent,
        None => {
            let rest = rest.strip_prefix(['\u{d7}', 'x', 'X', '*', '\u{b7}', '\u{22c5}'])?;
            let rest = trimmed(rest).strip_prefix("10")?;
            rest.strip_prefix('^').unwrap_or(rest)
        }
    };
    let plain = |c: char| match c {
        '\u{2212}' | '\u{207b}' => Some('-'),
        '\u{207a}' => Some('+'),
        '\u{2070}' => Some('0'),
        '\u{b9}' => Some('1'),
        '\u{b2}' => Some('2'),
        '\u{b3}' => Some('3'),
        '\u{2074}'..='\u{2079}' => char::from_digit(u32::from(c).checked_sub(0x2070)?, 10),
        '(' | ')' | ' ' => None,
        c => Some(c),
    };
    let digits: String = exponent.chars().filter_map(plain).collect();
    let unsigned = digits.trim_start_matches(['+', '-']);
    let is_whole =
        (1..=2).contains(&unsigned.len()) && unsigned.bytes().all(|b| b.is_ascii_digit());
    let exponent: i32 = digits.parse().ok().filter(|_| is_whole)?;
    Some((mantissa, exponent))
}

/// A number times a power of ten.
fn shifted(value: Decimal, exponent: i32) -> Option<Decimal> {
    let ten = |power: u32| {
        let powers = 0..power;
        powers
            .into_iter()
            .try_fold(Decimal::ONE, |sum, _| sum.checked_mul(Decimal::TEN))
    };
    if exponent >= 0 {
        return value.checked_mul(ten(exponent.unsigned_abs())?);
    }
    // as many decimals as are written, so that none is lost by dividing
    let scale = value.scale().checked_add(exponent.unsigned_abs())?;
    let mut value = value;
    (scale <= Decimal::MAX_SCALE).then(|| value.set_scale(scale).ok())??;
    Some(value)
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.written)
    }
}

impl fmt::Debug for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Reading({})", self.written)
    }
}

impl From<Reading> for String {
    fn from(reading: Reading) -> Self {
        reading.written.into()
    }
}

impl TryFrom<String> for Reading {
    type Error = ReadingError;

    /// Decodes a stored reading or answer; the longer limit applies, since both are stored alike.
    fn try_from(text: String) -> Result<Self, ReadingError> {
        Self::parse_power(&text).or_else(|why| Self::parse_signed(&text).map_err(|_| why))
    }
}

//! A reading: a decimal number exactly as somebody wrote it.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A number as written at the bench: its value **and** how many decimals were written.
///
/// `18.40` and `18.4` are different records of the same number, so equality compares the writing.
/// Both `.` and `,` serve as decimal mark; which one was used is kept.
#[derive(Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Reading {
    written: String,
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

impl Reading {
    /// Most characters a reading may have, spaces around it not counted.
    pub const MAX_CHARACTERS: usize = 12;
    /// Most characters a reported answer may have.
    pub const MAX_ANSWER_CHARACTERS: usize = 24;

    /// Reads a bench reading: optional spaces, digits, at most one `.` or `,` between digits.
    pub fn parse(text: &str) -> Result<Self, ReadingError> {
        Self::parse_within(text, Self::MAX_CHARACTERS)
    }

    /// Reads a student's own answer: the same grammar, with room for more figures.
    pub fn parse_answer(text: &str) -> Result<Self, ReadingError> {
        Self::parse_within(text, Self::MAX_ANSWER_CHARACTERS)
    }

    fn parse_within(text: &str, limit: usize) -> Result<Self, ReadingError> {
        let written = text.trim_matches([' ', '\t', '\u{a0}']);
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
            written: written.to_owned(),
            value,
        })
    }

    pub fn value(&self) -> Decimal {
        self.value
    }

    /// How many decimals were written.
    pub fn decimals(&self) -> u32 {
        self.written
            .split_once(['.', ','])
            .map_or(0, |(_, fraction)| {
                u32::try_from(fraction.len()).unwrap_or(u32::MAX)
            })
    }

    /// The text as it was written, without the spaces around it.
    pub fn written(&self) -> &str {
        &self.written
    }

    /// One unit in the last written figure: 0.01 for `18.40`.
    pub fn last_unit(&self) -> Decimal {
        Decimal::new(1, self.decimals().min(Decimal::MAX_SCALE))
    }
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
        reading.written
    }
}

impl TryFrom<String> for Reading {
    type Error = ReadingError;

    /// Decodes a stored reading or answer; the longer limit applies, since both are stored alike.
    fn try_from(text: String) -> Result<Self, ReadingError> {
        Self::parse_answer(&text)
    }
}

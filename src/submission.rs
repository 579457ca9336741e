//! What a student hands in: readings as written, trial by trial.

use std::fmt;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::measure::Reading;

/// Everything handed in at once for one experiment. A correction is another hand-in, never a change of this one.
///
/// This is the document that is stored: one JSON text per revision.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct HandIn {
    /// In the order they were written down.
    pub titrations: Vec<Titration>,
    /// The student's own answer, in the result unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reported: Option<Reading>,
    /// Questions the student stood by: row and column, as named by the form.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub confirmed: Vec<String>,
}

/// One titration: a numbered trial, a rough one or a blank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Titration {
    /// Which.
    pub trial: TrialLabel,
    /// The titrant's lot as written; none means the section's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// The excess reagent's lot as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub excess_lot: Option<String>,
    /// The unknown's code as written; none means the one issued.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unknown: Option<String>,
    /// Start–end pieces, one unless the burette was refilled; at least one.
    pub burette: Vec<Piece>,
    /// The sample, as far as it is read.
    #[serde(default)]
    pub sample: SampleReadings,
    /// When this row was handed in, where a file says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub submitted_at: Option<Timestamp>,
}

/// One delivery: start and end of the burette, mL, counted downward from the top.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Piece {
    /// Before.
    pub start: Reading,
    /// After.
    pub end: Reading,
}

/// Readings of the sample; which of them are there is the procedure's choice.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SampleReadings {
    /// Graduated glassware, mL.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume: Option<Reading>,
    /// Tared balance, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Reading>,
    /// Weighing bottle before, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Reading>,
    /// Weighing bottle after, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<Reading>,
}

/// A numbered trial, the rough one, or a blank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum TrialLabel {
    /// Counted from 1.
    Numbered(u32),
    /// Fast, kept and shown, not used.
    Rough,
    /// Without sample.
    Blank,
}

impl TrialLabel {
    /// The highest trial number.
    pub const MAX: u32 = 50;

    /// Reads `1`, `2`, …, `rough` or `blank`.
    ///
    /// # Errors
    /// A sentence naming what was found and what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let bad = || {
            format!(
                "found \u{201c}{text}\u{201d}, expected 1 to {}, rough or blank",
                Self::MAX
            )
        };
        match text.trim() {
            "rough" => Ok(Self::Rough),
            "blank" => Ok(Self::Blank),
            number if number.bytes().all(|b| b.is_ascii_digit()) => match number.parse() {
                Ok(n) if (1..=Self::MAX).contains(&n) => Ok(Self::Numbered(n)),
                _ => Err(bad()),
            },
            _ => Err(bad()),
        }
    }

    /// The number of a numbered trial.
    #[must_use]
    pub fn number(self) -> Option<u32> {
        if let Self::Numbered(n) = self {
            Some(n)
        } else {
            None
        }
    }
}

impl fmt::Display for TrialLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Numbered(n) => write!(f, "{n}"),
            Self::Rough => f.write_str("rough"),
            Self::Blank => f.write_str("blank"),
        }
    }
}

impl TryFrom<String> for TrialLabel {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        Self::parse(&text)
    }
}

impl From<TrialLabel> for String {
    fn from(label: TrialLabel) -> Self {
        label.to_string()
    }
}

impl HandIn {
    /// Numbered trials in the order written.
    pub fn numbered(&self) -> impl Iterator<Item = (u32, &Titration)> {
        self.titrations
            .iter()
            .filter_map(|t| Some((t.trial.number()?, t)))
    }

    /// The unknown's code as written, the first one given; codes that differ between rows count as written otherwise.
    #[must_use]
    pub fn unknown_written(&self) -> Option<&str> {
        self.titrations.iter().find_map(|t| t.unknown.as_deref())
    }

    /// The latest time a row says it was handed in.
    #[must_use]
    pub fn submitted_at(&self) -> Option<Timestamp> {
        self.titrations.iter().filter_map(|t| t.submitted_at).max()
    }
}

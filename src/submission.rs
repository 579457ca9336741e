//! What a student hands in: readings as written, trial by trial.

use std::fmt;

use jiff::Timestamp;
use litemap::LiteMap;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::columns::{Column, MAX_FILLINGS};
use crate::ids::{LotCode, UnknownCode};
use crate::measure::Reading;
use crate::text::exact;

/// Everything handed in at once for one experiment. A correction is another hand-in, never a change of this one.
///
/// This is the document that is stored: one JSON text per revision.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct HandIn {
    /// In the order they were written down.
    #[serde(deserialize_with = "exact")]
    pub titrations: Vec<Titration>,
    /// The student's own answer, in the result unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reported: Option<Reading>,
    /// Questions the student stood by: row and column, as named by the form.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub confirmed: Vec<String>,
}

/// One row of readings: a numbered trial, a rough one, a blank, or a standard of a calibration line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Titration {
    pub trial: TrialLabel,
    /// The titrant's lot as written; none means the section's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<LotCode>,
    /// The excess reagent's lot as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub excess_lot: Option<LotCode>,
    /// The unknown's code as written; none means the one issued.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unknown: Option<UnknownCode>,
    /// The number on the burette as written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// What went wrong with it: its readings are kept and shown, not used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spoiled: Option<String>,
    #[serde(serialize_with = "as_object", deserialize_with = "without_room")]
    pub readings: Readings,
    /// When this row was handed in, where a file says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub submitted_at: Option<Timestamp>,
}

/// What is read in one row: few and many times over, so in order in one piece.
pub type Readings = LiteMap<Column, Reading>;

/// An object, also where nothing is read.
fn as_object<S: Serializer>(readings: &Readings, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_map(readings)
}

/// Most readings are in memory as long as their course is: no room is kept for more of them.
fn without_room<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Readings, D::Error> {
    let read = Readings::deserialize(deserializer)?;
    let mut kept = Readings::with_capacity(read.len());
    for (column, reading) in read {
        kept.insert(column, reading);
    }
    Ok(kept)
}

/// Which portion a burette delivers to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delivery {
    First,
    /// The titration of another portion.
    Second,
    /// The reagent added in excess, or what was added of it after an endpoint run over.
    Excess,
}

/// What a burette delivers between two readings of it, mL, counted downward from the top.
#[derive(Clone, Copy, Debug)]
pub struct Piece<'r> {
    pub start: &'r Reading,
    pub end: &'r Reading,
}

impl Delivery {
    pub const ALL: [Self; 3] = [Self::First, Self::Second, Self::Excess];
    /// Those that end at an endpoint.
    pub const BOTH: [Self; 2] = [Self::First, Self::Second];
}

impl Titration {
    /// A row in which nothing is read yet.
    pub fn new(trial: TrialLabel) -> Self {
        Self {
            trial,
            lot: None,
            excess_lot: None,
            unknown: None,
            instrument: None,
            spoiled: None,
            readings: Readings::new(),
            submitted_at: None,
        }
    }

    /// Start–end pieces of a titration, one unless the burette was refilled.
    pub fn pieces(&self, delivery: Delivery) -> impl Iterator<Item = Piece<'_>> {
        (1..=MAX_FILLINGS).filter_map(move |n| {
            let (start, end) = Column::piece(delivery, n);
            Some(Piece {
                start: start.get(self)?,
                end: end.get(self)?,
            })
        })
    }

    /// The highest number of a filling of the burette, or of a point of a curve.
    pub fn fillings(&self) -> usize {
        let numbers = self.readings.keys().map(|column| column.number());
        numbers.max().unwrap_or(0)
    }
}

/// A numbered trial, the rough one, a blank, or a standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum TrialLabel {
    /// Counted from 1.
    Numbered(u32),
    /// Fast, kept and shown, not used.
    Rough,
    Blank,
    /// A standard of a calibration line, counted from 1 as the procedure lists them.
    Standard(u32),
}

impl TrialLabel {
    /// The highest trial number.
    pub const MAX: u32 = 50;

    /// Reads `1`, `2`, …, `rough`, `blank` or `standard-1`, `standard-2`, ….
    pub fn parse(text: &str) -> Result<Self, String> {
        let bad = || {
            format!(
                "found \u{201c}{text}\u{201d}, expected 1 to {}, rough or blank (or standard-1 and so on, for a calibration line)",
                Self::MAX
            )
        };
        let counted = |digits: &str| {
            let digits = Some(digits).filter(|d| d.bytes().all(|b| b.is_ascii_digit()))?;
            digits.parse().ok().filter(|n| (1..=Self::MAX).contains(n))
        };
        match text.trim() {
            "rough" => Ok(Self::Rough),
            "blank" => Ok(Self::Blank),
            other => match other.strip_prefix("standard-") {
                Some(number) => counted(number).map(Self::Standard),
                None => counted(other).map(Self::Numbered),
            }
            .ok_or_else(bad),
        }
    }

    /// The number of a numbered trial.
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
            Self::Standard(n) => write!(f, "standard-{n}"),
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

    /// Whether a blank was titrated.
    pub fn has_blank(&self) -> bool {
        self.titrations.iter().any(|t| t.trial == TrialLabel::Blank)
    }

    /// The unknown's code as written, the first one given; codes that differ between rows count as written otherwise.
    pub fn unknown_written(&self) -> Option<&UnknownCode> {
        self.titrations.iter().find_map(|t| t.unknown.as_ref())
    }

    /// The latest time a row says it was handed in.
    pub fn submitted_at(&self) -> Option<Timestamp> {
        self.titrations.iter().filter_map(|t| t.submitted_at).max()
    }
}

/// Why a trial is spoiled, in a line.
pub fn spoiled_because(text: &str) -> Result<String, String> {
    let text = crate::text::line_of_text(text)?;
    if text.chars().count() > 200 {
        return Err(
            "found more than 200 characters, expected in a few words what went wrong".into(),
        );
    }
    Ok(text)
}

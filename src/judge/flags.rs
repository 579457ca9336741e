//! Flags: what a person should look at, with the evidence and how often chance alone raises it.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::slips::SlipCode;
use crate::words::named;

/// Something about a submission that a person should look at. Never shown to students, never a penalty by itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    pub code: FlagCode,
    /// The readings or the statistic that raised it, in a sentence.
    pub evidence: String,
    /// Probability that clean work raises it; 0 where chance has no part in it.
    pub chance: f64,
    /// Whether it asks for a person; else it only informs.
    pub review: bool,
    /// Slips that would explain it, each with its share of the likelihood.
    #[serde(default)]
    pub candidates: Vec<(SlipCode, Decimal)>,
}

impl Flag {
    /// A flag in which chance has no part.
    pub fn certain(code: FlagCode, evidence: impl Into<String>) -> Self {
        Self::by_chance(code, evidence, 0.0)
    }

    /// A flag that clean work raises with that probability.
    pub fn by_chance(code: FlagCode, evidence: impl Into<String>, chance: f64) -> Self {
        Self {
            code,
            evidence: evidence.into(),
            chance,
            review: code.needs_review(),
            candidates: Vec::new(),
        }
    }

    /// The same, which only informs.
    pub fn for_information(self) -> Self {
        Self {
            review: false,
            ..self
        }
    }
}

/// The kinds of flags.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FlagCode {
    /// The result is off the truth by more than its uncertainty allows.
    InconsistentTruth,
    /// The titrant carried over was standardised wrongly.
    CarriedError,
    /// Nobody has standardised the titrant yet.
    NotStandardised,
    /// One slip explains a result off the truth, or an answer that is not the recomputation.
    LikelySlip,
    /// A row of the file could not be read.
    SetAside,
    /// The unknown or lot written is not the one given out.
    UnknownMismatch,
    /// The student's answer is not the recomputation.
    ReportedDiffers,
    /// The trials scatter more than reading and endpoint allow.
    ScatterHigh,
    /// Readings shared with another student of the section who is not of the same bench group.
    Alike,
    /// The trials agree better than reading and endpoint allow.
    ScatterLow,
    /// Last digits unlike estimated digits.
    EndDigits,
    /// Fewer counted trials than asked for, or no blank.
    FewTrials,
    /// Readings with too few or too many decimals, or confirmed against a question.
    Recording,
    /// The glassware was used outside its proper range.
    Instrument,
    Late,
    /// Corrected after it was due.
    RevisedAfterDue,
}

named! { FlagCode, code:
    InconsistentTruth = "inconsistent-truth": "result off the assigned value",
    CarriedError = "carried-error": "titrant standardised wrongly before",
    NotStandardised = "not-standardised": "titrant not standardised, or line not measured, yet",
    LikelySlip = "likely-slip": "one slip explains it",
    SetAside = "set-aside": "a row could not be read",
    UnknownMismatch = "unknown-mismatch": "bottle or lot not the one given out",
    ReportedDiffers = "reported-differs": "own answer does not follow from the readings",
    ScatterHigh = "scatter-high": "trials scatter too much",
    Alike = "alike": "readings shared with another student",
    ScatterLow = "scatter-low": "trials agree better than they can be read",
    EndDigits = "end-digits": "last digits unlike estimated ones",
    FewTrials = "few-trials": "too few trials",
    Recording = "recording": "readings not written as the glassware is read",
    Instrument = "instrument": "glassware outside its proper range",
    Late = "late": "late",
    RevisedAfterDue = "revised-after-due": "corrected after it was due",
}

impl FlagCode {
    /// Whether it asks for a person as a rule.
    pub fn needs_review(self) -> bool {
        match self {
            Self::CarriedError
            | Self::Recording
            | Self::Late
            | Self::Instrument
            | Self::EndDigits => false,
            Self::InconsistentTruth
            | Self::NotStandardised
            | Self::LikelySlip
            | Self::SetAside
            | Self::UnknownMismatch
            | Self::ReportedDiffers
            | Self::ScatterHigh
            | Self::Alike
            | Self::ScatterLow
            | Self::FewTrials
            | Self::RevisedAfterDue => true,
        }
    }
}

impl fmt::Display for FlagCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

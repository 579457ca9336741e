//! Flags: what a person should look at, with the evidence and how often chance alone raises it.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::slips::SlipCode;

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
    /// One slip explains a result off the truth, or an answer that is not the recomputation.
    LikelySlip,
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

impl FlagCode {
    /// Every kind, most consequential first.
    pub const ALL: [Self; 13] = [
        Self::InconsistentTruth,
        Self::LikelySlip,
        Self::UnknownMismatch,
        Self::ReportedDiffers,
        Self::ScatterHigh,
        Self::Alike,
        Self::ScatterLow,
        Self::EndDigits,
        Self::FewTrials,
        Self::Recording,
        Self::Instrument,
        Self::Late,
        Self::RevisedAfterDue,
    ];

    /// As it is written in files.
    pub fn code(self) -> &'static str {
        match self {
            Self::InconsistentTruth => "inconsistent-truth",
            Self::LikelySlip => "likely-slip",
            Self::UnknownMismatch => "unknown-mismatch",
            Self::ReportedDiffers => "reported-differs",
            Self::ScatterHigh => "scatter-high",
            Self::Alike => "alike",
            Self::ScatterLow => "scatter-low",
            Self::EndDigits => "end-digits",
            Self::FewTrials => "few-trials",
            Self::Recording => "recording",
            Self::Instrument => "instrument",
            Self::Late => "late",
            Self::RevisedAfterDue => "revised-after-due",
        }
    }

    /// In words, for staff.
    pub fn words(self) -> &'static str {
        match self {
            Self::InconsistentTruth => "result off the assigned value",
            Self::LikelySlip => "one slip explains it",
            Self::UnknownMismatch => "bottle or lot not the one given out",
            Self::ReportedDiffers => "own answer does not follow from the readings",
            Self::ScatterHigh => "trials scatter too much",
            Self::Alike => "readings shared with another student",
            Self::ScatterLow => "trials agree better than they can be read",
            Self::EndDigits => "last digits unlike estimated ones",
            Self::FewTrials => "too few trials",
            Self::Recording => "readings not written as the glassware is read",
            Self::Instrument => "glassware outside its proper range",
            Self::Late => "late",
            Self::RevisedAfterDue => "corrected after it was due",
        }
    }

    /// Whether it asks for a person as a rule.
    pub fn needs_review(self) -> bool {
        match self {
            Self::Recording | Self::Late | Self::Instrument | Self::EndDigits => false,
            Self::InconsistentTruth
            | Self::LikelySlip
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

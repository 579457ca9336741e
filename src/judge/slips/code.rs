//! The slips there are: names, words, and how often each is expected.

use std::fmt;

use crate::language::Message;
use crate::words::named;
use serde::{Deserialize, Serialize};

/// A mistake students make.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SlipCode {
    /// One burette reading taken upward: 27.64 for 27.36.
    ReadUpward,
    /// Every reading of the hand-in taken upward.
    AllReadUpward,
    /// One reading off by 10.00.
    TenMillilitres,
    /// Another nominal pipette or flask of the same shelf.
    WrongPipette,
    /// The first titration is off and later ones settle, as where a burette was wet.
    NotRinsed,
    /// One reading off by 1.00.
    WholeMillilitre,
    /// One reading off by 0.10.
    Tenth,
    /// Two neighbouring digits of one reading exchanged.
    TransposedDigits,
    /// The nominal sample volume written instead of the measured one.
    SampleNominal,
    /// The readings fit another unknown.
    OtherUnknown,
    /// The readings fit another titrant lot.
    OtherLot,
    /// All trials high by the same few drops.
    Overshoot,
    /// End reading used as the delivered volume.
    EndNotDifference,
    /// The same in one trial only.
    StartNotZeroIgnored,
    /// A volume in mL used as if it were in litres, or the other way about.
    MillilitresAsLitres,
    /// Stoichiometric ratio upside down.
    RatioInverted,
    /// Ratio taken as 1 : 1.
    RatioIgnored,
    /// Titrant and sample volume in each other's place.
    VolumesExchanged,
    /// Label molarity instead of the lot's.
    NominalMolarity,
    /// Aliquot factor left out.
    DilutionOmitted,
    BlankOmitted,
    /// Back titration: the remainder taken for what the sample used.
    BackNotSubtracted,
    /// Rough or rejected trial averaged in.
    RoughIncluded,
    /// A single trial reported.
    OneTrialOnly,
    /// Expressed as another species.
    WrongSpecies,
    /// A power of ten.
    UnitSlip,
    /// An intermediate value rounded to 2 or 3 figures.
    RoundedEarly,
    /// Intercept of a line left out, or with the wrong sign.
    InterceptIgnored,
    /// A line forced through the origin.
    LineThroughOrigin,
    /// A line without the weights, or without the bend, that are asked for.
    OtherLine,
    /// Two signals in each other's place, or the constants of one with the other.
    SignalsExchanged,
    /// The whole of a signal taken for the analyte's.
    OtherIgnored,
    /// What was found of the other species reported.
    OtherComponent,
    /// Loss, residue and sample taken for one another.
    MassesExchanged,
    /// Masses used in place of amounts of substance.
    MassesAsAmounts,
    /// A curve not corrected for the volume of titrant added.
    VolumeNotCorrected,
}

named! { SlipCode, code, from_code:
    ReadUpward = "read-upward": "a burette reading taken upward",
    AllReadUpward = "all-read-upward": "every burette reading taken upward",
    TenMillilitres = "ten-millilitres": "a reading off by ten millilitres",
    WrongPipette = "wrong-pipette": "another pipette or flask than the one named",
    NotRinsed = "not-rinsed": "a burette or pipette that was wet at the start",
    WholeMillilitre = "whole-millilitre": "a reading off by a whole millilitre",
    Tenth = "tenth": "a reading off by a tenth",
    TransposedDigits = "transposed-digits": "two digits of a reading exchanged",
    SampleNominal = "sample-nominal": "nominal sample volume written",
    OtherUnknown = "other-unknown": "another bottle",
    OtherLot = "other-lot": "another lot",
    Overshoot = "overshoot": "all endpoints overshot",
    EndNotDifference = "end-not-difference": "end reading used as the volume",
    StartNotZeroIgnored = "start-not-zero-ignored": "end reading used as the volume in one trial",
    MillilitresAsLitres = "millilitres-as-litres": "millilitres taken for litres",
    RatioInverted = "ratio-inverted": "ratio upside down",
    RatioIgnored = "ratio-ignored": "ratio taken as 1 to 1",
    VolumesExchanged = "volumes-exchanged": "titrant and sample volume exchanged",
    NominalMolarity = "nominal-molarity": "molarity of the label",
    DilutionOmitted = "dilution-omitted": "aliquot factor left out",
    BlankOmitted = "blank-omitted": "blank not subtracted",
    BackNotSubtracted = "back-not-subtracted": "remainder taken for what was used",
    RoughIncluded = "rough-included": "a trial averaged in that does not count",
    OneTrialOnly = "one-trial-only": "one trial instead of the mean",
    WrongSpecies = "wrong-species": "expressed as another species",
    UnitSlip = "unit-slip": "a power of ten",
    RoundedEarly = "rounded-early": "rounded on the way",
    InterceptIgnored = "intercept-ignored": "intercept of the line left out or with the wrong sign",
    LineThroughOrigin = "line-through-origin": "line forced through the origin",
    OtherLine = "other-line": "another line than the one asked for",
    SignalsExchanged = "signals-exchanged": "two signals exchanged",
    OtherIgnored = "other-ignored": "the other species\u{2019} share not taken off",
    OtherComponent = "other-component": "the other species\u{2019} amount reported",
    MassesExchanged = "masses-exchanged": "loss, residue and sample taken for one another",
    MassesAsAmounts = "masses-as-amounts": "masses taken for amounts of substance",
    VolumeNotCorrected = "volume-not-corrected": "curve not corrected for the volume added",
}

impl SlipCode {
    /// For the student, after release: what likely happened, and what helps.
    pub fn advice(self) -> Message {
        Message::new(format!("slip.{}", self.code()))
    }

    /// Whether it changes an answer by a factor, so that two of them multiply.
    pub(super) fn is_factor(self) -> bool {
        matches!(
            self,
            Self::MillilitresAsLitres
                | Self::RatioInverted
                | Self::RatioIgnored
                | Self::NominalMolarity
                | Self::DilutionOmitted
                | Self::WrongSpecies
                | Self::UnitSlip
        )
    }

    /// Whether it may stand as the likely explanation; else it is only offered beside others.
    pub(super) fn is_put_forward(self) -> bool {
        self != Self::NotRinsed
    }

    /// Relative frequency assumed, shared among all ways the slip can happen in a submission. Not measured: an ordering
    /// from common practice, in which the simple and the frequent come first.
    pub(super) fn weight(self) -> f64 {
        match self {
            Self::EndNotDifference
            | Self::MillilitresAsLitres
            | Self::UnitSlip
            | Self::DilutionOmitted
            | Self::OneTrialOnly
            | Self::WrongPipette
            | Self::OtherUnknown => 3.0,
            Self::ReadUpward
            | Self::WholeMillilitre
            | Self::RatioIgnored
            | Self::NominalMolarity
            | Self::BlankOmitted
            | Self::OtherIgnored
            | Self::MassesAsAmounts
            | Self::InterceptIgnored
            | Self::StartNotZeroIgnored => 2.0,
            Self::Tenth
            | Self::TenMillilitres
            | Self::NotRinsed
            | Self::RoundedEarly
            | Self::TransposedDigits
            | Self::RatioInverted
            | Self::BackNotSubtracted
            | Self::RoughIncluded
            | Self::WrongSpecies
            | Self::OtherLot
            | Self::Overshoot
            | Self::LineThroughOrigin
            | Self::OtherLine
            | Self::SignalsExchanged
            | Self::OtherComponent
            | Self::MassesExchanged
            | Self::VolumeNotCorrected
            | Self::SampleNominal => 1.0,
            Self::VolumesExchanged | Self::AllReadUpward => 0.5,
        }
    }
}

impl fmt::Display for SlipCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

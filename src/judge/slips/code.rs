//! The slips there are: names, words, and how often each is expected.

use std::fmt;

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
    pub fn advice(self) -> &'static str {
        match self {
            Self::ReadUpward => {
                "one burette reading fits if it was taken upward from the next mark; a burette's numbers grow downward"
            }
            Self::AllReadUpward => {
                "your readings fit if all of them were taken upward from the next mark; a burette's numbers grow downward"
            }
            Self::TenMillilitres => {
                "one reading fits if it is ten millilitres off; look at the numbered marks above and below the meniscus"
            }
            Self::WrongPipette => {
                "your numbers fit another pipette or flask; compare its mark with the procedure"
            }
            Self::NotRinsed => {
                "your first titration lies apart and the later ones settle; rinse burette and pipette with what they will hold"
            }
            Self::WholeMillilitre => {
                "one reading fits if it is a whole millilitre off; look at the numbered mark above the meniscus"
            }
            Self::Tenth => "one reading fits if it is a tenth off; count the short marks once more",
            Self::TransposedDigits => "one reading fits if two of its digits changed places",
            Self::SampleNominal => {
                "your sample volumes are all the nominal one; write down what you read off the glassware"
            }
            Self::OtherUnknown => {
                "your readings fit another bottle of this experiment; compare the code you wrote with the bottle"
            }
            Self::OtherLot => {
                "your readings fit another lot of the reagent; compare the lot you wrote with the bottle"
            }
            Self::Overshoot => {
                "all your titres are high by about the same few drops; near the endpoint, split drops and wait for the colour"
            }
            Self::EndNotDifference => {
                "your answer is what you get from the end readings alone; the delivered volume is end minus start"
            }
            Self::StartNotZeroIgnored => {
                "your answer is what you get if one trial\u{2019}s end reading is used as its volume; the delivered volume is end minus start"
            }
            Self::MillilitresAsLitres => {
                "your answer is a thousand times off; a volume in millilitres was probably used as litres, or the other way about"
            }
            Self::RatioInverted => {
                "your answer is what you get with the stoichiometric ratio upside down; write the units of the ratio beside it"
            }
            Self::RatioIgnored => {
                "your answer is what you get with a ratio of 1 to 1; read the ratio off the balanced reaction"
            }
            Self::VolumesExchanged => {
                "your answer is what you get with the volumes of titrant and sample in each other\u{2019}s place"
            }
            Self::NominalMolarity => {
                "your answer is what you get with the molarity printed on the label; use the one of your lot"
            }
            Self::DilutionOmitted => {
                "your answer is what you get for the pipetted part alone; multiply by flask over pipette"
            }
            Self::BlankOmitted => "your answer is what you get without subtracting the blank",
            Self::BackNotSubtracted => {
                "your answer is what you get from the reagent left over; the sample used what was added less what was left"
            }
            Self::RoughIncluded => {
                "your answer is what you get with a trial averaged in that does not count"
            }
            Self::OneTrialOnly => {
                "your answer is the result of one trial; report the mean of those that count"
            }
            Self::WrongSpecies => {
                "your answer is what you get with the molar mass of another species; see what the result is expressed as"
            }
            Self::UnitSlip => "your answer is a power of ten off; write the unit beside every step",
            Self::RoundedEarly => {
                "your answer is what you get by rounding on the way; keep all figures until the end"
            }
            Self::InterceptIgnored => {
                "your answer is what you get with the intercept left out or with the wrong sign; take it off the signal before you divide by the slope"
            }
            Self::LineThroughOrigin => {
                "your answer is what you get with the line forced through the origin; let the standards say where it begins"
            }
            Self::OtherLine => {
                "your answer is what you get with another line than the one asked for; see whether it is to be weighted or bent"
            }
            Self::SignalsExchanged => {
                "your answer is what you get with the two signals in each other\u{2019}s place; write the wavelength beside every absorbance and constant"
            }
            Self::OtherIgnored => {
                "your answer is what you get if the whole signal is the analyte\u{2019}s; the other species has a share in it"
            }
            Self::OtherComponent => {
                "your answer is what you get for the other species; see which one is asked for"
            }
            Self::MassesExchanged => {
                "your answer is what you get with the loss, the residue or the sample in each other\u{2019}s place; write what every mass is of"
            }
            Self::MassesAsAmounts => {
                "your answer is a ratio of masses; divide each by its molar mass first"
            }
            Self::VolumeNotCorrected => {
                "your answer is what you get without correcting the curve for the titrant added; multiply by the whole volume"
            }
        }
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

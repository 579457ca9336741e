//! The slips there are: names, words, and how often each is expected.

use std::fmt;

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
}

impl SlipCode {
    /// Every slip, in the order of the contract.
    pub const ALL: [Self; 27] = [
        Self::ReadUpward,
        Self::AllReadUpward,
        Self::TenMillilitres,
        Self::WrongPipette,
        Self::NotRinsed,
        Self::WholeMillilitre,
        Self::Tenth,
        Self::TransposedDigits,
        Self::SampleNominal,
        Self::OtherUnknown,
        Self::OtherLot,
        Self::Overshoot,
        Self::EndNotDifference,
        Self::StartNotZeroIgnored,
        Self::MillilitresAsLitres,
        Self::RatioInverted,
        Self::RatioIgnored,
        Self::VolumesExchanged,
        Self::NominalMolarity,
        Self::DilutionOmitted,
        Self::BlankOmitted,
        Self::BackNotSubtracted,
        Self::RoughIncluded,
        Self::OneTrialOnly,
        Self::WrongSpecies,
        Self::UnitSlip,
        Self::RoundedEarly,
    ];

    /// As it is written in files.
    pub fn code(self) -> &'static str {
        match self {
            Self::ReadUpward => "read-upward",
            Self::AllReadUpward => "all-read-upward",
            Self::TenMillilitres => "ten-millilitres",
            Self::WrongPipette => "wrong-pipette",
            Self::NotRinsed => "not-rinsed",
            Self::WholeMillilitre => "whole-millilitre",
            Self::Tenth => "tenth",
            Self::TransposedDigits => "transposed-digits",
            Self::SampleNominal => "sample-nominal",
            Self::OtherUnknown => "other-unknown",
            Self::OtherLot => "other-lot",
            Self::Overshoot => "overshoot",
            Self::EndNotDifference => "end-not-difference",
            Self::StartNotZeroIgnored => "start-not-zero-ignored",
            Self::MillilitresAsLitres => "millilitres-as-litres",
            Self::RatioInverted => "ratio-inverted",
            Self::RatioIgnored => "ratio-ignored",
            Self::VolumesExchanged => "volumes-exchanged",
            Self::NominalMolarity => "nominal-molarity",
            Self::DilutionOmitted => "dilution-omitted",
            Self::BlankOmitted => "blank-omitted",
            Self::BackNotSubtracted => "back-not-subtracted",
            Self::RoughIncluded => "rough-included",
            Self::OneTrialOnly => "one-trial-only",
            Self::WrongSpecies => "wrong-species",
            Self::UnitSlip => "unit-slip",
            Self::RoundedEarly => "rounded-early",
        }
    }

    /// The slip of that name.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|slip| slip.code() == code)
    }

    pub fn words(self) -> &'static str {
        match self {
            Self::ReadUpward => "a burette reading taken upward",
            Self::AllReadUpward => "every burette reading taken upward",
            Self::TenMillilitres => "a reading off by ten millilitres",
            Self::WrongPipette => "another pipette or flask than the one named",
            Self::NotRinsed => "a burette or pipette that was wet at the start",
            Self::WholeMillilitre => "a reading off by a whole millilitre",
            Self::Tenth => "a reading off by a tenth",
            Self::TransposedDigits => "two digits of a reading exchanged",
            Self::SampleNominal => "nominal sample volume written",
            Self::OtherUnknown => "another bottle",
            Self::OtherLot => "another lot",
            Self::Overshoot => "all endpoints overshot",
            Self::EndNotDifference => "end reading used as the volume",
            Self::StartNotZeroIgnored => "end reading used as the volume in one trial",
            Self::MillilitresAsLitres => "millilitres taken for litres",
            Self::RatioInverted => "ratio upside down",
            Self::RatioIgnored => "ratio taken as 1 to 1",
            Self::VolumesExchanged => "titrant and sample volume exchanged",
            Self::NominalMolarity => "molarity of the label",
            Self::DilutionOmitted => "aliquot factor left out",
            Self::BlankOmitted => "blank not subtracted",
            Self::BackNotSubtracted => "remainder taken for what was used",
            Self::RoughIncluded => "a trial averaged in that does not count",
            Self::OneTrialOnly => "one trial instead of the mean",
            Self::WrongSpecies => "expressed as another species",
            Self::UnitSlip => "a power of ten",
            Self::RoundedEarly => "rounded on the way",
        }
    }

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
            | Self::OtherUnknown => 3.0,
            Self::ReadUpward
            | Self::WholeMillilitre
            | Self::RatioIgnored
            | Self::NominalMolarity
            | Self::BlankOmitted
            | Self::RoundedEarly
            | Self::StartNotZeroIgnored => 2.0,
            Self::Tenth
            | Self::TenMillilitres
            | Self::WrongPipette
            | Self::NotRinsed
            | Self::TransposedDigits
            | Self::RatioInverted
            | Self::BackNotSubtracted
            | Self::RoughIncluded
            | Self::WrongSpecies
            | Self::OtherLot
            | Self::Overshoot
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

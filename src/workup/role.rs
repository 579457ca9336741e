//! What a step is for. Whoever looks for a step asks for its role; words and symbols are only made from it.
#![deny(clippy::wildcard_enum_match_arm)]

use std::borrow::Cow;

use crate::submission::Delivery;

/// Roles that more than one place knows, and those of a scheme's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    BuretteStart(Delivery),
    BuretteEnd(Delivery),
    /// The burette at the first of two endpoints in one flask.
    FirstEndpointReading,
    Delivered(Delivery),
    ToFirstEndpoint,
    /// Where a titration curve has its jump or its lines meet.
    Equivalence,
    /// A volume less its blank.
    Net,
    MeanBlank(Titre),
    SampleVolume,
    SampleMass,
    MassBefore,
    MassAfter,
    MassFull,
    MassEmpty,
    /// What the sample is made up in before a part of it is taken.
    SampleFlask,
    Aliquot,
    /// What a standard of a calibration line is made up in.
    StandardFlask,
    /// What a part of the sample is made up in to be measured beside the standards.
    MeasuredFlask,
    StandardStock,
    Absorbance,
    Slope,
    ExcessVolume,
    ExcessAdded,
    ExcessLeft,
    ExcessUsed,
    Molarity(Party),
    /// Of a stock that a preparation starts from.
    StockMolarity,
    MolarMass,
    /// Stoichiometric: moles of the first per mole of the second.
    Ratio(Party, Party),
    /// Analyte per titrant to one of two endpoints.
    EndpointRatio(Titre),
    /// Moles of what the result is expressed as per mole of analyte.
    CompositionRatio,
    UnitFactor(&'static str),
    Result,
    MeanResult,
    /// A part taken for a dilution of a preparation, or the flask it is made up in.
    Dilution(DilutionPart),
    /// What only one scheme or preparation has, and nobody looks for.
    Own(Own),
}

/// Which titre of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Titre {
    Whole,
    /// To the first of two endpoints.
    First,
    /// To the second of two endpoints.
    Second,
}

/// Who takes part in a scheme's reactions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Party {
    Analyte,
    Titrant,
    Excess,
    Weighed,
    Precipitate,
    /// What heating leaves.
    Residue,
    /// What the stock of a calibration line holds.
    Stock,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DilutionPart {
    pub kind: DilutionKind,
    /// From 1.
    pub number: usize,
    /// Whether there are others, so that symbols need the number.
    pub several: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DilutionKind {
    Pipette,
    Burette,
    Flask,
}

/// A quantity of one scheme: its words, with a species between them where it is about one, and its symbol.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Own {
    before: &'static str,
    after: &'static str,
    symbol: &'static str,
}

impl Own {
    pub const fn new(words: &'static str, symbol: &'static str) -> Self {
        Self::about(words, "", symbol)
    }

    pub const fn about(before: &'static str, after: &'static str, symbol: &'static str) -> Self {
        Self {
            before,
            after,
            symbol,
        }
    }
}

/// How a role is written.
pub(super) struct Written {
    /// In words, up to the species if it is about one.
    pub before: Cow<'static, str>,
    pub after: &'static str,
    pub symbol: Cow<'static, str>,
    /// After the subscript, such as a prime.
    pub mark: &'static str,
    /// Whether the symbol is a function of the species, such as `M(CaCO3)`.
    pub of_species: bool,
}

impl Role {
    /// A ratio of amounts of substance.
    pub fn is_ratio(self) -> bool {
        matches!(
            self,
            Self::Ratio(..) | Self::EndpointRatio(_) | Self::CompositionRatio
        )
    }

    pub(super) fn written(self) -> Written {
        let (words, symbol) = match self {
            Self::BuretteStart(Delivery::First) => ("start reading", "s"),
            Self::BuretteStart(Delivery::Second) => ("start reading, second titration", "sw"),
            Self::BuretteStart(Delivery::Excess) => ("start reading, excess reagent", "sx"),
            Self::BuretteEnd(Delivery::Excess) => ("end reading, excess reagent", "ex"),
            Self::BuretteEnd(Delivery::First) => ("end reading", "e"),
            Self::BuretteEnd(Delivery::Second) => ("end reading, second titration", "ew"),
            Self::FirstEndpointReading => ("reading at the first endpoint", "f"),
            Self::Delivered(Delivery::First) => ("delivered volume", "V"),
            Self::Delivered(Delivery::Second) => ("delivered volume, second titration", "W"),
            Self::Delivered(Delivery::Excess) => ("delivered volume, excess reagent", "Vx"),
            Self::ToFirstEndpoint => ("volume to the first endpoint", "V\u{2032}"),
            Self::Equivalence => ("equivalence volume", "Veq"),
            Self::Net => ("volume less the blank", "V*"),
            Self::MeanBlank(Titre::Whole) => ("mean blank", "V\u{304}b"),
            Self::MeanBlank(Titre::First) => ("mean blank, first endpoint", "V\u{304}b\u{2032}"),
            Self::MeanBlank(Titre::Second) => ("mean blank, second endpoint", "V\u{304}b\u{2033}"),
            Self::SampleVolume => ("sample volume", "Vs"),
            Self::SampleMass => ("sample mass", "m"),
            Self::MassBefore => return Written::marked("mass before", "m", "\u{2032}"),
            Self::MassAfter => return Written::marked("mass after", "m", "\u{2033}"),
            Self::MassFull => ("mass full", "g"),
            Self::MassEmpty => ("mass empty", "e"),
            Self::SampleFlask => ("flask volume", "Vf"),
            Self::Aliquot => ("aliquot volume", "Va"),
            Self::StandardFlask | Self::MeasuredFlask => ("flask volume", "Vm"),
            Self::StandardStock => ("volume of stock", "v"),
            Self::Absorbance => ("absorbance", "A"),
            Self::Slope => ("slope of the line", "b"),
            Self::ExcessVolume => ("excess volume", "Ve"),
            Self::ExcessAdded => return Written::about("amount of ", " added", "ne"),
            Self::ExcessLeft => return Written::about("amount of ", " left over", "nl"),
            Self::ExcessUsed => return Written::about("amount of ", " used by the sample", "nu"),
            Self::Molarity(_) => return Written::function("molarity of ", "c"),
            Self::StockMolarity => return Written::about("molarity of ", ", stock", "cs"),
            Self::MolarMass => return Written::function("molar mass of ", "M"),
            Self::Ratio(of, per) => {
                let symbol = format!("{}/{}", of.letter(), per.letter());
                return Written {
                    symbol: symbol.into(),
                    ..Written::about("ratio of ", " to ", "")
                };
            }
            Self::EndpointRatio(Titre::Whole) => {
                return Written::about("ratio of ", " to ", "f");
            }
            Self::EndpointRatio(Titre::First) => {
                return Written::about("first endpoint: ratio of ", " to ", "f\u{2032}");
            }
            Self::EndpointRatio(Titre::Second) => {
                return Written::about("second endpoint: ratio of ", " to ", "f\u{2033}");
            }
            Self::CompositionRatio => return Written::about("ratio of ", " to ", "r"),
            Self::UnitFactor(words) => (words, "F"),
            Self::Result => ("result", "x"),
            Self::MeanResult => ("mean result", "x\u{304}"),
            Self::Dilution(part) => return part.written(),
            Self::Own(own) => return Written::about(own.before, own.after, own.symbol),
        };
        Written::about(words, "", symbol)
    }
}

impl Party {
    fn letter(self) -> char {
        match self {
            Self::Analyte => 'A',
            Self::Titrant => 'T',
            Self::Excess => 'E',
            Self::Weighed | Self::Stock => 'S',
            Self::Precipitate => 'P',
            Self::Residue => 'R',
        }
    }
}

impl DilutionPart {
    fn written(self) -> Written {
        let (words, letters) = match self.kind {
            DilutionKind::Pipette => ("pipette of dilution", "Vp"),
            DilutionKind::Burette => ("volume taken for dilution", "Vp"),
            DilutionKind::Flask => ("flask of dilution", "Vd"),
        };
        let number = self.number.to_string();
        let below = if self.several {
            subscript(&number)
        } else {
            String::new()
        };
        Written {
            before: format!("{words} {number}").into(),
            symbol: format!("{letters}{below}").into(),
            ..Written::about("", "", "")
        }
    }
}

impl Written {
    fn about(before: &'static str, after: &'static str, symbol: &'static str) -> Self {
        Self {
            before: before.into(),
            after,
            symbol: symbol.into(),
            mark: "",
            of_species: false,
        }
    }

    fn marked(words: &'static str, symbol: &'static str, mark: &'static str) -> Self {
        Self {
            mark,
            ..Self::about(words, "", symbol)
        }
    }

    fn function(before: &'static str, symbol: &'static str) -> Self {
        Self {
            of_species: true,
            ..Self::about(before, "", symbol)
        }
    }
}

/// Digits as they stand below the line.
pub(super) fn subscript(digits: &str) -> String {
    let below = |digit: char| char::from_u32(0x2080_u32.checked_add(digit.to_digit(10)?)?);
    digits.chars().filter_map(below).collect()
}

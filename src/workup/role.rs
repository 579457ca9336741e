//! What a step is for. Whoever looks for a step asks for its role; words and symbols are only made from it.
#![deny(clippy::wildcard_enum_match_arm)]

use std::borrow::Cow;

use crate::language::Message;
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
    /// Between two units, by the key of its words.
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

/// A quantity of one scheme: the key of its words, where a species stands in `{species}`, and its symbol.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Own {
    words: &'static str,
    symbol: &'static str,
}

impl Own {
    pub const fn new(words: &'static str, symbol: &'static str) -> Self {
        Self { words, symbol }
    }
}

/// How a role is written.
pub(super) struct Written {
    /// In words, with a place for the species it is about, and for that of a ratio's second part.
    pub words: Message,
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
            Self::BuretteStart(Delivery::First) => ("step.start", "s"),
            Self::BuretteStart(Delivery::Second) => ("step.start-second", "sw"),
            Self::BuretteStart(Delivery::Excess) => ("step.start-excess", "sx"),
            Self::BuretteEnd(Delivery::Excess) => ("step.end-excess", "ex"),
            Self::BuretteEnd(Delivery::First) => ("step.end", "e"),
            Self::BuretteEnd(Delivery::Second) => ("step.end-second", "ew"),
            Self::FirstEndpointReading => ("step.first-endpoint", "f"),
            Self::Delivered(Delivery::First) => ("step.delivered", "V"),
            Self::Delivered(Delivery::Second) => ("step.delivered-second", "W"),
            Self::Delivered(Delivery::Excess) => ("step.delivered-excess", "Vx"),
            Self::ToFirstEndpoint => ("step.to-first-endpoint", "V\u{2032}"),
            Self::Equivalence => ("step.equivalence", "Veq"),
            Self::Net => ("step.net", "V*"),
            Self::MeanBlank(Titre::Whole) => ("step.mean-blank", "V\u{304}b"),
            Self::MeanBlank(Titre::First) => ("step.mean-blank-first", "V\u{304}b\u{2032}"),
            Self::MeanBlank(Titre::Second) => ("step.mean-blank-second", "V\u{304}b\u{2033}"),
            Self::SampleVolume => ("step.sample-volume", "Vs"),
            Self::SampleMass => ("step.sample-mass", "m"),
            Self::MassBefore => return Written::marked("step.mass-before", "m", "\u{2032}"),
            Self::MassAfter => return Written::marked("step.mass-after", "m", "\u{2033}"),
            Self::MassFull => ("step.mass-full", "g"),
            Self::MassEmpty => ("step.mass-empty", "e"),
            Self::SampleFlask => ("step.flask-volume", "Vf"),
            Self::Aliquot => ("step.aliquot", "Va"),
            Self::StandardFlask | Self::MeasuredFlask => ("step.flask-volume", "Vm"),
            Self::StandardStock => ("step.stock-volume", "v"),
            Self::Absorbance => ("step.absorbance", "A"),
            Self::Slope => ("step.slope", "b"),
            Self::ExcessVolume => ("step.excess-volume", "Ve"),
            Self::ExcessAdded => ("step.excess-added", "ne"),
            Self::ExcessLeft => ("step.excess-left", "nl"),
            Self::ExcessUsed => ("step.excess-used", "nu"),
            Self::Molarity(_) => return Written::function("step.molarity", "c"),
            Self::StockMolarity => ("step.molarity-stock", "cs"),
            Self::MolarMass => return Written::function("step.molar-mass", "M"),
            Self::Ratio(of, per) => {
                let symbol = format!("{}/{}", of.letter(), per.letter());
                return Written {
                    symbol: symbol.into(),
                    ..Written::new("step.ratio", "")
                };
            }
            Self::EndpointRatio(Titre::Whole) => ("step.ratio", "f"),
            Self::EndpointRatio(Titre::First) => ("step.ratio-first", "f\u{2032}"),
            Self::EndpointRatio(Titre::Second) => ("step.ratio-second", "f\u{2033}"),
            Self::CompositionRatio => ("step.ratio", "r"),
            Self::UnitFactor(words) => (words, "F"),
            Self::Result => ("step.result", "x"),
            Self::MeanResult => ("step.mean-result", "x\u{304}"),
            Self::Dilution(part) => return part.written(),
            Self::Own(own) => (own.words, own.symbol),
        };
        Written::new(words, symbol)
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
            DilutionKind::Pipette => ("step.dilution-pipette", "Vp"),
            DilutionKind::Burette => ("step.dilution-burette", "Vp"),
            DilutionKind::Flask => ("step.dilution-flask", "Vd"),
        };
        let number = self.number.to_string();
        let below = if self.several {
            subscript(&number)
        } else {
            String::new()
        };
        Written {
            words: Message::new(words).with("n", self.number),
            symbol: format!("{letters}{below}").into(),
            ..Written::new("", "")
        }
    }
}

impl Written {
    fn new(words: &'static str, symbol: &'static str) -> Self {
        Self {
            words: Message::new(words),
            symbol: symbol.into(),
            mark: "",
            of_species: false,
        }
    }

    fn marked(words: &'static str, symbol: &'static str, mark: &'static str) -> Self {
        Self {
            mark,
            ..Self::new(words, symbol)
        }
    }

    fn function(words: &'static str, symbol: &'static str) -> Self {
        Self {
            of_species: true,
            ..Self::new(words, symbol)
        }
    }
}

/// Digits as they stand below the line.
pub(super) fn subscript(digits: &str) -> String {
    let below = |digit: char| char::from_u32(0x2080_u32.checked_add(digit.to_digit(10)?)?);
    digits.chars().filter_map(below).collect()
}

//! A written procedure, checked: its reactions balance, its ratios follow, its unit fits its sample.

mod check;
mod measured;
mod method;
mod sample;
mod unit;

use jiff::civil;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::chem::{Formula, Reaction};
use crate::judge::Marking;
use crate::measure::Glassware;
use crate::stats::{DixonCritical, DixonLevel};

pub use crate::ids::is_key;
pub use measured::{Calibration, Portion, Precipitate, Second, Vessel};
pub use method::{Asked, Method};
pub use unit::ResultUnit;

/// What is titrated with what, how, and how the result is expressed and marked.
///
/// Constructed only by [`Procedure::new`], so every procedure in the program balances and can be computed.
#[derive(Clone, Debug)]
pub struct Procedure {
    parts: ProcedureParts,
    method: Method,
}

/// The parts of a procedure, each valid by itself, before they are checked together.
#[derive(Clone, Debug)]
pub struct ProcedureParts {
    /// Names the procedure in course files: lower-case letters, digits and hyphens.
    pub key: String,
    pub title: String,
    /// How the result follows from the titres.
    pub scheme: Scheme,
    /// Balanced, in order of the chain.
    pub reactions: Vec<Reaction>,
    /// What is in the burette; titrations only.
    pub titrant: Option<Titrant>,
    pub sample: Sample,
    /// The reagent added in excess; back titrations only.
    pub excess: Option<Excess>,
    /// The second endpoint; two-endpoint titrations only.
    pub second: Option<Second>,
    /// What is weighed at the end; gravimetry only.
    pub precipitate: Option<Precipitate>,
    /// What is filled and weighed; density only.
    pub vessel: Option<Vessel>,
    /// The standards; calibration lines only.
    pub calibration: Option<Calibration>,
    /// What is asked for.
    pub result: ResultSpec,
    /// How many trials, and which count.
    pub trials: TrialRules,
    /// What the reading and the endpoint may be off.
    pub uncertainty: ReadingDoubt,
    /// How it is marked.
    pub marking: Marking,
    pub text: ProcedureText,
}

/// How the result follows from the readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scheme {
    /// The titrant reacts with the analyte.
    Direct,
    /// The titrant reacts with what a chain of reactions makes of the analyte.
    Indirect,
    /// An excess reagent reacts with the analyte; the titrant finds what is left of it.
    Back,
    /// A weighed primary standard gives the titrant's molarity.
    Standardisation,
    /// Two endpoints tell two analytes apart.
    TwoEndpoint,
    /// A precipitate is weighed.
    Gravimetric,
    /// A known volume is weighed.
    Density,
    /// Absorbance is compared with that of standards.
    CalibrationLine,
}

/// The titrant as the procedure asks for it.
#[derive(Clone, Debug)]
pub struct Titrant {
    pub species: Formula,
    /// Label molarity, mol/L.
    pub nominal: Decimal,
    /// The pH at which EDTA is to be used, if stated.
    pub ph: Option<Decimal>,
    /// The burette it is delivered from.
    pub burette: Glassware,
}

/// The reagent added in excess.
#[derive(Clone, Debug)]
pub struct Excess {
    pub species: Formula,
    /// Label molarity, mol/L.
    pub nominal: Decimal,
    /// The single-mark piece that measures it.
    pub glassware: Glassware,
}

/// How the sample is measured, and what becomes of it before titration.
#[derive(Clone, Debug)]
pub struct Sample {
    /// By volume, mass or mass difference.
    pub by: SampleBy,
    pub glassware: Glassware,
    /// The amount asked for, mL or g.
    pub nominal: Decimal,
    /// Made up in a flask, a pipetted part of it titrated.
    pub aliquot: Option<Aliquot>,
    /// What is weighed, where it differs from the species that reacts (standardisation).
    pub species: Option<Formula>,
    /// Mass fraction of the weighed standard and its half-width; standardisation only.
    pub purity: Option<Purity>,
}

/// How the sample is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SampleBy {
    /// mL: read if the glassware is graduated, else its nominal volume.
    Volume,
    /// g: one reading of a tared balance.
    Mass,
    /// g: before less after.
    MassDifference,
}

/// A flask and the pipette that takes a part of it.
#[derive(Clone, Debug)]
pub struct Aliquot {
    /// The sample is made up here.
    pub flask: Glassware,
    /// This much of it is titrated.
    pub pipette: Glassware,
}

/// Mass fraction of a primary standard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Purity {
    /// Between 0 and 1.
    pub fraction: Decimal,
    pub half_width: Decimal,
}

/// What is asked for.
#[derive(Clone, Debug)]
pub struct ResultSpec {
    /// The species that reacts (the titrant's in a standardisation); none where a density is asked for.
    pub analyte: Option<Formula>,
    /// The species it is expressed as; none where it is the analyte.
    pub expressed_as: Option<Formula>,
    pub unit: ResultUnit,
}

/// How many trials, and which of them count.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialRules {
    /// Fewest counted trials for full accuracy and agreement marks.
    pub minimum: u32,
    /// Whether a blank is titrated and subtracted.
    pub blank: bool,
    pub accept: Accept,
    /// Whether the form asks about the number of decimals while readings are entered.
    pub prompt_decimals: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Accept {
    All,
    /// The largest set, at least two, whose titres lie within so many mL.
    Concordant {
        /// Largest range of the set, mL.
        within: Decimal,
    },
    /// All but at most one outlier by Dixon's r10.
    Dixon {
        level: DixonLevel,
        /// Fewest trials for the test, by default 4.
        from: usize,
        /// Where the critical values come from.
        critical: DixonCritical,
    },
}

/// What a reading and an endpoint may be off (common practice where a procedure is silent).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingDoubt {
    /// Half-width of one burette reading, mL, triangular.
    pub burette_reading: Decimal,
    /// Volume of a drop, mL; the endpoint is within half of it, rectangular.
    pub drop: Decimal,
    /// How far the laboratory may be from 20 °C, rectangular; 0 leaves temperature out.
    pub temperature: Decimal,
    /// Relative standard deviation of one whole determination beyond reading and endpoint, percent: filling a vessel,
    /// washing a precipitate. The R of QUAM:2012, A2 and A3.
    pub repeatability: Decimal,
}

impl Default for ReadingDoubt {
    fn default() -> Self {
        Self {
            burette_reading: Decimal::new(2, 2),
            drop: Decimal::new(5, 2),
            temperature: Decimal::ZERO,
            repeatability: Decimal::ZERO,
        }
    }
}

/// What people read on the bench form and in print.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProcedureText {
    /// One or two sentences.
    pub summary: String,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// How the endpoint looks.
    pub endpoint: String,
    /// What to mind about glassware and readings.
    pub glassware_note: String,
    pub cautions: Vec<String>,
    pub waste: String,
}

/// One thing wrong with a procedure: the key, what was found, what was expected.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{key}`: {what}")]
pub struct ProcedureFault {
    /// The key in the procedure's file, such as `result.unit`.
    pub key: String,
    /// What was found and what was expected.
    pub what: String,
}

impl ProcedureFault {
    /// A fault at a key.
    pub fn new(key: impl Into<String>, what: impl ToString) -> Self {
        Self {
            key: key.into(),
            what: what.to_string(),
        }
    }
}

impl Procedure {
    /// Checks the parts together.
    ///
    /// # Errors
    /// Every [`ProcedureFault`] found, in the order of the keys of the file.
    pub fn new(parts: ProcedureParts) -> Result<Self, Vec<ProcedureFault>> {
        let mut faults = check::faults(&parts);
        match Method::of(&parts) {
            Ok(method) if faults.is_empty() => Ok(Self { parts, method }),
            Ok(_) => Err(faults),
            Err(more) => {
                faults.extend(more);
                Err(faults)
            }
        }
    }

    /// The same procedure with an experiment's own trial rules and marking.
    pub fn with(mut self, trials: Option<TrialRules>, marking: Option<Marking>) -> Self {
        self.parts.trials = trials.unwrap_or(self.parts.trials);
        self.parts.marking = marking.unwrap_or(self.parts.marking);
        self
    }

    /// How the result follows, with everything it takes.
    pub fn method(&self) -> &Method {
        &self.method
    }

    /// Whether rows of readings carry a sample volume: the sample is measured in graduated glassware.
    pub fn reads_sample_volume(&self) -> bool {
        self.sample.by == SampleBy::Volume && self.sample.glassware.kind().is_read()
    }

    /// The burette, in a titration.
    pub fn burette(&self) -> Option<&Glassware> {
        self.titrant.as_ref().map(|titrant| &titrant.burette)
    }

    /// The reagent whose lot enters the result, with its molarity by the label, mol/L: the titrant (not where it is what
    /// is asked for), or the stock of the standards.
    pub fn lot_reagent(&self) -> Option<(&Formula, Decimal)> {
        match (&self.titrant, &self.calibration) {
            (Some(_), _) if self.scheme == Scheme::Standardisation => None,
            (Some(titrant), _) => Some((&titrant.species, titrant.nominal)),
            (None, Some(calibration)) => Some((&calibration.species, calibration.nominal)),
            (None, None) => None,
        }
    }

    /// Whether the molarity of the titrant's or the stock's lot enters the result.
    pub fn uses_titrant_lot(&self) -> bool {
        self.lot_reagent().is_some()
    }

    /// Whether the molarity of the excess reagent's lot enters the result: not where a blank measures it.
    pub fn uses_excess_lot(&self) -> bool {
        self.excess.is_some()
    }
}

impl std::ops::Deref for Procedure {
    type Target = ProcedureParts;

    fn deref(&self) -> &ProcedureParts {
        &self.parts
    }
}

impl Scheme {
    pub const ALL: [Self; 8] = [
        Self::Direct,
        Self::Indirect,
        Self::Back,
        Self::Standardisation,
        Self::TwoEndpoint,
        Self::Gravimetric,
        Self::Density,
        Self::CalibrationLine,
    ];

    /// The word in a procedure's file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Direct => "direct",
            Self::Indirect => "indirect",
            Self::Back => "back",
            Self::Standardisation => "standardisation",
            Self::TwoEndpoint => "two-endpoint",
            Self::Gravimetric => "gravimetric",
            Self::Density => "density",
            Self::CalibrationLine => "calibration-line",
        }
    }

    /// Whether a burette delivers what is read.
    pub fn is_titration(self) -> bool {
        !matches!(
            self,
            Self::Gravimetric | Self::Density | Self::CalibrationLine
        )
    }
}

impl SampleBy {
    /// The word in a procedure's file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Volume => "volume",
            Self::Mass => "mass",
            Self::MassDifference => "mass-difference",
        }
    }
}

/// When an experiment opens and when it is due, in the course's own time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dates {
    /// Readings can be handed in from here on.
    pub opens: civil::DateTime,
    /// Later work is late.
    pub due: civil::DateTime,
}

//! A written procedure, checked: its chemistry balances, its ratios follow, its unit fits its sample.

mod chemistry;
mod sample;
mod unit;

use jiff::civil;
use rust_decimal::Decimal;

use crate::chem::{Formula, Reaction, per_analyte};
use crate::judge::Marking;
use crate::measure::{Glassware, GlasswareKind};
use crate::stats::DixonLevel;

pub use chemistry::Chemistry;
pub use unit::ResultUnit;

/// What is titrated with what, how, and how the result is expressed and marked.
///
/// Constructed only by [`Procedure::new`], so every procedure in the program balances and can be computed.
#[derive(Clone, Debug)]
pub struct Procedure {
    parts: ProcedureParts,
    chemistry: Chemistry,
}

/// The parts of a procedure, each valid by itself, before they are checked together.
#[derive(Clone, Debug)]
pub struct ProcedureParts {
    /// Names the procedure in course files: lower-case letters, digits and hyphens.
    pub key: String,
    /// For people.
    pub title: String,
    /// How the result follows from the titres.
    pub scheme: Scheme,
    /// Balanced, in order of the chain.
    pub reactions: Vec<Reaction>,
    /// What is in the burette.
    pub titrant: Titrant,
    /// What is analysed.
    pub sample: Sample,
    /// The reagent added in excess; back titrations only.
    pub excess: Option<Excess>,
    /// What is asked for.
    pub result: ResultSpec,
    /// How many trials, and which count.
    pub trials: TrialRules,
    /// What the reading and the endpoint may be off.
    pub uncertainty: ReadingDoubt,
    /// How it is marked.
    pub marking: Marking,
    /// What people read.
    pub text: ProcedureText,
}

/// How the result follows from the titres.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scheme {
    /// The titrant reacts with the analyte, or with what a chain of reactions makes of it.
    Direct,
    /// An excess reagent reacts with the analyte; the titrant finds what is left of it.
    Back,
    /// A weighed primary standard gives the titrant's molarity.
    Standardisation,
}

/// The titrant as the procedure asks for it.
#[derive(Clone, Debug)]
pub struct Titrant {
    /// The reacting species.
    pub species: Formula,
    /// Label molarity, mol/L.
    pub nominal: Decimal,
    /// The burette it is delivered from.
    pub burette: Glassware,
}

/// The reagent added in excess.
#[derive(Clone, Debug)]
pub struct Excess {
    /// The reacting species.
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
    /// What measures it.
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
    /// ±, rectangular.
    pub half_width: Decimal,
}

/// What is asked for.
#[derive(Clone, Debug)]
pub struct ResultSpec {
    /// The species that reacts (the titrant's in a standardisation).
    pub analyte: Formula,
    /// The species it is expressed as.
    pub expressed_as: Formula,
    /// The unit.
    pub unit: ResultUnit,
}

/// How many trials, and which of them count.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialRules {
    /// Fewest counted trials for full accuracy and agreement marks.
    pub minimum: u32,
    /// Whether a blank is titrated and subtracted.
    pub blank: bool,
    /// Which trials count.
    pub accept: Accept,
    /// Whether the form asks about the number of decimals while readings are entered.
    pub prompt_decimals: bool,
}

/// Which trials count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Accept {
    /// All.
    All,
    /// The largest set, at least two, whose titres lie within so many mL.
    Concordant {
        /// Largest range of the set, mL.
        within: Decimal,
    },
    /// All but at most one outlier by Dixon's r10.
    Dixon {
        /// Two-sided confidence level.
        level: DixonLevel,
        /// Fewest trials for the test, by default 4.
        from: usize,
    },
}

/// What a reading and an endpoint may be off (common practice where a procedure is silent).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingDoubt {
    /// Half-width of one burette reading, mL, triangular.
    pub burette_reading: Decimal,
    /// Volume of a drop, mL; the endpoint is within half of it, rectangular.
    pub drop: Decimal,
}

impl Default for ReadingDoubt {
    fn default() -> Self {
        Self {
            burette_reading: Decimal::new(2, 2),
            drop: Decimal::new(5, 2),
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
    /// Hazards and protection.
    pub cautions: Vec<String>,
    /// Where residues go.
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
        let mut faults = Vec::new();
        let mut fault = |key: &str, what: String| faults.push(ProcedureFault::new(key, what));
        if !is_key(&parts.key) {
            let found = &parts.key;
            fault(
                "key",
                format!(
                    "found \u{201c}{found}\u{201d}, expected lower-case letters, digits and hyphens"
                ),
            );
        }
        if parts.titrant.burette.kind() != GlasswareKind::Burette {
            fault(
                "titrant.burette",
                format!(
                    "found a {}, expected a burette",
                    parts.titrant.burette.kind().name()
                ),
            );
        }
        if parts.titrant.nominal <= Decimal::ZERO {
            fault(
                "titrant.nominal_mol_per_L",
                format!("found {}, expected a number above 0", parts.titrant.nominal),
            );
        }
        parts.sample.check(parts.scheme, &mut fault);
        match (&parts.excess, parts.scheme) {
            (None, Scheme::Back) => fault(
                "excess",
                "found none, expected the excess reagent of a back titration".into(),
            ),
            (Some(_), Scheme::Direct | Scheme::Standardisation) => {
                fault(
                    "excess",
                    "found one, expected it only where the scheme is back".into(),
                );
            }
            (Some(excess), Scheme::Back) => {
                if !matches!(
                    excess.glassware.kind(),
                    GlasswareKind::Pipette | GlasswareKind::Flask
                ) {
                    let kind = excess.glassware.kind().name();
                    fault(
                        "excess.glassware",
                        format!("found a {kind}, expected a single-mark piece such as a pipette"),
                    );
                }
                if excess.nominal <= Decimal::ZERO {
                    fault(
                        "excess.nominal_mol_per_L",
                        format!("found {}, expected a number above 0", excess.nominal),
                    );
                }
            }
            (None, _) => {}
        }
        if !parts.result.unit.fits(parts.scheme, parts.sample.by) {
            let (unit, by) = (parts.result.unit.name(), parts.sample.by.name());
            let expected = ResultUnit::ALL
                .iter()
                .filter(|unit| unit.fits(parts.scheme, parts.sample.by))
                .map(|unit| unit.name())
                .collect::<Vec<_>>()
                .join(", ");
            fault(
                "result.unit",
                format!("found {unit} for a sample by {by}, expected one of {expected}"),
            );
        }
        if let Err(why) = per_analyte(&parts.result.analyte, &parts.result.expressed_as) {
            fault("result.as", why.to_string());
        }
        if parts.trials.minimum == 0 || parts.trials.minimum > 20 {
            fault(
                "trials.minimum",
                format!("found {}, expected 1 to 20", parts.trials.minimum),
            );
        }
        if parts.trials.blank
            && parts.scheme == Scheme::Standardisation
            && parts.sample.by == SampleBy::Volume
        {
            fault(
                "trials.blank",
                "found true, expected a weighed standard".into(),
            );
        }
        match Chemistry::of(&parts) {
            Ok(chemistry) if faults.is_empty() => Ok(Self { parts, chemistry }),
            Ok(_) => Err(faults),
            Err(more) => {
                faults.push(more);
                Err(faults)
            }
        }
    }

    /// The same procedure with an experiment's own trial rules and marking.
    #[must_use]
    pub fn with(mut self, trials: Option<TrialRules>, marking: Option<Marking>) -> Self {
        self.parts.trials = trials.unwrap_or(self.parts.trials);
        self.parts.marking = marking.unwrap_or(self.parts.marking);
        self
    }

    /// The ratios that follow from the reactions.
    #[must_use]
    pub fn chemistry(&self) -> &Chemistry {
        &self.chemistry
    }

    /// Whether rows of readings carry a sample volume: the sample is measured in graduated glassware.
    #[must_use]
    pub fn reads_sample_volume(&self) -> bool {
        self.sample.by == SampleBy::Volume && self.sample.glassware.kind().is_read()
    }

    /// Whether the molarity of a titrant lot enters the result.
    #[must_use]
    pub fn uses_titrant_lot(&self) -> bool {
        self.scheme != Scheme::Standardisation
    }

    /// Whether the molarity of the excess reagent's lot enters the result: not where a blank measures it.
    #[must_use]
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

/// Whether a text can be a key: 1 to 60 lower-case letters, digits and hyphens, starting with a letter or digit.
#[must_use]
pub fn is_key(text: &str) -> bool {
    (1..=60).contains(&text.len())
        && !text.starts_with('-')
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

impl Scheme {
    /// The word in a procedure's file.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Direct => "direct",
            Self::Back => "back",
            Self::Standardisation => "standardisation",
        }
    }
}

impl SampleBy {
    /// The word in a procedure's file.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Volume => "volume",
            Self::Mass => "mass",
            Self::MassDifference => "mass-difference",
        }
    }
}

/// When an experiment opens and when it is due, in the course's own time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dates {
    /// Readings can be handed in from here on.
    pub opens: civil::DateTime,
    /// Later work is late.
    pub due: civil::DateTime,
}

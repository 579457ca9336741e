//! A written procedure, checked: its reactions balance, its ratios follow, its unit fits its sample.

mod check;
mod measured;
mod reagents;
mod sample;
mod taken_over;
mod text;
mod unit;
mod words;

use std::collections::BTreeMap;

use jiff::civil;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::chem::{Equivalence, Formula, Ratio, Reaction, by_equivalents, per_analyte};
use crate::judge::Marking;
use crate::language::Language;
use crate::measure::Glassware;
use crate::schemes::Scheme;
use crate::stats::{DixonCritical, DixonLevel};
use crate::submission::TrialLabel;
use crate::words::named;

pub use crate::ids::is_key;
pub use check::{Allowed, Per};
pub use measured::Measured;
pub use reagents::{Amount, Batch, Ingredient, Reagent};
pub use taken_over::{CarriedBy, CarriedOver};
pub use text::ProcedureText;
pub use unit::ResultUnit;
pub use words::{marking_in_words, trials_in_words};

/// What is titrated with what, how, and how the result is expressed and marked.
///
/// Constructed only by [`Procedure::new`], so every procedure in the program balances and can be computed.
#[derive(Clone, Debug)]
pub struct Procedure {
    common: Common,
    /// How the result follows, with everything it takes.
    pub scheme: Scheme,
}

/// The parts that every procedure has, each valid by itself; a scheme checks them together with its own.
#[derive(Clone, Debug)]
pub struct Common {
    /// Names the procedure in course files: lower-case letters, digits and hyphens.
    pub key: String,
    pub title: String,
    /// Balanced, in order of the chain.
    pub reactions: Vec<Reaction>,
    pub sample: Sample,
    /// What is asked for.
    pub result: ResultSpec,
    /// How many trials, and which count.
    pub trials: TrialRules,
    /// What the reading and the endpoint may be off.
    pub uncertainty: ReadingDoubt,
    /// How it is marked.
    pub marking: Marking,
    pub text: ProcedureText,
    /// The same in other languages.
    pub translations: BTreeMap<Language, ProcedureText>,
    /// What the prep room makes for it.
    pub reagents: Vec<Reagent>,
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
    /// Where its molarity comes from, if not from a lot of the prep room.
    pub carried: Option<CarriedOver>,
}

/// The reagent added in excess.
#[derive(Clone, Debug)]
pub struct Excess {
    pub species: Formula,
    /// Label molarity, mol/L.
    pub nominal: Decimal,
    /// What measures it: a single-mark piece, or a burette.
    pub glassware: Glassware,
    /// How much a burette is to deliver, mL; none where a single-mark piece says it.
    pub delivered: Option<Decimal>,
    /// The burette from which more of it is added after an endpoint run over, where the procedure allows for that.
    pub brought_back: Option<Glassware>,
    /// Into each part that is titrated, where nothing is said.
    pub added_to: Option<AddedTo>,
}

/// Where the excess goes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AddedTo {
    /// Into what is titrated, each time.
    Portion,
    /// Into the whole sample, which is then made up and titrated in parts.
    Whole,
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
    /// What one portion weighs (g) or holds (mL), where the result is per portion; none where the sample is one.
    pub portion: Option<Decimal>,
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
    /// How the one stands for the other; by the atoms they share where nothing is said.
    pub equivalence: Option<StatedEquivalence>,
    pub unit: ResultUnit,
}

/// An equivalence with what it comes to.
#[derive(Clone, Debug)]
pub struct StatedEquivalence {
    pub how: Equivalence,
    /// Moles of what the result is expressed as per mole of analyte.
    pub per_analyte: Ratio,
}

/// The analyte and how it is expressed.
#[derive(Clone, Debug)]
pub struct Asked {
    pub analyte: Formula,
    /// What it is expressed as.
    pub expressed_as: Formula,
    /// Moles of that per mole of analyte.
    pub per_analyte: Ratio,
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

impl Accept {
    /// How near titres have to lie, mL; 0.10 where the procedure does not say (common practice).
    pub fn agreement(&self) -> Decimal {
        match self {
            Self::Concordant { within } => *within,
            Self::All | Self::Dixon { .. } => Decimal::new(10, 2),
        }
    }
}

/// What a reading and an endpoint may be off (common practice where a procedure is silent).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingDoubt {
    /// Half-width of one burette reading, mL, triangular.
    pub burette_reading: Decimal,
    /// Volume of a drop, mL; the endpoint is within half of it, rectangular.
    pub drop: Decimal,
    /// Half-width, mL, of how far from the true endpoint one person sees it in every titration alike, rectangular; 0
    /// leaves it out (QUAM:2012, A3 keeps such a bias beside the repeatability).
    pub endpoint_bias: Decimal,
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
            endpoint_bias: Decimal::ZERO,
            temperature: Decimal::ZERO,
            repeatability: Decimal::ZERO,
        }
    }
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
    /// A procedure of that scheme, which has checked the common parts with its own.
    pub fn new(
        common: Common,
        scheme: impl FnOnce(&Common) -> Result<Scheme, Vec<ProcedureFault>>,
    ) -> Result<Self, Vec<ProcedureFault>> {
        let scheme = scheme(&common)?;
        Ok(Self { common, scheme })
    }

    /// The same procedure with an experiment's own trial rules and marking.
    pub fn with(mut self, trials: Option<TrialRules>, marking: Option<Marking>) -> Self {
        self.common.trials = trials.unwrap_or(self.common.trials);
        self.common.marking = marking.unwrap_or(self.common.marking);
        self
    }

    /// What a sample of nothing else comes to, in the result unit; none where that depends on more than its mass.
    pub fn pure_result(&self) -> Option<Decimal> {
        let million = Decimal::from(1_000_000);
        match self.result.unit {
            ResultUnit::PercentMass => Some(Decimal::ONE_HUNDRED),
            ResultUnit::PartsPerMillion => Some(million),
            ResultUnit::PartsPerBillion => million.checked_mul(Decimal::ONE_THOUSAND),
            ResultUnit::MmolPerG => {
                let molar_mass = self.scheme.asked()?.expressed_as.molar_mass().value;
                Decimal::ONE_THOUSAND.checked_div(molar_mass)
            }
            ResultUnit::MgPerPortion if self.sample.by != SampleBy::Volume => {
                let portion = self.sample.portion.unwrap_or(self.sample.nominal);
                portion.checked_mul(Decimal::ONE_THOUSAND)
            }
            _ => None,
        }
    }

    /// Whether rows of readings carry a sample volume: the sample is measured in graduated glassware.
    pub fn reads_sample_volume(&self) -> bool {
        self.sample.by == SampleBy::Volume && self.sample.glassware.kind().is_read()
    }

    /// What is in the burette, in a titration.
    pub fn titrant(&self) -> Option<&Titrant> {
        self.scheme.reagents().titrant
    }

    /// The reagent added in excess, in a back titration.
    pub fn excess(&self) -> Option<&Excess> {
        self.scheme.reagents().excess
    }

    /// The burette, in a titration.
    pub fn burette(&self) -> Option<&Glassware> {
        self.titrant().map(|titrant| &titrant.burette)
    }

    /// The reagent whose lot enters the result, with its molarity by the label, mol/L.
    pub fn lot_reagent(&self) -> Option<(&Formula, Decimal)> {
        self.scheme.reagents().lot
    }

    /// Every reagent whose lot may enter the result, with its molarity by the label, mol/L.
    pub fn lot_reagents(&self) -> impl Iterator<Item = (&Formula, Decimal)> {
        let excess = self.excess().map(|e| (&e.species, e.nominal));
        self.lot_reagent().into_iter().chain(excess)
    }

    /// Whether the molarity of the titrant's or the stock's lot enters the result, so that a lot has to be known.
    pub fn uses_titrant_lot(&self) -> bool {
        self.lot_reagent().is_some()
            && self.carried_over().is_none()
            && self.line_taken_over().is_none()
    }

    /// The reagents that the prep room has to make lots of.
    pub fn reagents_in_lots(&self) -> impl Iterator<Item = &Formula> {
        let titrant = self.lot_reagent().filter(|_| self.uses_titrant_lot());
        let excess = self.excess().map(|e| &e.species);
        titrant
            .map(|(species, _)| species)
            .into_iter()
            .chain(excess)
    }

    /// Whether the molarity of the excess reagent's lot enters the result: not where a blank measures it.
    pub fn uses_excess_lot(&self) -> bool {
        self.excess().is_some()
    }

    /// Whether the mass of the sample is a signal of its own beside the titre.
    pub fn weighs_for_the_result(&self) -> bool {
        matches!(self.scheme, Scheme::TwoSignals(_)) && self.titrant().is_some()
    }

    /// Whether the titrant's molarity is what is asked for.
    pub fn is_standardisation(&self) -> bool {
        self.titrant().is_some() && self.lot_reagent().is_none()
    }

    /// Rows before the numbered trials, in the order in which they are measured.
    pub fn rows_before_trials(&self) -> Vec<TrialLabel> {
        let mut rows = Vec::new();
        if self.trials.blank {
            rows.push(TrialLabel::Blank);
        }
        let here = self
            .line_taken_over()
            .is_none()
            .then(|| self.scheme.standards());
        let standards = (1..).zip(here.into_iter().flatten());
        rows.extend(standards.map(|(number, _)| TrialLabel::Standard(number)));
        if self.titrant().is_some() {
            rows.push(TrialLabel::Rough);
        }
        rows
    }
}

impl Common {
    /// The analyte and how it is expressed.
    pub fn asked(&self) -> Result<Asked, Vec<ProcedureFault>> {
        let fault = |key: &str, what: String| vec![ProcedureFault::new(key, what)];
        let analyte = self.result.analyte.clone().ok_or_else(|| {
            let what = "found none, expected the formula of what is found";
            fault("result.analyte", what.to_owned())
        })?;
        let expressed_as = self.result.expressed_as.clone();
        let expressed_as = expressed_as.unwrap_or_else(|| analyte.clone());
        let ratio = match &self.result.equivalence {
            Some(stated) => stated.per_analyte,
            None => per_analyte(&analyte, &expressed_as)
                .map_err(|why| fault("result.as", why.to_string()))?,
        };
        Ok(Asked {
            per_analyte: ratio,
            analyte,
            expressed_as,
            unit: self.result.unit,
        })
    }

    /// Where the shared atoms, by which the result is expressed, and acid, base or redox equivalents disagree.
    pub fn unequal_equivalents(&self) -> Option<String> {
        if self.result.equivalence.is_some() {
            return None;
        }
        let asked = self.asked().ok()?;
        let equal = by_equivalents(&asked.analyte, &asked.expressed_as)?;
        (equal != asked.per_analyte).then(|| {
            let Asked {
                analyte,
                expressed_as,
                per_analyte,
                ..
            } = asked;
            format!(
                "the result counts {per_analyte} {expressed_as} per {analyte}, by the atoms they share; by equivalents it would be {equal}: say which is meant with result.equivalence"
            )
        })
    }
}

impl std::ops::Deref for Procedure {
    type Target = Common;

    fn deref(&self) -> &Common {
        &self.common
    }
}

named! { AddedTo, name, from_name:
    Portion = "portion",
    Whole = "whole",
}

named! { SampleBy, name, from_name:
    Volume = "volume",
    Mass = "mass",
    MassDifference = "mass-difference",
}

impl SampleBy {
    /// The unit a sample is stated in.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Volume => "mL",
            Self::Mass | Self::MassDifference => "g",
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

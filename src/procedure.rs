//! A written procedure, checked: its chemistry balances, its ratios follow, its unit fits its sample.

use jiff::civil;
use rust_decimal::Decimal;

use crate::chem::{Formula, Ratio, Reaction, chain_ratio, per_analyte, shared_ratio};
use crate::judge::Marking;
use crate::measure::{Glassware, GlasswareKind};
use crate::stats::DixonLevel;

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

/// Units a result can have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResultUnit {
    /// mol/L
    MolPerL,
    /// mmol/L
    MmolPerL,
    /// g/L
    GPerL,
    /// mg/L
    MgPerL,
    /// g per 100 g
    PercentMass,
    /// g per 100 mL
    PercentMassVolume,
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

/// Ratios and the like that follow from the reactions.
#[derive(Clone, Debug, PartialEq)]
pub enum Chemistry {
    /// Analyte per titrant, mol/mol.
    Direct {
        /// Analyte used per titrant used.
        analyte_per_titrant: Ratio,
    },
    /// Through the excess reagent.
    Back {
        /// Analyte used per excess reagent used.
        analyte_per_excess: Ratio,
        /// Excess reagent used per titrant used.
        excess_per_titrant: Ratio,
    },
    /// From the weighed standard.
    Standardisation {
        /// What is weighed.
        weighed: Formula,
        /// Reacting species per weighed species.
        reacting_per_weighed: Ratio,
        /// Titrant used per reacting species.
        titrant_per_reacting: Ratio,
    },
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

impl Sample {
    fn check(&self, scheme: Scheme, fault: &mut impl FnMut(&str, String)) {
        let kind = self.glassware.kind();
        let weighed = self.by != SampleBy::Volume;
        if weighed != (kind == GlasswareKind::Balance) || kind == GlasswareKind::Burette {
            let expected = if weighed {
                "a balance"
            } else {
                "a cylinder, pipette or flask"
            };
            fault(
                "sample.glassware",
                format!("found a {}, expected {expected}", kind.name()),
            );
        }
        if self.nominal <= Decimal::ZERO {
            fault(
                "sample.nominal",
                format!("found {}, expected a number above 0", self.nominal),
            );
        } else if kind.is_read() && self.nominal > self.glassware.capacity() {
            let (found, most) = (self.nominal, self.glassware.capacity());
            fault(
                "sample.nominal",
                format!(
                    "found {found}, expected at most the {most} {} it holds",
                    kind.unit()
                ),
            );
        } else if !kind.is_read() && self.nominal != self.glassware.capacity() {
            let (found, size) = (self.nominal, self.glassware.capacity());
            fault(
                "sample.nominal",
                format!(
                    "found {found}, expected the {size} mL of the single-mark {}",
                    kind.name()
                ),
            );
        }
        if let Some(Aliquot { flask, pipette }) = &self.aliquot {
            if flask.kind() != GlasswareKind::Flask {
                fault(
                    "sample.made_up_in",
                    format!("found a {}, expected a flask", flask.kind().name()),
                );
            }
            if pipette.kind() != GlasswareKind::Pipette {
                fault(
                    "sample.taken_with",
                    format!("found a {}, expected a pipette", pipette.kind().name()),
                );
            }
            if pipette.capacity() > flask.capacity() {
                let (found, most) = (pipette.capacity(), flask.capacity());
                fault(
                    "sample.taken_with",
                    format!("found {found} mL, expected at most the flask's {most} mL"),
                );
            }
            if !weighed && self.nominal > flask.capacity() {
                let (found, most) = (self.nominal, flask.capacity());
                fault(
                    "sample.made_up_in",
                    format!("found {most} mL, expected at least the sample's {found} mL"),
                );
            }
        }
        if let Some(Purity {
            fraction,
            half_width,
        }) = self.purity
        {
            if fraction <= Decimal::ZERO || fraction > Decimal::ONE {
                fault(
                    "sample.purity",
                    format!("found {fraction}, expected a mass fraction above 0 and at most 1"),
                );
            }
            if half_width < Decimal::ZERO || half_width >= fraction {
                fault(
                    "sample.purity_half_width",
                    format!("found {half_width}, expected 0 up to the purity"),
                );
            }
        }
        if scheme == Scheme::Standardisation && !weighed {
            fault(
                "sample.by",
                "found volume, expected mass or mass-difference of a primary standard".into(),
            );
        }
        if scheme != Scheme::Standardisation && (self.purity.is_some() || self.species.is_some()) {
            let key = if self.purity.is_some() {
                "sample.purity"
            } else {
                "sample.species"
            };
            fault(
                key,
                "found one, expected it only where the scheme is standardisation".into(),
            );
        }
    }
}

impl Chemistry {
    fn of(parts: &ProcedureParts) -> Result<Self, ProcedureFault> {
        let at =
            |key: &'static str| move |why: crate::chem::RatioFault| ProcedureFault::new(key, why);
        if parts.reactions.is_empty() {
            return Err(ProcedureFault::new(
                "reactions",
                "found none, expected at least one balanced reaction",
            ));
        }
        let (titrant, analyte) = (&parts.titrant.species, &parts.result.analyte);
        match (parts.scheme, &parts.excess) {
            (Scheme::Back, Some(excess)) => {
                let analyte_per_excess = shared_ratio(&parts.reactions, analyte, &excess.species)
                    .map_err(at("reactions"))?;
                let after: Vec<Reaction> = parts
                    .reactions
                    .iter()
                    .filter(|r| r.consumed(analyte).is_none())
                    .cloned()
                    .collect();
                let excess_per_titrant = shared_ratio(&after, &excess.species, titrant)
                    .or_else(|_| chain_ratio(&after, &excess.species, titrant))
                    .map_err(at("reactions"))?;
                Ok(Self::Back {
                    analyte_per_excess,
                    excess_per_titrant,
                })
            }
            (Scheme::Standardisation, _) => Self::of_standard(parts),
            _ => {
                let analyte_per_titrant =
                    chain_ratio(&parts.reactions, analyte, titrant).map_err(at("reactions"))?;
                Ok(Self::Direct {
                    analyte_per_titrant,
                })
            }
        }
    }

    /// The standard is what is weighed (`sample.species`), or the analyte where the file names it there; what reacts
    /// is that species itself or one of the reactions' species that shares its composition (Na2CO3 reacts as CO3^2-).
    fn of_standard(parts: &ProcedureParts) -> Result<Self, ProcedureFault> {
        let titrant = &parts.titrant.species;
        let weighed = match &parts.sample.species {
            Some(species) => species,
            None if parts.result.analyte != *titrant => &parts.result.analyte,
            None => {
                return Err(ProcedureFault::new(
                    "sample.species",
                    "found none, expected the formula of what is weighed",
                ));
            }
        };
        let consumed: Vec<&Formula> = parts
            .reactions
            .iter()
            .flat_map(|r| {
                r.species()
                    .filter(|s| r.consumed(s).is_some() && *s != titrant)
            })
            .collect();
        let exact = consumed.iter().find(|s| **s == weighed);
        let related = || {
            consumed
                .iter()
                .find(|s| shares_more_than_water(s, weighed) && per_analyte(weighed, s).is_ok())
        };
        let Some(reacting) = exact.or_else(related) else {
            let found = weighed.to_string();
            let what = format!(
                "found {found}, expected a species of the reactions or one that shares its composition"
            );
            return Err(ProcedureFault::new("sample.species", what));
        };
        let reacting_per_weighed = per_analyte(weighed, reacting)
            .map_err(|why| ProcedureFault::new("sample.species", why))?;
        let reacting_per_titrant = chain_ratio(&parts.reactions, reacting, titrant)
            .map_err(|why| ProcedureFault::new("reactions", why))?;
        Ok(Self::Standardisation {
            weighed: weighed.clone(),
            reacting_per_weighed,
            titrant_per_reacting: Ratio::ONE.over(reacting_per_titrant),
        })
    }
}

fn shares_more_than_water(one: &Formula, other: &Formula) -> bool {
    one.atoms()
        .keys()
        .any(|symbol| !matches!(*symbol, "H" | "O") && other.atoms().contains_key(symbol))
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

impl ResultUnit {
    /// Every unit.
    pub const ALL: [Self; 6] = [
        Self::MolPerL,
        Self::MmolPerL,
        Self::GPerL,
        Self::MgPerL,
        Self::PercentMass,
        Self::PercentMassVolume,
    ];

    /// As it is written in files and on pages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::MolPerL => "mol/L",
            Self::MmolPerL => "mmol/L",
            Self::GPerL => "g/L",
            Self::MgPerL => "mg/L",
            Self::PercentMass => "%w/w",
            Self::PercentMassVolume => "%w/v",
        }
    }

    /// The unit of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.name() == name)
    }

    /// Whether it is a mass (true) or an amount (false) per sample.
    #[must_use]
    pub fn is_mass(self) -> bool {
        !matches!(self, Self::MolPerL | Self::MmolPerL)
    }

    /// A mass per volume or amount per volume fits a sample by volume and the titrant of a standardisation; a mass
    /// fraction fits a weighed sample. Anything between the two would need a density.
    fn fits(self, scheme: Scheme, by: SampleBy) -> bool {
        let per_volume = scheme == Scheme::Standardisation || by == SampleBy::Volume;
        per_volume != (self == Self::PercentMass)
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

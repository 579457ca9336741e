//! How a result follows, with everything it takes: what reacts with what, in what ratio, and how it is expressed.

use super::{
    Calibration, Excess, Portion, Precipitate, ProcedureFault, ProcedureParts, ResultUnit, Scheme,
    Second, Titrant, Vessel,
};
use crate::chem::{
    Formula, Ratio, RatioFault, Reaction, chain_ratio, made_ratio, per_analyte, shared_ratio,
    whole_use,
};

/// A scheme with its parts and the ratios that follow from the reactions. All ratios are mol/mol.
#[derive(Clone, Debug)]
pub enum Method {
    /// One titre, through one reaction or a chain.
    Direct {
        titrant: Titrant,
        /// Analyte used per titrant used.
        analyte_per_titrant: Ratio,
        /// What is asked for.
        asked: Asked,
    },
    /// Through the excess reagent.
    Back {
        titrant: Titrant,
        /// Added to the sample.
        excess: Excess,
        /// Analyte used per excess reagent used.
        analyte_per_excess: Ratio,
        /// Excess reagent used per titrant used.
        excess_per_titrant: Ratio,
        /// What is asked for.
        asked: Asked,
    },
    /// From the weighed standard.
    Standardisation {
        titrant: Titrant,
        weighed: Formula,
        /// Titrant used per weighed species.
        titrant_per_weighed: Ratio,
        /// What is asked for.
        asked: Asked,
    },
    /// Two titres t₁ and t₂ of one titrant, both from the start of their portion: n = first · t₁ + second · t₂.
    TwoEndpoint {
        titrant: Titrant,
        /// Where the second endpoint is titrated.
        portion: Portion,
        /// Analyte per titrant to the first endpoint; may be negative or zero.
        first: Ratio,
        /// Analyte per titrant to the second endpoint; may be negative or zero.
        second: Ratio,
        /// Titrant used per (analyte, other species) to the first and to the second endpoint.
        uses: [[Ratio; 2]; 2],
        /// What is asked for.
        asked: Asked,
    },
    /// From the mass of a precipitate.
    Gravimetric {
        precipitate: Precipitate,
        /// Analyte used per precipitate made.
        analyte_per_precipitate: Ratio,
        /// What is asked for.
        asked: Asked,
    },
    /// From the mass of a volume.
    Density(Vessel),
    /// From absorbance beside that of standards.
    CalibrationLine {
        calibration: Calibration,
        /// Analyte per species of the stock.
        analyte_per_species: Ratio,
        /// What is asked for.
        asked: Asked,
    },
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

type Faults = Vec<ProcedureFault>;

impl Method {
    /// What is asked for; none for a density.
    pub fn asked(&self) -> Option<&Asked> {
        match self {
            Self::Direct { asked, .. }
            | Self::Back { asked, .. }
            | Self::Standardisation { asked, .. }
            | Self::TwoEndpoint { asked, .. }
            | Self::Gravimetric { asked, .. }
            | Self::CalibrationLine { asked, .. } => Some(asked),
            Self::Density(_) => None,
        }
    }

    pub(super) fn of(parts: &ProcedureParts) -> Result<Self, Faults> {
        if parts.scheme == Scheme::Density {
            let vessel = needed(&parts.vessel, "density", "the vessel that is weighed")?;
            return Ok(Self::Density(vessel));
        }
        let asked = asked(parts)?;
        if parts.reactions.is_empty() && parts.scheme != Scheme::CalibrationLine {
            return Err(fault(
                "reactions",
                "found none, expected at least one balanced reaction",
            ));
        }
        match parts.scheme {
            Scheme::Gravimetric => gravimetric(parts, asked),
            Scheme::CalibrationLine => {
                let calibration = needed(&parts.calibration, "calibration", "the standards")?;
                let ratio = per_analyte(&calibration.species, &asked.analyte);
                let analyte_per_species = ratio.map_err(|why| fault("calibration.species", why))?;
                Ok(Self::CalibrationLine {
                    calibration,
                    analyte_per_species,
                    asked,
                })
            }
            _ => titration(parts, asked),
        }
    }
}

fn fault(key: &str, what: impl ToString) -> Faults {
    vec![ProcedureFault::new(key, what)]
}

/// A part that the scheme cannot do without.
fn needed<T: Clone>(part: &Option<T>, key: &str, what: &str) -> Result<T, Faults> {
    let none = || fault(key, format!("found none, expected {what}"));
    part.clone().ok_or_else(none)
}

fn in_reactions(why: RatioFault) -> Faults {
    fault("reactions", why)
}

fn asked(parts: &ProcedureParts) -> Result<Asked, Faults> {
    let analyte = needed(
        &parts.result.analyte,
        "result.analyte",
        "the formula of what is found",
    )?;
    let expressed_as = parts.result.expressed_as.clone();
    let expressed_as = expressed_as.unwrap_or_else(|| analyte.clone());
    let ratio = per_analyte(&analyte, &expressed_as).map_err(|why| fault("result.as", why))?;
    Ok(Asked {
        analyte,
        expressed_as,
        per_analyte: ratio,
        unit: parts.result.unit,
    })
}

fn titration(parts: &ProcedureParts, asked: Asked) -> Result<Method, Faults> {
    let titrant = needed(&parts.titrant, "titrant", "what is in the burette")?;
    let reactions = &parts.reactions;
    match parts.scheme {
        Scheme::Back => {
            let excess = needed(
                &parts.excess,
                "excess",
                "the excess reagent of a back titration",
            )?;
            // directly, or through what the analyte makes of another reagent (iron, then iodine, then thiosulfate)
            let analyte_per_excess = shared_ratio(reactions, &asked.analyte, &excess.species)
                .or_else(|_| chain_ratio(reactions, &asked.analyte, &excess.species))
                .map_err(in_reactions)?;
            // a titrant that is the analyte itself (iron against an excess of permanganate) reacts as it does
            let itself = asked.analyte == titrant.species;
            let after: Vec<Reaction> = reactions
                .iter()
                .filter(|r| itself || r.consumed(&asked.analyte).is_none())
                .cloned()
                .collect();
            let excess_per_titrant = shared_ratio(&after, &excess.species, &titrant.species)
                .or_else(|_| chain_ratio(&after, &excess.species, &titrant.species))
                .map_err(in_reactions)?;
            Ok(Method::Back {
                titrant,
                excess,
                analyte_per_excess,
                excess_per_titrant,
                asked,
            })
        }
        Scheme::Standardisation => standardisation(parts, titrant, asked),
        Scheme::TwoEndpoint => {
            let second = needed(&parts.second, "second", "the second endpoint")?;
            two_endpoint(parts, titrant, &second, asked)
        }
        _ => {
            let analyte_per_titrant =
                chain_ratio(reactions, &asked.analyte, &titrant.species).map_err(in_reactions)?;
            Ok(Method::Direct {
                titrant,
                analyte_per_titrant,
                asked,
            })
        }
    }
}

/// Titrant used per (analyte, other) to each endpoint is a 2 × 2 matrix; the analyte's row of its inverse says how
/// the two titres give it.
fn two_endpoint(
    parts: &ProcedureParts,
    titrant: Titrant,
    second: &Second,
    asked: Asked,
) -> Result<Method, Faults> {
    let analytes = [&asked.analyte, &second.other];
    if asked.analyte == second.other {
        let what = format!(
            "found {}, expected another species than the analyte",
            second.other
        );
        return Err(fault("second.analyte", what));
    }
    let mut all = Vec::new();
    if second.portion == Portion::Same {
        all.extend(parts.reactions.iter().cloned());
    }
    all.extend(second.reactions.iter().cloned());
    // a species that an endpoint does not find takes no titrant to it
    let uses = |reactions: &[Reaction], species: &Formula| {
        let unused = !reactions.iter().any(|r| r.consumed(species).is_some());
        if unused {
            return Ok(Ratio::ZERO);
        }
        whole_use(reactions, species, &titrant.species)
    };
    let at = |key: &'static str| move |why: RatioFault| fault(key, why);
    let mut matrix = [[Ratio::ZERO; 2]; 2];
    for (column, species) in analytes.into_iter().enumerate() {
        matrix[0][column] = uses(&parts.reactions, species).map_err(at("reactions"))?;
        matrix[1][column] = uses(&all, species).map_err(at("second.reactions"))?;
    }
    let [[a, b], [c, d]] = matrix;
    let determinant = a.times(d).plus(b.times(c).negated());
    if determinant == Ratio::ZERO {
        let [analyte, other] = analytes;
        let what = format!(
            "found endpoints that use titrant for {analyte} and {other} in the same proportion, expected them to differ"
        );
        return Err(fault("second.reactions", what));
    }
    Ok(Method::TwoEndpoint {
        titrant,
        portion: second.portion,
        first: d.over(determinant),
        second: b.negated().over(determinant),
        uses: matrix,
        asked,
    })
}

/// The standard is what is weighed (`sample.species`), or the analyte where the file names it there; what reacts is
/// that species itself or one of the reactions' species that shares its composition (Na2CO3 reacts as CO3^2-).
fn standardisation(
    parts: &ProcedureParts,
    titrant: Titrant,
    mut asked: Asked,
) -> Result<Method, Faults> {
    let weighed = match &parts.sample.species {
        Some(species) => species.clone(),
        None if asked.analyte != titrant.species => asked.analyte.clone(),
        None => {
            return Err(fault(
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
                .filter(|s| r.consumed(s).is_some() && **s != titrant.species)
        })
        .collect();
    let exact = consumed.iter().find(|s| ***s == weighed);
    let related = || {
        consumed
            .iter()
            .find(|s| shares_more_than_water(s, &weighed) && per_analyte(&weighed, s).is_ok())
    };
    let Some(reacting) = exact.or_else(related) else {
        let what = format!(
            "found {weighed}, expected a species of the reactions or one that shares its composition"
        );
        return Err(fault("sample.species", what));
    };
    let reacting_per_weighed =
        per_analyte(&weighed, reacting).map_err(|why| fault("sample.species", why))?;
    let reacting_per_titrant =
        chain_ratio(&parts.reactions, reacting, &titrant.species).map_err(in_reactions)?;
    // the molarity found is the titrant's, whatever the file calls the analyte
    asked.analyte = titrant.species.clone();
    asked.expressed_as = titrant.species.clone();
    asked.per_analyte = Ratio::ONE;
    Ok(Method::Standardisation {
        titrant,
        weighed,
        titrant_per_weighed: reacting_per_weighed.over(reacting_per_titrant),
        asked,
    })
}

fn gravimetric(parts: &ProcedureParts, asked: Asked) -> Result<Method, Faults> {
    let precipitate = needed(&parts.precipitate, "precipitate", "what is weighed")?;
    let analyte_per_precipitate =
        made_ratio(&parts.reactions, &asked.analyte, &precipitate.species).map_err(in_reactions)?;
    Ok(Method::Gravimetric {
        precipitate,
        analyte_per_precipitate,
        asked,
    })
}

fn shares_more_than_water(one: &Formula, other: &Formula) -> bool {
    one.atoms()
        .keys()
        .any(|symbol| !matches!(*symbol, "H" | "O") && other.atoms().contains_key(symbol))
}

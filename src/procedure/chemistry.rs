//! What follows from a procedure's reactions: which species reacts with which, and in what ratio.

use super::{ProcedureFault, ProcedureParts, Scheme};
use crate::chem::{Formula, Ratio, Reaction, chain_ratio, per_analyte, shared_ratio};

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

impl Chemistry {
    pub(super) fn of(parts: &ProcedureParts) -> Result<Self, ProcedureFault> {
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

//! A procedure's file as a scheme reads it.

use super::{Faults, SchemeKind};
use crate::chem::{Formula, Reaction, is_edta};
use crate::measure::{Glassware, GlasswareKind, GlasswareTable};
use crate::procedure::{AddedTo, CarriedBy, CarriedOver, Common, Excess, Titrant, is_key};
use crate::text::{Section, decimal, found};
use rust_decimal::Decimal;

const BURETTES: [GlasswareKind; 2] = [GlasswareKind::Burette, GlasswareKind::PistonBurette];

pub struct SchemeFile<'r> {
    pub root: Section<'r>,
    pub glassware: &'r GlasswareTable,
    /// What the file asks for.
    pub kind: SchemeKind,
    /// The parts that every procedure has; none where one of them is at fault.
    pub common: Option<Common>,
}

impl SchemeFile<'_> {
    /// The table that a scheme cannot do without.
    pub fn table<T>(&self, key: &str, read: impl FnOnce(Section) -> Option<T>) -> Option<T> {
        self.root.needed(key, read)
    }

    /// The piece of glassware at a key.
    pub fn piece(
        &self,
        section: &Section,
        key: &str,
        kinds: &[GlasswareKind],
    ) -> Option<Glassware> {
        section.parsed(key, |text| piece(self.glassware, text, kinds))
    }

    /// What was made of the tables; faults of reactions are kept only where all of them could be read.
    pub fn made<T>(&self, made: Result<T, Faults>) -> Option<T> {
        let read = self.common.as_ref().map_or(0, |c| c.reactions.len());
        let all = read == self.root.texts("reactions").len();
        let of_reactions =
            |key: &str| matches!(key, "reactions" | "sample.species" | "second.reactions");
        match made {
            Ok(made) => Some(made),
            Err(faults) => {
                for fault in faults {
                    if all || !of_reactions(&fault.key) {
                        self.root.fault(&fault.key, fault.what);
                    }
                }
                None
            }
        }
    }

    /// `[titrant]`: what is in the burette.
    pub fn titrant(&self) -> Option<Titrant> {
        self.table("titrant", |section| {
            section.only(&[
                "species",
                "nominal_mol_per_L",
                "pH",
                "burette",
                "from",
                "by",
            ]);
            let species = formula(&section, "species");
            let nominal = section.number("nominal_mol_per_L");
            let ph = match &species {
                Some(species) if section.has("pH") => ph(&section, species).map(Some),
                _ => Some(None),
            };
            let burette = self.piece(&section, "burette", &BURETTES);
            Some(Titrant {
                carried: carried_over(&section)?,
                species: species?,
                nominal: nominal?,
                ph: ph?,
                burette: burette?,
            })
        })
    }

    /// `[excess]`: the reagent added in excess.
    pub fn excess(&self) -> Option<Excess> {
        self.table("excess", |section| {
            section.only(&[
                "species",
                "nominal_mol_per_L",
                "glassware",
                "nominal_mL",
                "brought_back_with",
                "added_to",
            ]);
            let species = formula(&section, "species");
            let nominal = section.number("nominal_mol_per_L");
            let kinds = [
                GlasswareKind::Pipette,
                GlasswareKind::Dispenser,
                GlasswareKind::Flask,
            ];
            let glassware = self.piece(&section, "glassware", &kinds);
            let delivered = match section.has("nominal_mL") {
                true => section.number("nominal_mL").map(Some),
                false => Some(None),
            };
            let brought_back = match section.has("brought_back_with") {
                true => self
                    .piece(&section, "brought_back_with", &BURETTES)
                    .map(Some),
                false => Some(None),
            };
            let added_to = section.parsed_if_any("added_to", |text| {
                AddedTo::from_name(text).ok_or_else(|| found(text, "portion or whole"))
            });
            let made_up = self
                .common
                .as_ref()
                .is_some_and(|c| c.sample.aliquot.is_some());
            if added_to == Some(AddedTo::Whole) && !made_up {
                let what = "found whole, expected it only where the sample is made up in a flask";
                section.fault("added_to", what);
            }
            Some(Excess {
                added_to,
                species: species?,
                nominal: nominal?,
                glassware: glassware?,
                delivered: delivered?,
                brought_back: brought_back?,
            })
        })
    }
}

/// The piece of that key; a fault names those of the kinds that would fit. A piece of another kind is left to the
/// check of the whole procedure, which says why it does not fit.
pub fn piece(
    table: &GlasswareTable,
    key: &str,
    kinds: &[GlasswareKind],
) -> Result<Glassware, String> {
    table.get(key).cloned().ok_or_else(|| {
        let known = table.iter().filter(|piece| kinds.contains(&piece.kind()));
        let known: Vec<&str> = known.map(Glassware::key).collect();
        found(key, &format!("one of {}", known.join(", ")))
    })
}

/// The reactions of a table that balance; of the others the fault is kept.
pub fn reactions(section: &Section) -> Vec<Reaction> {
    let texts = section.texts("reactions");
    let read = texts.iter().filter_map(|text| {
        Reaction::parse(text)
            .map_err(|why| section.fault("reactions", why.to_string()))
            .ok()
    });
    read.collect()
}

/// A formula at a key that must be there.
pub fn formula(section: &Section, key: &str) -> Option<Formula> {
    section.parsed(key, |text| {
        Formula::parse(text).map_err(|why| why.to_string())
    })
}

/// The pH stated for a titrant, which means something for EDTA only.
fn ph(section: &Section, titrant: &Formula) -> Option<Decimal> {
    section.parsed("pH", |text| {
        let ph = decimal(text)?;
        if !is_edta(titrant) {
            let expected = "none: it is asked for only where the titrant is EDTA";
            return Err(found(text, expected));
        }
        let fits = (Decimal::ZERO..=Decimal::from(14)).contains(&ph);
        fits.then_some(ph).ok_or_else(|| found(text, "0 to 14"))
    })
}

/// The earlier experiment that something is taken over from.
pub fn earlier(section: &Section) -> Option<String> {
    section.parsed("from", |text| {
        let key = is_key(text).then(|| text.to_owned());
        key.ok_or_else(|| found(text, "the key of an experiment or of a procedure"))
    })
}

/// The earlier experiment that a titrant is carried over from, if it is.
fn carried_over(section: &Section) -> Option<Option<CarriedOver>> {
    if !section.has("from") {
        if section.has("by") {
            section.fault("by", "found one, expected it only beside from");
            return None;
        }
        return Some(None);
    }
    let from = earlier(section);
    let by = section.parsed_if_any("by", |text| {
        CarriedBy::from_name(text).ok_or_else(|| found(text, "student, bench or section"))
    });
    Some(Some(CarriedOver {
        from: from?,
        by: by.unwrap_or(CarriedBy::Student),
    }))
}

//! What one species is worth of another where they share no atoms, or share them in another proportion than acid, base or
//! electrons: available chlorine, alkalinity as CaCO₃, oxygen demand.

use super::formula::Formula;
use super::ratio::Ratio;
use super::reaction::Reaction;
use super::stoichiometry::{made_ratio, whole_use};
use crate::words::named;

/// How a result is expressed as a species by chemical equivalence.
#[derive(Clone, Debug)]
pub enum Equivalence {
    Convention(Convention),
    /// Both species stand in it; their coefficients are the ratio.
    Reaction(Reaction),
}

/// A way of expressing that the trade knows by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Convention {
    /// The chlorine that sets as much iodine free.
    AvailableChlorine,
    /// Half the acid taken up, since CO₃²⁻ takes up two.
    Alkalinity,
    /// Half the base taken up.
    Acidity,
    /// As many moles as there are of a metal with two charges.
    Hardness,
    /// The oxygen that takes up as many electrons.
    OxygenDemand,
}

named! { Convention, name, from_name:
    AvailableChlorine = "available chlorine",
    Alkalinity = "alkalinity as CaCO3",
    Acidity = "acidity as CaCO3",
    Hardness = "hardness as CaCO3",
    OxygenDemand = "chemical oxygen demand",
}

/// What an equivalent is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EquivalentKind {
    /// H⁺ taken up or given off.
    AcidBase,
    /// Electrons taken up or given off.
    Redox,
}

/// Equivalents per mole in the reactions that titrations rest on (general chemistry; permanganate and dichromate in acid).
const EQUIVALENTS: &[(&str, EquivalentKind, i64)] = &[
    ("H^+", EquivalentKind::AcidBase, 1),
    ("OH^-", EquivalentKind::AcidBase, 1),
    ("HCl", EquivalentKind::AcidBase, 1),
    ("HNO3", EquivalentKind::AcidBase, 1),
    ("H2SO4", EquivalentKind::AcidBase, 2),
    ("C2H4O2", EquivalentKind::AcidBase, 1),
    ("C3H6O3", EquivalentKind::AcidBase, 1),
    ("C4H6O6", EquivalentKind::AcidBase, 2),
    ("C6H8O7", EquivalentKind::AcidBase, 3),
    ("NaOH", EquivalentKind::AcidBase, 1),
    ("KOH", EquivalentKind::AcidBase, 1),
    ("NH3", EquivalentKind::AcidBase, 1),
    ("HCO3^-", EquivalentKind::AcidBase, 1),
    ("NaHCO3", EquivalentKind::AcidBase, 1),
    ("KHCO3", EquivalentKind::AcidBase, 1),
    ("CO3^2-", EquivalentKind::AcidBase, 2),
    ("Na2CO3", EquivalentKind::AcidBase, 2),
    ("K2CO3", EquivalentKind::AcidBase, 2),
    ("CaCO3", EquivalentKind::AcidBase, 2),
    ("MgCO3", EquivalentKind::AcidBase, 2),
    ("CaO", EquivalentKind::AcidBase, 2),
    ("MgO", EquivalentKind::AcidBase, 2),
    ("Ca(OH)2", EquivalentKind::AcidBase, 2),
    ("Mg(OH)2", EquivalentKind::AcidBase, 2),
    ("Cl2", EquivalentKind::Redox, 2),
    ("ClO^-", EquivalentKind::Redox, 2),
    ("HClO", EquivalentKind::Redox, 2),
    ("NaClO", EquivalentKind::Redox, 2),
    ("Ca(ClO)2", EquivalentKind::Redox, 4),
    ("ClO2^-", EquivalentKind::Redox, 4),
    ("NaClO2", EquivalentKind::Redox, 4),
    ("Br2", EquivalentKind::Redox, 2),
    ("I2", EquivalentKind::Redox, 2),
    ("H2O2", EquivalentKind::Redox, 2),
    ("O2", EquivalentKind::Redox, 4),
    ("O3", EquivalentKind::Redox, 2),
    ("MnO4^-", EquivalentKind::Redox, 5),
    ("KMnO4", EquivalentKind::Redox, 5),
    ("Cr2O7^2-", EquivalentKind::Redox, 6),
    ("K2Cr2O7", EquivalentKind::Redox, 6),
    ("Fe^2+", EquivalentKind::Redox, 1),
    ("S2O3^2-", EquivalentKind::Redox, 1),
    ("SO2", EquivalentKind::Redox, 2),
    ("SO3^2-", EquivalentKind::Redox, 2),
];

/// Acid, base or redox equivalents of a mole, where they are known.
pub fn equivalents(species: &Formula) -> Option<(EquivalentKind, Ratio)> {
    let is_it = |text: &str| Formula::parse(text).is_ok_and(|known| known == *species);
    let known = EQUIVALENTS.iter().find(|(text, ..)| is_it(text));
    known.map(|(_, kind, n)| (*kind, Ratio::whole(*n)))
}

/// Moles of `expressed` with as many acid, base or redox equivalents as a mole of `analyte`; none where either's are not
/// known, or they are of different kinds.
pub fn by_equivalents(analyte: &Formula, expressed: &Formula) -> Option<Ratio> {
    let ((kind, of), (other, per)) = (equivalents(analyte)?, equivalents(expressed)?);
    (kind == other).then(|| of.over(per))
}

impl Convention {
    /// The species it expresses as.
    pub fn species(self) -> &'static str {
        match self {
            Self::AvailableChlorine => "Cl2",
            Self::Alkalinity | Self::Acidity | Self::Hardness => "CaCO3",
            Self::OxygenDemand => "O2",
        }
    }

    fn per_analyte(self, analyte: &Formula, reactions: &[Reaction]) -> Result<Ratio, String> {
        let used = |reagents: &[(&str, i64)]| {
            reagents.iter().find_map(|(reagent, protons)| {
                let reagent = Formula::parse(reagent).ok()?;
                let use_of_it = whole_use(reactions, analyte, &reagent).ok()?;
                Some(use_of_it.times(Ratio::fraction(*protons, 2)))
            })
        };
        let (ratio, expected) = match self {
            Self::AvailableChlorine => {
                let iodine = Formula::parse("I2").map_err(|why| why.to_string())?;
                let per_iodine = made_ratio(reactions, analyte, &iodine).ok();
                (
                    per_iodine.map(|ratio| Ratio::ONE.over(ratio)),
                    "reactions in which it sets I2 free",
                )
            }
            Self::Alkalinity => (
                used(&[("H^+", 1), ("H3O^+", 1), ("HCl", 1), ("H2SO4", 2)]),
                "reactions in which it takes up H^+",
            ),
            Self::Acidity => (
                used(&[("OH^-", 1), ("NaOH", 1), ("KOH", 1)]),
                "reactions in which it takes up OH^-",
            ),
            Self::Hardness => {
                let metals = ["Mg", "Ca", "Sr", "Ba"];
                let one = |metal: &&&str| analyte.atoms().get(**metal) == Some(&1);
                let single_ion =
                    analyte.charge() == 2 && analyte.atoms().values().sum::<u32>() == 1;
                let fits = single_ion || metals.iter().filter(|metal| one(metal)).count() == 1;
                (
                    fits.then_some(Ratio::ONE),
                    "a metal ion of charge 2+, or a compound of one",
                )
            }
            Self::OxygenDemand => (
                electrons_to_dichromate(analyte)
                    .map(|n| n.over(Ratio::whole(4)))
                    .or_else(|| burnt(analyte)),
                "an oxidant or reductant whose electrons are known, or a compound of C, H, O and N",
            ),
        };
        ratio.ok_or_else(|| {
            let name = self.name();
            format!("found {name} of {analyte}, expected {expected}")
        })
    }
}

/// Electrons that hot acid dichromate takes from a mole: the redox equivalents, but that thiosulfate goes on to sulfate.
fn electrons_to_dichromate(analyte: &Formula) -> Option<Ratio> {
    if Formula::parse("S2O3^2-").as_ref() == Ok(analyte) {
        return Some(Ratio::whole(8));
    }
    match equivalents(analyte)? {
        (EquivalentKind::Redox, n) => Some(n),
        (EquivalentKind::AcidBase, _) => None,
    }
}

/// Oxidation numbers after hot acid dichromate: carbon is burnt, and nitrogen left as ammonium. Metals of salts keep theirs.
const BURNT: &[(&str, i64)] = &[
    ("C", 4),
    ("H", 1),
    ("O", -2),
    ("N", -3),
    ("Li", 1),
    ("Na", 1),
    ("K", 1),
    ("Mg", 2),
    ("Ca", 2),
];

/// O₂ per mole of a compound of carbon: a quarter of the electrons between its charge and the oxidation numbers after it.
fn burnt(species: &Formula) -> Option<Ratio> {
    species.atoms().get("C")?;
    let mut electrons = i64::from(species.charge()).checked_neg()?;
    for (symbol, count) in species.atoms() {
        let (_, after) = BURNT.iter().find(|(known, _)| known == symbol)?;
        let all = after.checked_mul(i64::from(*count))?;
        electrons = electrons.checked_add(all)?;
    }
    (electrons > 0).then(|| Ratio::fraction(electrons, 4))
}

impl Equivalence {
    /// A convention by its name, or a balanced reaction.
    pub fn parse(text: &str) -> Result<Self, String> {
        if let Some(convention) = Convention::from_name(text) {
            return Ok(Self::Convention(convention));
        }
        if !text.contains("->") {
            let names = Convention::ALL.map(Convention::name).join(", ");
            return Err(format!(
                "found \u{201c}{text}\u{201d}, expected one of {names}, or a balanced reaction with both species"
            ));
        }
        let reaction = Reaction::parse(text).map_err(|why| why.to_string())?;
        Ok(Self::Reaction(reaction))
    }

    /// The species it expresses as, where its name says so.
    pub fn species(&self) -> Option<Formula> {
        match self {
            Self::Convention(convention) => Formula::parse(convention.species()).ok(),
            Self::Reaction(_) => None,
        }
    }

    /// Moles of `expressed` per mole of `analyte`.
    pub fn per_analyte(
        &self,
        analyte: &Formula,
        expressed: &Formula,
        reactions: &[Reaction],
    ) -> Result<Ratio, String> {
        match self {
            Self::Convention(convention) => {
                // German degrees of hardness count CaO
                let as_oxide = *convention == Convention::Hardness
                    && Formula::parse("CaO").as_ref() == Ok(expressed);
                if self.species().as_ref() != Some(expressed) && !as_oxide {
                    let (name, species) = (convention.name(), convention.species());
                    return Err(format!(
                        "found {name} expressed as {expressed}, expected {species}"
                    ));
                }
                convention.per_analyte(analyte, reactions)
            }
            Self::Reaction(reaction) => {
                let amount = |species: &Formula| {
                    let part = reaction
                        .consumed(species)
                        .or_else(|| reaction.produced(species));
                    part.ok_or_else(|| {
                        format!("found no {species} in \u{201c}{reaction}\u{201d}, expected both species in it")
                    })
                };
                Ok(amount(expressed)?.over(amount(analyte)?))
            }
        }
    }

    /// In words.
    pub fn words(&self) -> String {
        match self {
            Self::Convention(convention) => convention.name().to_owned(),
            Self::Reaction(reaction) => format!("by {reaction}"),
        }
    }
}

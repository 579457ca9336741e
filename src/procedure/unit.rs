//! Units of results.

use crate::words::named;

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
    /// g/mL, of a density
    GPerMl,
    /// mmol of analyte per g of sample
    MmolPerG,
    /// mg per kg of sample
    PartsPerMillion,
    /// µg per kg of sample
    PartsPerBillion,
    /// mg in one tablet, or in what else is taken at once
    MgPerPortion,
    /// g of sample per mol of analyte
    GPerMol,
    /// mol of analyte per mol of residue: x in a hydrate
    MolPerMol,
    /// 10 mg/L as CaO
    GermanDegree,
    /// 10 mg/L as CaCO₃
    FrenchDegree,
}

named! { ResultUnit, name, from_name:
    MolPerL = "mol/L",
    MmolPerL = "mmol/L",
    GPerL = "g/L",
    MgPerL = "mg/L",
    PercentMass = "%w/w",
    PercentMassVolume = "%w/v",
    GPerMl = "g/mL",
    MmolPerG = "mmol/g",
    PartsPerMillion = "ppm",
    PartsPerBillion = "ppb",
    MgPerPortion = "mg/portion",
    GPerMol = "g/mol",
    MolPerMol = "mol/mol",
    GermanDegree = "\u{b0}dH",
    FrenchDegree = "\u{b0}f",
}

impl ResultUnit {
    /// Whether somebody means it by what they wrote behind a number.
    pub fn is_written(self, text: &str) -> bool {
        let plain: String = text
            .chars()
            .filter(|c| {
                !matches!(
                    c,
                    ' ' | '\u{a0}' | '\u{202f}' | '^' | '\u{b7}' | '(' | ')' | '.'
                )
            })
            .map(|c| match c {
                '\u{207b}' | '\u{2212}' => '-',
                '\u{b9}' => '1',
                c => c,
            })
            .collect();
        let molar = match self {
            Self::MolPerL => "M",
            Self::MmolPerL => "mM",
            _ => "",
        };
        let plain = plain.replace("dm-3", "/l").replace("/dm3", "/l");
        let folded = plain.to_lowercase().replace("l-1", "/l");
        let name = self.name().to_lowercase();
        let is_percent = matches!(self, Self::PercentMass | Self::PercentMassVolume);
        folded == name || !molar.is_empty() && plain == molar || is_percent && folded == "%"
    }

    /// Whether it is a mass (true) or an amount (false) per sample.
    pub fn is_mass(self) -> bool {
        !matches!(
            self,
            Self::MolPerL | Self::MmolPerL | Self::MmolPerG | Self::GPerMol | Self::MolPerMol
        )
    }

    /// Whether it is of a sample that is weighed, and of its mass alone.
    pub fn is_of_mass(self) -> bool {
        matches!(
            self,
            Self::PercentMass | Self::MmolPerG | Self::PartsPerMillion | Self::PartsPerBillion
        )
    }

    /// The species that a unit is defined by.
    pub fn species(self) -> Option<&'static str> {
        match self {
            Self::GermanDegree => Some("CaO"),
            Self::FrenchDegree => Some("CaCO3"),
            _ => None,
        }
    }

    /// What may be misunderstood about it.
    pub fn caution(self) -> Option<&'static str> {
        matches!(self, Self::PartsPerMillion | Self::PartsPerBillion).then_some(
            "ppm and ppb are counted by mass, mg and \u{b5}g per kg of sample: many people write them for mg/L and \u{b5}g/L",
        )
    }
}

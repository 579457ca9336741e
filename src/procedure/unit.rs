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
}

named! { ResultUnit, name, from_name:
    MolPerL = "mol/L",
    MmolPerL = "mmol/L",
    GPerL = "g/L",
    MgPerL = "mg/L",
    PercentMass = "%w/w",
    PercentMassVolume = "%w/v",
    GPerMl = "g/mL",
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
        !matches!(self, Self::MolPerL | Self::MmolPerL)
    }
}

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
    /// Whether it is a mass (true) or an amount (false) per sample.
    pub fn is_mass(self) -> bool {
        !matches!(self, Self::MolPerL | Self::MmolPerL)
    }
}

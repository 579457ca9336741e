//! Units of results.

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

impl ResultUnit {
    pub const ALL: [Self; 7] = [
        Self::MolPerL,
        Self::MmolPerL,
        Self::GPerL,
        Self::MgPerL,
        Self::PercentMass,
        Self::PercentMassVolume,
        Self::GPerMl,
    ];

    /// As it is written in files and on pages.
    pub fn name(self) -> &'static str {
        match self {
            Self::MolPerL => "mol/L",
            Self::MmolPerL => "mmol/L",
            Self::GPerL => "g/L",
            Self::MgPerL => "mg/L",
            Self::PercentMass => "%w/w",
            Self::PercentMassVolume => "%w/v",
            Self::GPerMl => "g/mL",
        }
    }

    /// The unit of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.name() == name)
    }

    /// Whether it is a mass (true) or an amount (false) per sample.
    pub fn is_mass(self) -> bool {
        !matches!(self, Self::MolPerL | Self::MmolPerL)
    }
}

//! Whether the parts that every procedure has fit one another and the scheme.

use super::{Accept, Common, ProcedureFault, ResultUnit, SampleBy};
use crate::chem::Formula;

/// What a scheme allows of the common parts.
#[derive(Clone, Copy, Debug)]
pub struct Allowed {
    pub result: Per,
    /// What is expected in place of a blank, where there can be none.
    pub no_blank: Option<&'static str>,
    /// Whether there are titres that can agree.
    pub titres: bool,
    /// Whether the sample is a primary standard, which has a purity.
    pub standard: bool,
    /// Whether a molar mass may be asked for: one titre of one portion.
    pub molar_mass: bool,
}

/// What a result is per.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Per {
    /// Volume or mass of the sample, as it is measured.
    Sample,
    /// A volume, however the sample is measured.
    Volume,
    /// Mass of a sample that is heated, or what is left of it.
    Heated,
    /// It is a density.
    Density,
}

impl Common {
    /// Everything at fault, in the order of the keys of the file.
    pub fn check(&self, allowed: &Allowed) -> Vec<ProcedureFault> {
        let mut faults = Vec::new();
        let mut fault = |key: &str, what: String| faults.push(ProcedureFault::new(key, what));
        if !crate::ids::is_key(&self.key) {
            let found = &self.key;
            fault(
                "key",
                format!(
                    "found \u{201c}{found}\u{201d}, expected lower-case letters, digits and hyphens"
                ),
            );
        }
        self.sample.check(allowed.standard, &mut fault);
        self.check_unit(allowed, &mut fault);
        let rules = &self.trials;
        if rules.minimum == 0 || rules.minimum > 20 {
            let found = rules.minimum;
            fault("trials.minimum", format!("found {found}, expected 1 to 20"));
        }
        if let Some(expected) = allowed.no_blank.filter(|_| rules.blank) {
            fault("trials.blank", format!("found true, expected {expected}"));
        }
        if !allowed.titres && matches!(rules.accept, Accept::Concordant { .. }) {
            let what = "found concordant, expected all or dixon: there are no titres to agree";
            fault("trials.accept.rule", what.to_owned());
        }
        faults
    }

    fn check_unit(&self, allowed: &Allowed, fault: &mut impl FnMut(&str, String)) {
        let (unit, by, per) = (self.result.unit, self.sample.by, allowed.result);
        let fits = |unit: &ResultUnit| {
            unit.fits(per, by) && (allowed.molar_mass || *unit != ResultUnit::GPerMol)
        };
        if let Some(species) = unit.species() {
            let asked = self
                .result
                .expressed_as
                .as_ref()
                .or(self.result.analyte.as_ref());
            if asked.is_none_or(|asked| Formula::parse(species).as_ref() != Ok(asked)) {
                let what = format!("expected {species}, by which {} is defined", unit.name());
                fault("result.as", what);
            }
        }
        if self.sample.portion.is_some() && unit != ResultUnit::MgPerPortion {
            let what = "found one, expected it only where the result is in mg/portion";
            fault("sample.portion", what.to_owned());
        }
        if fits(&unit) {
            return;
        }
        let fitting = ResultUnit::ALL.iter().filter(|unit| fits(unit));
        let expected: Vec<&str> = fitting.map(|unit| unit.name()).collect();
        let (unit, expected) = (unit.name(), expected.join(", "));
        let what = match per {
            Per::Density => format!("found {unit} for a density, expected {expected}"),
            Per::Sample | Per::Volume | Per::Heated => {
                let by = by.name();
                format!("found {unit} for a sample by {by}, expected one of {expected}")
            }
        };
        fault("result.unit", what);
    }
}

impl ResultUnit {
    /// mg per portion fits any sample, but no standardisation. A mass per volume or amount per volume fits a sample by volume and the titrant of a standardisation; a mass
    /// fraction fits a weighed sample; g/mL a density. Anything between them would need a density beside.
    fn fits(self, per: Per, by: SampleBy) -> bool {
        let per_volume = match per {
            Per::Density => return self == Self::GPerMl,
            Per::Heated => return matches!(self, Self::PercentMass | Self::MolPerMol),
            Per::Volume => true,
            Per::Sample => by == SampleBy::Volume,
        };
        if self == Self::MolPerMol {
            return false;
        }
        let of_mass = self.is_of_mass() || self == Self::GPerMol;
        if self == Self::MgPerPortion {
            // a titrant has no portions
            return per == Per::Sample;
        }
        self != Self::GPerMl && per_volume != of_mass
    }
}

//! EDTA: how much of it is free to bind at a pH, how firmly it then binds a metal, and whether an endpoint is sharp.
//!
//! Side reactions of the metal (hydroxide, ammonia of the buffer) are not counted, as is usual in such an estimate.

use std::ops::RangeInclusive;
use std::sync::LazyLock;

use super::formula::Formula;

/// An endpoint is sharp if concentration × conditional constant is at least ten to this power (common practice).
pub const SHARP_LOG_PRODUCT: f64 = 6.0;

/// The pH values these estimates are for.
pub const PH_RANGE: RangeInclusive<f64> = 0.0..=14.0;

/// The medium a set of constants holds for. A constant of one set never meets one of the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    /// Ionic strength 0.1 mol/L, as in a buffered flask.
    TenthMolar,
    InfiniteDilution,
}

/// Constants of EDTA at 25 °C in one medium, as decadic logarithms.
#[derive(Clone, Debug)]
pub struct EdtaConstants {
    protonation: Vec<f64>,
    metals: Vec<(Formula, f64)>,
}

/// The constants for a medium.
pub fn edta(medium: Medium) -> &'static EdtaConstants {
    match medium {
        Medium::TenthMolar => &TENTH_MOLAR,
        Medium::InfiniteDilution => &INFINITE_DILUTION,
    }
}

static TENTH_MOLAR: LazyLock<EdtaConstants> = LazyLock::new(|| EdtaConstants::read("0.1"));
static INFINITE_DILUTION: LazyLock<EdtaConstants> = LazyLock::new(|| EdtaConstants::read("0"));

/// Whether a species is EDTA, protonated to whatever degree, or a sodium salt of it.
pub fn is_edta(species: &Formula) -> bool {
    let count = |symbol: &str| species.atoms().get(symbol).copied().unwrap_or(0);
    let known = ["C", "H", "N", "O", "Na"];
    let hydrogen = count("H").saturating_add(count("Na"));
    (count("C"), count("N"), count("O")) == (10, 2, 8)
        && (12..=16).contains(&hydrogen)
        && species.atoms().keys().all(|symbol| known.contains(symbol))
}

impl EdtaConstants {
    fn read(ionic_strength: &str) -> Self {
        // the table is part of the program; tests compare its figures with the sources, so a bad line cannot ship
        let lines = include_str!("../../seed-data/stability-constants.csv").lines();
        let mut found = Self {
            protonation: Vec::new(),
            metals: Vec::new(),
        };
        for line in lines {
            let mut cells = line.split(',');
            let (Some(strength), Some(species), Some(log_k)) =
                (cells.next(), cells.next(), cells.next())
            else {
                continue;
            };
            let Ok(log_k) = log_k.parse() else { continue };
            if strength != ionic_strength {
                continue;
            }
            // Y stands for yttrium in a formula, for EDTA here
            if species.contains('Y') {
                found.protonation.push(log_k);
            } else if let Ok(metal) = Formula::parse(species) {
                found.metals.push((metal, log_k));
            }
        }
        found
    }

    /// log K of each step that adds a hydrogen ion, from Y⁴⁻ up; read downwards, the pKa of the acid.
    pub fn protonation(&self) -> &[f64] {
        &self.protonation
    }

    /// The metal ions whose complexes are known.
    pub fn metals(&self) -> impl Iterator<Item = &Formula> {
        self.metals.iter().map(|(metal, _)| metal)
    }

    /// log K of M + Y⁴⁻ = MY.
    pub fn log_k(&self, metal: &Formula) -> Option<f64> {
        let found = self.metals.iter().find(|(known, _)| known == metal);
        found.map(|(_, log_k)| *log_k)
    }

    /// The share of EDTA not bound to metal that is Y⁴⁻ at a pH.
    pub fn alpha(&self, ph: f64) -> f64 {
        let mut log_beta = 0.0;
        let mut taken = 0.0;
        for (step, log_k) in (1..).zip(&self.protonation) {
            log_beta += log_k;
            taken += 10_f64.powf(log_beta - f64::from(step) * ph);
        }
        1.0 / (1.0 + taken)
    }

    /// log of the conditional constant K′ = α·K at a pH.
    pub fn log_conditional(&self, metal: &Formula, ph: f64) -> Option<f64> {
        Some(self.log_k(metal)? + self.alpha(ph).log10())
    }

    /// The lowest pH at which so much metal, mol/L at the equivalence point, gives a sharp endpoint; none if no pH
    /// does, or the metal is not known.
    pub fn lowest_sharp_ph(&self, metal: &Formula, concentration: f64) -> Option<f64> {
        let sharp =
            |ph: f64| is_sharp(self.log_conditional(metal, ph)?, concentration).then_some(());
        let (mut low, mut high) = (*PH_RANGE.start(), *PH_RANGE.end());
        sharp(high)?;
        if sharp(low).is_some() {
            return Some(low);
        }
        // more Y⁴⁻ is free the higher the pH, so one pH divides the range; sixty halvings exhaust a double
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if sharp(middle).is_some() {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high)
    }
}

/// log of concentration × conditional constant, which decides how sharp an endpoint is.
pub fn log_product(log_conditional: f64, concentration: f64) -> f64 {
    log_conditional + concentration.log10()
}

/// Whether the endpoint is sharp by common practice: [`SHARP_LOG_PRODUCT`].
pub fn is_sharp(log_conditional: f64, concentration: f64) -> bool {
    log_product(log_conditional, concentration) >= SHARP_LOG_PRODUCT
}

/// −log of the free metal at the equivalence point, where `concentration` mol/L of it is there in all: the complex has
/// fallen apart into x of metal and x of EDTA, (c − x)/x² = K′.
pub fn p_metal_at_equivalence(log_conditional: f64, concentration: f64) -> f64 {
    let constant = 10_f64.powf(log_conditional);
    // the root of K′x² + x − c = 0, written so that nothing cancels
    let free = 2.0 * concentration / (1.0 + (1.0 + 4.0 * constant * concentration).sqrt());
    -free.log10()
}

//! Water: its density, and what weighing it in air does.
//!
//! In doubles: these are corrections and the figures of a calibration, not readings or marks.

use std::ops::RangeInclusive;

/// Temperatures at which [`water_density`] holds, °C.
pub const WATER_CELSIUS: RangeInclusive<f64> = 0.0..=40.0;

// the CIPM's formula: Tanaka et al., Metrologia 38 (2001) 301–309
const A1: f64 = -3.983_035;
const A2: f64 = 301.797;
const A3: f64 = 522_528.9;
const A4: f64 = 69.348_81;
const A5: f64 = 999.974_950;

/// Density of air-free water at 101 325 Pa, g/mL; none outside [`WATER_CELSIUS`], where the formula was not fitted.
///
/// Source: Tanaka et al., Metrologia 38 (2001) 301–309, the CIPM's formula.
pub fn water_density(celsius: f64) -> Option<f64> {
    let from_densest = celsius + A1;
    WATER_CELSIUS.contains(&celsius).then(|| {
        A5 * (1.0 - from_densest.powi(2) * (celsius + A2) / (A3 * (celsius + A4))) / 1000.0
    })
}

/// How much that density grows per °C, g/mL per °C (it falls, but below 4 °C); none outside [`WATER_CELSIUS`].
pub fn water_density_slope(celsius: f64) -> Option<f64> {
    let (from_densest, over, under) = (celsius + A1, celsius + A2, celsius + A4);
    let product = 2.0 * from_densest * over + from_densest.powi(2);
    let quotient = product / under - from_densest.powi(2) * over / under.powi(2);
    WATER_CELSIUS
        .contains(&celsius)
        .then_some(-A5 * quotient / A3 / 1000.0)
}

/// The air a balance stands in and the weights it was adjusted with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighing {
    /// Density of the air, g/mL.
    pub air: f64,
    /// Density of the weights, g/mL.
    pub weights: f64,
}

/// Conventional air and steel weights: 1.2 and 8000 kg/m³.
impl Default for Weighing {
    fn default() -> Self {
        Self {
            air: 0.0012,
            weights: 8.0,
        }
    }
}

impl Weighing {
    /// Mass per balance reading for something of this density, g/mL: air bears part of it, and part of the weights.
    pub fn buoyancy(&self, density: f64) -> f64 {
        (1.0 - self.air / self.weights) / (1.0 - self.air / density)
    }

    /// The Z factor: volume in mL of one gram of water by the balance's reading (ISO 4787, ISO 8655-6); none outside
    /// [`WATER_CELSIUS`].
    pub fn z_factor(&self, celsius: f64) -> Option<f64> {
        water_density(celsius).map(|density| self.buoyancy(density) / density)
    }
}

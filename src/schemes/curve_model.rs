//! What a meter shows while a titrant is added: exact for one acid or base, one salt that precipitates, and ions that
//! carry current. For simulated students and for what is to be expected.

use super::curve::{Curve, CurveSignal};
use crate::measure::as_f64;

/// Ion product of water at 25 °C.
const KW: f64 = 1e-14;
/// Potential of a silver electrode where its ions are 1 mol/L, against silver and silver chloride in 3 mol/L potassium
/// chloride, mV: 799 less 209.
const SILVER: f64 = 590.0;
/// Nernst's factor at 25 °C, mV per power of ten.
const NERNST: f64 = 59.16;
/// Molar conductivities of hydrogen, hydroxide, sodium and chloride ions at infinite dilution, S·cm²/mol, 25 °C.
const CONDUCTIVITY: [f64; 4] = [349.8, 198.3, 50.1, 76.3];

/// Points up to the equivalence, and how far past it a curve is read, as a share.
const COARSE_STEPS: f64 = 16.0;
const PAST: f64 = 1.35;

impl Curve {
    /// Volumes at which it is read: in steps of a sixteenth, and in small equal ones around the equivalence. What lies
    /// past the burette is left out.
    pub(super) fn volumes(&self, equivalence: f64) -> Vec<f64> {
        let full = as_f64(self.titrant.burette.capacity());
        let coarse = equivalence / COARSE_STEPS;
        let step = |n: u32| coarse * f64::from(n);
        let mut volumes: Vec<f64> = (0..=32).map(step).collect();
        if self.curve.signal != CurveSignal::Conductance {
            let fine = if full < 20.0 { 0.05 } else { 0.1 };
            // halfway between the marks of the steps
            let nearest = (equivalence / fine).round() * fine;
            let around = (-5..5).map(|n| nearest + fine * (f64::from(n) + 0.5));
            volumes.retain(|v| (v - nearest).abs() > 5.5 * fine);
            volumes.extend(around);
        }
        let most = (PAST * equivalence).max(equivalence + 2.0);
        volumes.retain(|v| (0.0..=most.min(full)).contains(v));
        volumes.sort_by(f64::total_cmp);
        volumes
    }

    /// What the meter shows once so many mL are added.
    pub(super) fn shows(&self, volume: f64, equivalence: f64) -> f64 {
        let start = as_f64(self.curve.start);
        let molarity = as_f64(self.titrant.nominal);
        let total = start + volume;
        let titrant = molarity * volume / total;
        let titrated = molarity * equivalence / total;
        let excess = titrant - titrated;
        let constant = self.curve.pk.map_or(KW, |pk| 10_f64.powf(-as_f64(pk)));
        // the ion of which there is more, with a product of the two that stands
        let ion = |more: f64, product: f64| {
            let half = more.abs() / 2.0;
            let larger = half + (half * half + product).sqrt();
            if more >= 0.0 {
                larger
            } else {
                product / larger
            }
        };
        match self.curve.signal {
            CurveSignal::Potential => SILVER + NERNST * ion(excess, constant).log10(),
            CurveSignal::Conductance => {
                let (more, less) = (ion(excess, KW), ion(-excess, KW));
                let (hydrogen, hydroxide) = if self.titrant.is_acid() {
                    (more, less)
                } else {
                    (less, more)
                };
                let (sodium, chloride) = if self.titrant.is_acid() {
                    (titrated, titrant)
                } else {
                    (titrant, titrated)
                };
                let ions = [hydrogen, hydroxide, sodium, chloride];
                ions.iter().zip(CONDUCTIVITY).map(|(c, s)| c * s).sum()
            }
            CurveSignal::Ph => {
                let acid = self.titrant.is_acid();
                let constant = match self.curve.pk {
                    Some(_) if acid => KW / constant,
                    _ => constant,
                };
                let p = match self.curve.pk {
                    Some(_) => weak(titrant, titrated, constant),
                    None => -ion(-excess, KW).log10(),
                };
                if acid { -KW.log10() - p } else { p }
            }
        }
    }
}

/// pH of a weak acid with so much strong base, by its charge balance: halved until nothing is left.
fn weak(base: f64, acid: f64, constant: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 14.0_f64);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        let h = 10_f64.powf(-middle);
        let charge = base + h - KW / h - acid * constant / (constant + h);
        if charge > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

//! How often the expanded uncertainty of a curve's result covers the truth, where everything that the procedure states may
//! be off is drawn: stock, pipette, burette, volume before the titration, every reading of burette and meter, and what one
//! determination differs from another by. Nothing here asks the budget.

use concordant::columns::Column;
use concordant::procedure::Procedure;
use concordant::submission::{Titration, TrialLabel};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::covered::Errors;
use super::curves::{grid, ph_of_weak};
use super::{lot, read, row, text_of, worked};
use crate::reference::{dec, f};

/// One curve: what is read, with how many decimals, at which volumes, and what the vessel shows.
struct World {
    key: &'static str,
    column: fn(usize) -> Column,
    decimals: usize,
    /// mL before the titration.
    start: f64,
    /// mol/L of titrant.
    titrant: f64,
    /// Result units per mol/L.
    per: f64,
    volumes: fn(f64) -> Vec<f64>,
    /// For a volume added, the equivalence volume, the volume before, and the molarity.
    shows: fn(f64, f64, f64, f64) -> f64,
}

const WORLDS: [World; 3] = [
    World {
        key: "acid-gran",
        column: Column::CurvePh,
        decimals: 2,
        start: 75.0,
        titrant: 0.1,
        per: 1.0,
        volumes: |equivalence| steps(0.5, equivalence + 2.0),
        shows: |v, equivalence, start, c| {
            let total = start + v;
            ph_of_weak(c * equivalence / total, c * v / total, 4.76)
        },
    },
    World {
        key: "acid-conductance",
        column: Column::CurveConductance,
        decimals: 2,
        start: 125.0,
        titrant: 0.1,
        per: 1.0,
        volumes: |equivalence| steps(1.0, 1.55 * equivalence),
        // ions of hydrogen, chloride, sodium and hydroxide, S·cm²/mol at infinite dilution (CRC Handbook)
        shows: |v, equivalence, start, c| {
            let (acid, base) = (c * equivalence, c * v);
            let hydrogen = (acid - base).max(0.0);
            let hydroxide = (base - acid).max(0.0);
            let carried = 349.7 * hydrogen + 76.3 * acid + 50.1 * base + 198.0 * hydroxide;
            carried / (start + v)
        },
    },
    World {
        key: "chloride-silver-electrode",
        column: Column::CurvePotential,
        decimals: 0,
        start: 100.0,
        titrant: 0.02,
        per: 35_450.0,
        volumes: |equivalence| grid(equivalence, 0.1, 0.0),
        // Nernst's slope at 25 °C; silver from the solubility product
        shows: |v, equivalence, start, c| {
            let excess = c * (v - equivalence) / (start + v);
            let product = 10f64.powf(-9.75);
            let silver = f64::midpoint(excess, (excess * excess + 4.0 * product).sqrt());
            550.0 + 59.16 * silver.log10()
        },
    },
];

fn steps(step: f64, top: f64) -> Vec<f64> {
    let all = (0..).map(|n| step * f64::from(n));
    all.take_while(|volume| *volume < top).collect()
}

impl World {
    /// The result, its expanded uncertainty, and the truth.
    fn drawn(&self, procedure: &Procedure, errors: &mut Errors) -> (f64, f64, f64) {
        let burette = f(procedure.burette().expect("a burette").tolerance());
        let pipette = f(procedure.sample.nominal)
            + errors.triangle(f(procedure.sample.glassware.tolerance()));
        let molarity = self.titrant * (1.0 + 0.001 * errors.normal());
        let repeat = f(procedure.uncertainty.repeatability) / 100.0;
        let last_digit = 10f64.powi(-i32::try_from(self.decimals).expect("few"));
        let sample = self.titrant * (10.0 + 4.5 * errors.0.random::<f64>()) / pipette;
        let shared = errors.triangle(burette) * 0.5f64.sqrt();
        let mut rows: Vec<Titration> = Vec::new();
        for n in 1..=2 {
            let equivalence = sample * pipette * (1.0 + repeat * errors.normal()) / molarity;
            let off = shared + errors.triangle(burette) * 0.5f64.sqrt();
            let start = self.start * (1.0 + errors.rectangle(0.02));
            let mut readings = Vec::new();
            for (number, volume) in (1..).zip((self.volumes)(equivalence)) {
                // what is written lies off what ran out by the burette and by a look at it
                let really = (volume - off - errors.triangle(0.01)).max(0.0);
                let shown = (self.shows)(really, equivalence, start, molarity);
                let shown = shown + errors.triangle(2.0 * last_digit);
                readings.push((Column::CurveVolume(number), format!("{volume:.2}")));
                let places = self.decimals;
                readings.push(((self.column)(number), format!("{shown:.places$}")));
            }
            let readings: Vec<(Column, &str)> = readings
                .iter()
                .map(|(column, text)| (*column, text.as_str()))
                .collect();
            rows.push(row(TrialLabel::Numbered(n), &readings));
        }
        let mut stock = lot("T", &self.titrant.to_string());
        stock.molarity.standard_uncertainty = stock.molarity.value * dec("0.001");
        let done = worked(procedure, rows, (&stock, None));
        let value = done.value().unwrap_or_else(|| panic!("{:?}", done.trials));
        let expanded = done.budget.map_or(0.0, |budget| budget.expanded);
        (f(value), expanded, sample * self.per)
    }
}

#[test]
fn the_expanded_uncertainty_covers_all_that_may_be_off() {
    let long = std::env::var_os("CONCORDANT_LONG").is_some();
    let draws: u32 = if long { 4000 } else { 250 };
    let mut errors = Errors(ChaCha20Rng::seed_from_u64(31));
    for world in &WORLDS {
        let procedure = read(&text_of(world.key)).expect(world.key);
        let mut covered = 0;
        let (mut bias, mut width) = (0.0, 0.0);
        for _ in 0..draws {
            let (value, expanded, truth) = world.drawn(&procedure, &mut errors);
            covered += u32::from((value - truth).abs() <= expanded);
            bias += (value / truth - 1.0) / f64::from(draws);
            width += expanded / truth / f64::from(draws);
        }
        let share = f64::from(covered) / f64::from(draws);
        println!(
            "{}: {share:.4} covered; on average {:.3} % off, U {:.2} %",
            world.key,
            100.0 * bias,
            100.0 * width
        );
        // the larger of two estimates of scatter counts; a second derivative has a rectangle between two points besides
        assert!((0.93..=1.0).contains(&share), "{}: {share}", world.key);
    }
}

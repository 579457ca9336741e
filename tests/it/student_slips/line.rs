//! Iron in a plant feed by its colour: 10 mL made up to 250 mL, 20 mL of that made up to 50 mL like the standards.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{FE, MOHRS_SALT, MOHRS_SALT_ANHYDROUS};
use super::{Lab, Sheet, Taken, mean, read, single_trials, thousands, to_figures, wrong};

pub const LAB: Lab = Lab {
    key: "plant-feed",
    procedure: r#"
title = "Mohr's salt in a plant feed"
scheme = "calibration-line"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
made_up_in = "flask-250-a"
taken_with = "pipette-20-a"
[calibration]
species = "Fe^2+"
nominal_mol_per_L = "0.000400"
taken_with = "burette-25-a"
made_up_in = "flask-50-a"
stock_mL = ["0.00", "2.00", "4.00", "6.00", "8.00", "10.00"]
spectrophotometer = "spectrophotometer-0.001"
[result]
analyte = "Fe^2+"
as = "Fe(NH4)2(SO4)2.6H2O"
unit = "mg/L"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,absorbance",
    lots: &[("F-1", "Fe^2+", "0.000418"), ("F-2", "Fe^2+", "0.000379")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.000400;
const STOCK: [f64; 6] = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0];
pub const STANDARD_FLASK: f64 = 50.0;
pub const SAMPLE_FLASK: f64 = 250.0;
const PIPETTE: f64 = 20.0;
const SAMPLE: f64 = 10.0;

fn written() -> Sheet {
    let standards = [0.012, 0.197, 0.385, 0.566, 0.755, 0.938];
    sheet(("F-1", 0.000418), &standards, &[0.319, 0.334, 0.297])
}

/// The same with a feed so strong that three figures of an answer end before its units.
pub fn strong() -> Sheet {
    let standards = [0.012, 0.197, 0.385, 0.566, 0.755, 0.938];
    sheet(("F-1", 0.000418), &standards, &[0.548, 0.551, 0.546])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let (lot, molarity) = [("F-1", 0.000418), ("F-2", 0.000379)][rng.random_range(0..2)];
    let mut absorbance = |molarity: f64, off: f64| {
        read(0.010 + 11_000.0 * molarity + rng.random_range(-off..off), 3)
    };
    let standards = STOCK.map(|stock| absorbance(molarity * stock / STANDARD_FLASK, 0.003));
    let sample = rng.random_range(0.00003..0.00006);
    let off = if rng.random_bool(0.33) { 0.03 } else { 0.002 };
    let mut absorbance = || read(0.010 + 11_000.0 * sample + rng.random_range(-off..off), 3);
    let samples = [absorbance(), absorbance(), absorbance()];
    sheet((lot, molarity), &standards, &samples)
}

/// Slope of the line that a spreadsheet draws through zero.
pub fn through_origin(x: &[f64], y: &[f64]) -> f64 {
    let covered: f64 = x.iter().zip(y).map(|(x, y)| x * y).sum();
    covered / x.iter().map(|x| x * x).sum::<f64>()
}

/// Slope and intercept of least squares.
pub fn line(x: &[f64], y: &[f64]) -> (f64, f64) {
    let (mx, my) = (mean(x), mean(y));
    let covered: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    let slope = covered / x.iter().map(|x| (x - mx).powi(2)).sum::<f64>();
    (slope, my - slope * mx)
}

fn sheet((lot, molarity): (&str, f64), standards: &[f64], samples: &[f64]) -> Sheet {
    let molarities = STOCK.map(|stock| molarity * stock / STANDARD_FLASK);
    let (slope, intercept) = line(&molarities, standards);
    // mol/L in the coloured solution
    let read_off: Vec<f64> = samples.iter().map(|a| (a - intercept) / slope).collect();
    // one iron in one salt; each step back multiplies by what it was made up to over what was taken
    let last_step = STANDARD_FLASK / PIPETTE;
    let first_step = SAMPLE_FLASK / SAMPLE;
    let milligrams = MOHRS_SALT * 1000.0;
    let result = |molarity: &f64| molarity * last_step * first_step * milligrams;
    let each: Vec<f64> = read_off.iter().map(result).collect();
    let right = mean(&each);
    let rounded: Vec<f64> = read_off
        .iter()
        .map(|c| result(&to_figures(*c, 2)))
        .collect();
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend(thousands(right));
    let of = |mol: &dyn Fn(f64) -> f64| {
        let each: Vec<f64> = samples.iter().map(|a| result(&mol(*a))).collect();
        mean(&each)
    };
    let through_origin = through_origin(&molarities, standards);
    mistakes.extend([
        wrong("intercept-ignored", of(&|a| a / slope)),
        wrong("intercept-ignored", of(&|a| (a + intercept) / slope)),
        wrong("line-through-origin", of(&|a| a / through_origin)),
    ]);
    mistakes.extend([
        // what was in the 20 mL taken for what was in the 10 mL of feed
        wrong("dilution-omitted", right * PIPETTE / SAMPLE_FLASK),
        wrong("nominal-molarity", right * LABEL / molarity),
        wrong("wrong-species", right * MOHRS_SALT_ANHYDROUS / MOHRS_SALT),
        wrong("wrong-species", right * FE / MOHRS_SALT),
        wrong("rounded-early", mean(&rounded)),
    ]);
    let row = |label: String, absorbance: &f64| format!("{label},{lot},,{absorbance:.3}");
    let standards = (1..).zip(standards);
    let mut rows: Vec<String> = standards
        .map(|(n, a)| row(format!("standard-{n}"), a))
        .collect();
    rows.extend((1..).zip(samples).map(|(n, a)| row(n.to_string(), a)));
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: vec![
            (Taken::FlaskForSample, right / first_step),
            (Taken::PipettedForMeasured, right / last_step),
            (Taken::MeasuredForSample, right / first_step / last_step),
        ],
    }
}

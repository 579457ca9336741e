//! Copper in a rinsing water by standard addition: 10 mL in each flask of 50 mL.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::line::line;
use super::weights::{O, S, WATER};
use super::{Lab, Sheet, mean, read, single_trials, thousands, wrong};

pub const LAB: Lab = Lab {
    key: "rinsings",
    procedure: r#"
title = "Blue vitriol in rinsings"
scheme = "standard-addition"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
[addition]
species = "Cu^2+"
nominal_mol_per_L = "0.000400"
taken_with = "burette-10-a"
made_up_in = "flask-50-a"
stock_mL = ["0.00", "2.00", "4.00", "6.00", "8.00"]
spectrophotometer = "spectrophotometer-0.001"
[result]
analyte = "Cu^2+"
as = "CuSO4.5H2O"
unit = "mg/L"
[trials]
minimum = 2
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,vessel_absorbance,vessel_absorbance_2,vessel_absorbance_3,vessel_absorbance_4,vessel_absorbance_5",
    lots: &[("C-1", "Cu^2+", "0.000417")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const CU: f64 = 63.546;
const LABEL: f64 = 0.000400;
const MOLARITY: f64 = 0.000417;
const STOCK: [f64; 5] = [0.0, 2.0, 4.0, 6.0, 8.0];

fn written() -> Sheet {
    sheet(&[
        [0.247, 0.352, 0.471, 0.586, 0.698],
        [0.236, 0.361, 0.466, 0.583, 0.702],
    ])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let sample = rng.random_range(1.5e-5..4.0e-5);
    let mut trial = || {
        STOCK.map(|v| {
            let absorbance = 7000.0 * (sample + MOLARITY * v / 50.0);
            read(absorbance + rng.random_range(-0.006..0.006), 3)
        })
    };
    sheet(&[trial(), trial()])
}

fn sheet(trials: &[[f64; 5]]) -> Sheet {
    let x = STOCK.map(|v| MOLARITY * v / 50.0);
    let dry = CU + S + 4.0 * O;
    let salt = dry + 5.0 * WATER;
    let milligrams = 50.0 / 10.0 * salt * 1000.0;
    let each: Vec<f64> = trials
        .iter()
        .map(|y| {
            let (slope, intercept) = line(&x, y);
            intercept / slope * milligrams
        })
        .collect();
    let first: Vec<f64> = trials
        .iter()
        .map(|y| y[0] / line(&x, y).0 * milligrams)
        .collect();
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("intercept-ignored", mean(&first)),
        wrong("nominal-molarity", right * LABEL / MOLARITY),
        wrong("dilution-omitted", right * 10.0 / 50.0),
        wrong("wrong-species", right * dry / salt),
        wrong("wrong-species", right * CU / salt),
    ]);
    let row = |(n, y): (u32, &[f64; 5])| {
        let shown: String = y.iter().map(|a| format!(",{a:.3}")).collect();
        format!("{n},C-1,{shown}")
    };
    Sheet {
        rows: (1..).zip(trials).map(row).collect(),
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

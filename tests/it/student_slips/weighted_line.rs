//! Nitrite in a pond by its dye: a line weighted by 1/c, with a reagent blank, 25 mL made up to 50 mL like the standards.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::line::through_origin;
use super::weights::{N, O};
use super::{Lab, Sheet, mean, read, single_trials, thousands, wrong};

pub const LAB: Lab = Lab {
    key: "pond",
    procedure: r#"
title = "Nitrite in a pond"
scheme = "calibration-line"
[sample]
by = "volume"
glassware = "pipette-25-a"
nominal = "25"
[calibration]
species = "NO2^-"
nominal_mol_per_L = "0.0000900"
taken_with = "burette-10-a"
made_up_in = "flask-50-a"
stock_mL = ["1.00", "2.00", "4.00", "6.00", "8.00", "10.00"]
spectrophotometer = "spectrophotometer-0.001"
weights = "1/c"
[result]
analyte = "NO2^-"
as = "N"
unit = "mg/L"
[trials]
minimum = 3
blank = true
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,absorbance",
    lots: &[("P-1", "NO2^-", "0.0000941")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.0000900;
const MOLARITY: f64 = 0.0000941;
const STOCK: [f64; 6] = [1.0, 2.0, 4.0, 6.0, 8.0, 10.0];

fn written() -> Sheet {
    let standards = [0.112, 0.201, 0.402, 0.588, 0.768, 0.941];
    sheet(&standards, 0.061, &[0.447, 0.452, 0.443])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let bend = rng.random_range(0.0..3000.0);
    let mut shown = |c: f64, off: f64| {
        let absorbance = 0.021 + 49_000.0 * c * (1.0 - bend * c);
        read(absorbance + rng.random_range(-off..off), 3)
    };
    let standards = STOCK.map(|v| shown(MOLARITY * v / 50.0, 0.002));
    let blank = shown(0.8e-6, 0.001);
    let samples = [8.0e-6, 8.1e-6, 8.2e-6].map(|c| shown(c, 0.003));
    sheet(&standards, blank, &samples)
}

fn sheet(standards: &[f64], blank: f64, samples: &[f64]) -> Sheet {
    let x = STOCK.map(|v| MOLARITY * v / 50.0);
    let line = |weight: &dyn Fn(f64) -> f64| {
        let w: Vec<f64> = STOCK.iter().map(|v| weight(*v)).collect();
        let all: f64 = w.iter().sum();
        let of = |values: &[f64]| w.iter().zip(values).map(|(w, v)| w * v).sum::<f64>() / all;
        let (mx, my) = (of(&x), of(standards));
        let terms = w.iter().zip(x.iter().zip(standards));
        let covered: f64 = terms
            .clone()
            .map(|(w, (x, y))| w * (x - mx) * (y - my))
            .sum();
        let slope = covered / terms.map(|(w, (x, _))| w * (x - mx).powi(2)).sum::<f64>();
        (slope, my - slope * mx)
    };
    let milligrams = 50.0 / 25.0 * N * 1000.0;
    let of = |slope: f64, intercept: f64, blank_taken: bool| -> Vec<f64> {
        let c = |a: f64| (a - intercept) / slope;
        let less = if blank_taken { c(blank) } else { 0.0 };
        samples
            .iter()
            .map(|a| (c(*a) - less) * milligrams)
            .collect()
    };
    let (slope, intercept) = line(&|v| 1.0 / v);
    let (plain_slope, plain_intercept) = line(&|_| 1.0);
    let each = of(slope, intercept, true);
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("blank-omitted", mean(&of(slope, intercept, false))),
        wrong("other-line", mean(&of(plain_slope, plain_intercept, true))),
        wrong(
            "line-through-origin",
            mean(&of(through_origin(&x, standards), 0.0, true)),
        ),
        wrong("nominal-molarity", right * LABEL / MOLARITY),
        wrong("dilution-omitted", right * 25.0 / 50.0),
        wrong("wrong-species", right * (N + 2.0 * O) / N),
    ]);
    let row = |label: String, absorbance: &f64| format!("{label},P-1,,{absorbance:.3}");
    let mut rows = vec![row("blank".into(), &blank)];
    rows.extend(
        (1..)
            .zip(standards)
            .map(|(n, a)| row(format!("standard-{n}"), a)),
    );
    rows.extend((1..).zip(samples).map(|(n, a)| row(n.to_string(), a)));
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

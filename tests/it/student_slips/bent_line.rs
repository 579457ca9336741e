//! Zinc in a galvanising bath by flame absorption: a parabola through the standards, 25 mL made up to 50 mL like them.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::line::line;
use super::{Lab, Sheet, mean, read, single_trials, thousands, wrong};

pub const LAB: Lab = Lab {
    key: "zinc-bath",
    procedure: r#"
title = "Zinc in a bath"
scheme = "calibration-line"
[sample]
by = "volume"
glassware = "pipette-25-a"
nominal = "25"
[calibration]
species = "Zn^2+"
nominal_mol_per_L = "0.000800"
taken_with = "burette-10-a"
made_up_in = "flask-50-a"
stock_mL = ["0.00", "2.00", "4.00", "6.00", "8.00", "10.00"]
spectrophotometer = "spectrophotometer-0.001"
line = "quadratic"
[result]
analyte = "Zn^2+"
as = "ZnO"
unit = "mg/L"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,absorbance",
    lots: &[("Z-1", "Zn^2+", "0.000827")],
    within: 0.5,
    figures: [4, 5],
    written,
    invented,
};

const ZN: f64 = 65.38;
const ZNO: f64 = ZN + super::weights::O;
const LABEL: f64 = 0.000800;
const MOLARITY: f64 = 0.000827;
const STOCK: [f64; 6] = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0];

fn written() -> Sheet {
    let standards = [0.020, 0.257, 0.465, 0.644, 0.797, 0.919];
    sheet(&standards, &[0.550, 0.555, 0.547])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let mut shown = |mol: f64| {
        let absorbance = 0.030 + 7_200.0 * mol * (1.0 - 1_500.0 * mol);
        read(absorbance + rng.random_range(-0.002..0.002), 3)
    };
    let standards = STOCK.map(|v| shown(MOLARITY * v / 50.0));
    let samples = [2.2e-5, 2.25e-5, 2.3e-5].map(shown);
    sheet(&standards, &samples)
}

/// a, b, q of a + b·v + q·v², from the three normal equations by elimination.
fn parabola(y: &[f64]) -> [f64; 3] {
    let power = |n: i32| STOCK.iter().map(|v| v.powi(n)).sum::<f64>();
    let with = |n: i32| STOCK.iter().zip(y).map(|(v, y)| v.powi(n) * y).sum::<f64>();
    let mut rows = [0, 1, 2].map(|i| [power(i), power(i + 1), power(i + 2), with(i)]);
    for i in 0..3 {
        for j in 0..3 {
            if i != j {
                let factor = rows[j][i] / rows[i][i];
                rows[j] = [0, 1, 2, 3].map(|k| rows[j][k] - factor * rows[i][k]);
            }
        }
    }
    [0, 1, 2].map(|i| rows[i][3] / rows[i][i])
}

fn sheet(standards: &[f64], samples: &[f64]) -> Sheet {
    let [a, b, q] = parabola(standards);
    let (slope, intercept) = line(&STOCK, standards);
    // mL of stock that would stand in the flask
    let bent = |y: f64, a: f64| (-b + (b * b + 4.0 * q * (y - a)).sqrt()) / (2.0 * q);
    let milligrams = MOLARITY / 25.0 * ZNO * 1000.0;
    let of = |stock: &dyn Fn(f64) -> f64| -> Vec<f64> {
        samples.iter().map(|y| stock(*y) * milligrams).collect()
    };
    let each = of(&|y| bent(y, a));
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("other-line", mean(&of(&|y| (y - intercept) / slope))),
        wrong("intercept-ignored", mean(&of(&|y| bent(y, 0.0)))),
        wrong("intercept-ignored", mean(&of(&|y| bent(y, -a)))),
        wrong("nominal-molarity", right * LABEL / MOLARITY),
        wrong("dilution-omitted", right * 25.0 / 50.0),
        wrong("wrong-species", right * ZN / ZNO),
    ]);
    let row = |label: String, absorbance: &f64| format!("{label},Z-1,,{absorbance:.3}");
    let standards = (1..).zip(standards);
    let mut rows: Vec<String> = standards
        .map(|(n, y)| row(format!("standard-{n}"), y))
        .collect();
    rows.extend((1..).zip(samples).map(|(n, y)| row(n.to_string(), y)));
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

//! Permanganate beside dichromate from absorbances at 545 and 440 nm, 10 mL made up to 100 mL.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::O;
use super::{Lab, Sheet, mean, read, single_trials, thousands, wrong};

pub const LAB: Lab = Lab {
    key: "violet-orange",
    procedure: r#"
title = "Permanganate beside dichromate"
scheme = "two-signals"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
[mixture]
other = "Cr2O7^2-"
first = ["2350", "11"]
second = ["95", "370"]
uncertainty_percent = "0.5"
path_cm = "1.000"
made_up_in = "flask-100-a"
spectrophotometer = "spectrophotometer-0.001"
[result]
analyte = "MnO4^-"
as = "KMnO4"
unit = "mg/L"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,absorbance,absorbance_second",
    lots: &[],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const PERMANGANATE: f64 = 54.938_043 + 4.0 * O;
const SALT: f64 = 39.098_3 + PERMANGANATE;

fn written() -> Sheet {
    sheet(&[[0.512, 0.398], [0.508, 0.401], [0.517, 0.396]])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let (a, b) = (
        rng.random_range(1.2e-4..3.0e-4),
        rng.random_range(6.0e-4..1.8e-3),
    );
    let mut trial = || {
        let mut off = || rng.random_range(-0.003..0.003);
        [
            read(2350.0 * a + 11.0 * b + off(), 3),
            read(95.0 * a + 370.0 * b + off(), 3),
        ]
    };
    sheet(&[trial(), trial(), trial()])
}

fn sheet(trials: &[[f64; 2]]) -> Sheet {
    let milligrams = 100.0 / 10.0 * SALT * 1000.0;
    let of = |c: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        trials
            .iter()
            .map(|[one, two]| c(*one, *two) * milligrams)
            .collect()
    };
    // the dichromate is eliminated from both
    let permanganate =
        |one: f64, two: f64| (one - two * 11.0 / 370.0) / (2350.0 - 95.0 * 11.0 / 370.0);
    let dichromate =
        |one: f64, two: f64| (two - one * 95.0 / 2350.0) / (370.0 - 11.0 * 95.0 / 2350.0);
    let each = of(&permanganate);
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong(
            "signals-exchanged",
            mean(&of(&|one, two| permanganate(two, one))),
        ),
        wrong("other-ignored", mean(&of(&|one, _| one / 2350.0))),
        wrong("other-ignored", mean(&of(&|_, two| two / 95.0))),
        wrong("other-component", mean(&of(&dichromate))),
        wrong("dilution-omitted", right * 10.0 / 100.0),
        wrong("wrong-species", right * PERMANGANATE / SALT),
    ]);
    let row = |(n, [one, two]): (u32, &[f64; 2])| format!("{n},,,{one:.3},{two:.3}");
    Sheet {
        rows: (1..).zip(trials).map(row).collect(),
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

//! The density of a syrup by a flask weighed empty, full of water and full of syrup.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::{Lab, Sheet, mean, read, single_trials, to_figures, wrong};

pub const LAB: Lab = Lab {
    key: "maple-syrup",
    procedure: r#"
title = "Density of a syrup"
scheme = "density"
[sample]
by = "volume"
glassware = "flask-50-a"
nominal = "50"
[density]
balance = "balance-1mg"
water_C = "20.0"
[result]
unit = "g/mL"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,vessel_g,vessel_and_water_g,vessel_and_liquid_g",
    lots: &[],
    within: 0.1,
    figures: [4, 5],
    written,
    invented,
};

/// Density of water at 20 °C, g/mL (Tanaka et al., Metrologia 38 (2001) 301–309, Table 6: 998.2067 kg/m³).
const WATER: f64 = 0.998_206_7;
/// Density of air by convention, g/mL (OIML D 28: 1.2 kg/m³).
const AIR: f64 = 0.0012;

/// Empty, full of water, full of syrup, g.
type Weighed = [f64; 3];

fn written() -> Sheet {
    let trials = [
        [31.402, 81.066, 92.915],
        [31.405, 81.302, 93.418],
        [31.399, 81.133, 91.966],
    ];
    sheet(&trials)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let density = rng.random_range(1.08..1.38);
    let empty = rng.random_range(28.0..34.0);
    let careless = rng.random_bool(0.4);
    let off = if careless { 3.0 } else { 0.03 };
    let trials: Vec<Weighed> = (0..3)
        .map(|_| {
            let empty = empty + rng.random_range(-0.003..0.003);
            let volume = 50.0 + rng.random_range(-0.04..0.04);
            let syrup = volume * (density - AIR) + rng.random_range(-off..off);
            let water = empty + volume * (WATER - AIR);
            [read(empty, 3), read(water, 3), read(empty + syrup, 3)]
        })
        .collect();
    sheet(&trials)
}

fn sheet(trials: &[Weighed]) -> Sheet {
    // both weighings are in air, so that each shows the mass less that of the air displaced
    let result =
        |[empty, water, syrup]: &Weighed| (syrup - empty) / (water - empty) * (WATER - AIR) + AIR;
    // the volume of the flask written with two figures, as 50 mL
    let rounded = |[empty, water, syrup]: &Weighed| {
        let volume = to_figures((water - empty) / (WATER - AIR), 2);
        (syrup - empty) / volume + AIR
    };
    let each: Vec<f64> = trials.iter().map(result).collect();
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend([
        // kilograms per cubic metre
        wrong("unit-slip", right * 1000.0),
        wrong(
            "rounded-early",
            mean(&trials.iter().map(rounded).collect::<Vec<_>>()),
        ),
    ]);
    let rows = (1..)
        .zip(trials)
        .map(|(n, [empty, water, syrup])| format!("{n},,,{empty:.3},{water:.3},{syrup:.3}"))
        .collect();
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

//! Soda beside hydrogencarbonate by mass and titre: a weighed portion is titrated whole.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{SODIUM_CARBONATE, SODIUM_HYDROGENCARBONATE};
use super::{Burette, Lab, Sheet, delivered, mean, read, single_trials, starts_forgotten, wrong};

pub const LAB: Lab = Lab {
    key: "crystal-soda",
    procedure: r#"
title = "Soda beside hydrogencarbonate"
scheme = "two-signals"
reactions = [
  "Na2CO3 + 2 HCl -> 2 NaCl + CO2 + H2O",
  "NaHCO3 + HCl -> NaCl + CO2 + H2O",
]
[sample]
by = "mass"
glassware = "balance-0.1mg"
nominal = "0.2000"
[titrant]
species = "HCl"
nominal_mol_per_L = "0.1000"
burette = "burette-50-a"
[mixture]
other = "NaHCO3"
[result]
analyte = "Na2CO3"
unit = "%w/w"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_end_mL,sample_g",
    lots: &[("H-1", "HCl", "0.1037")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.1000;
const MOLARITY: f64 = 0.1037;

fn written() -> Sheet {
    let burette = |start, end| Burette { start, end };
    sheet(
        &[
            burette(0.12, 32.49),
            burette(0.00, 31.91),
            burette(1.20, 34.14),
        ],
        &[0.2013, 0.1987, 0.2048],
    )
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let share = rng.random_range(0.35..0.85);
    let mut trials = Vec::new();
    let mut masses = Vec::new();
    for _ in 0..3 {
        let mass = read(rng.random_range(0.18..0.22), 4);
        let acid = 2.0 * share / SODIUM_CARBONATE + (1.0 - share) / SODIUM_HYDROGENCARBONATE;
        let titre = 1000.0 * mass * acid / MOLARITY + rng.random_range(-0.03..0.03);
        let start = read(rng.random_range(0.0..1.5), 2);
        let end = read(start + titre, 2);
        trials.push(Burette { start, end });
        masses.push(mass);
    }
    sheet(&trials, &masses)
}

fn sheet(trials: &[Burette], masses: &[f64]) -> Sheet {
    // per gram of mixture: a share s of soda takes 2 s / M(soda) + (1 − s) / M(other) of acid, mol
    let (soda, other) = (SODIUM_CARBONATE, SODIUM_HYDROGENCARBONATE);
    let share = |acid: f64| (acid - 1.0 / other) / (2.0 / soda - 1.0 / other);
    let per_gram = |molarity: f64, volumes: &[f64]| -> Vec<f64> {
        let pairs = volumes.iter().zip(masses);
        pairs.map(|(v, m)| molarity * v / 1000.0 / m).collect()
    };
    let each = |molarity: f64, volumes: &[f64]| -> Vec<f64> {
        per_gram(molarity, volumes)
            .into_iter()
            .map(|acid| 100.0 * share(acid))
            .collect()
    };
    let volumes = delivered(trials);
    let results = each(MOLARITY, &volumes);
    let right = mean(&results);
    let acid = per_gram(MOLARITY, &volumes);
    let all: Vec<f64> = acid.iter().map(|acid| 100.0 * acid / 2.0 * soda).collect();
    // mol of hydrogencarbonate per gram, with the molar mass of soda
    let others: Vec<f64> = acid
        .iter()
        .map(|acid| 100.0 * (1.0 - share(*acid)) / other * soda)
        .collect();
    let mut mistakes: Vec<_> = single_trials(&results).collect();
    mistakes.extend(starts_forgotten(trials, |volumes| {
        mean(&each(MOLARITY, volumes))
    }));
    mistakes.extend([
        wrong("other-ignored", mean(&all)),
        wrong("other-component", mean(&others)),
        wrong("nominal-molarity", mean(&each(LABEL, &volumes))),
        wrong("unit-slip", right / 100.0),
    ]);
    let rows = (1..).zip(trials.iter().zip(masses));
    let row = |(n, (b, m)): (u32, (&Burette, &f64))| {
        format!("{n},H-1,,{:.2},{:.2},{m:.4}", b.start, b.end)
    };
    Sheet {
        rows: rows.map(row).collect(),
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

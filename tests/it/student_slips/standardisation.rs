//! Sodium hydroxide against weighed oxalic acid dihydrate.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{OXALIC_ACID, OXALIC_ACID_DIHYDRATE};
use super::{
    Burette, Lab, Sheet, delivered, mean, read, readings, single_trials, spread, starts_forgotten,
    thousands, titrations, to_figures, wrong,
};

pub const LAB: Lab = Lab {
    key: "naoh-against-oxalic-acid",
    procedure: r#"
title = "Sodium hydroxide against oxalic acid dihydrate"
scheme = "standardisation"
reactions = ["H2C2O4 + 2 NaOH -> Na2C2O4 + 2 H2O"]
[titrant]
species = "NaOH"
nominal_mol_per_L = "0.1000"
burette = "burette-50-a"
[sample]
by = "mass-difference"
glassware = "balance-0.1mg"
nominal = "0.1400"
species = "H2C2O4.2H2O"
[result]
analyte = "NaOH"
unit = "mol/L"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_end_mL,sample_before_g,sample_after_g",
    lots: &[],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

/// Weighing bottle before and after, g.
type Weighed = (f64, f64);

fn written() -> Sheet {
    let trials = readings(&[(0.00, 22.47), (1.90, 24.02), (22.40, 45.65)]);
    let weighed = [(11.9052, 11.7665), (11.7665, 11.6306), (11.6306, 11.4899)];
    sheet(&trials, &weighed)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let molarity = rng.random_range(0.085..0.115);
    let off = spread(rng);
    let mut bottle = read(rng.random_range(10.0..13.0), 4);
    let (mut trials, mut weighed) = (Vec::new(), Vec::new());
    for _ in 0..3 {
        let after = read(bottle - rng.random_range(0.120..0.160), 4);
        let titre = 2.0 * (bottle - after) / OXALIC_ACID_DIHYDRATE / molarity * 1000.0;
        trials.extend(titrations(rng, titre, off, 1));
        weighed.push((bottle, after));
        bottle = after;
    }
    sheet(&trials, &weighed)
}

fn sheet(trials: &[Burette], weighed: &[Weighed]) -> Sheet {
    // one oxalic acid takes two bases: n(NaOH) = 2 m/M
    let results = |titres: &[f64]| -> Vec<f64> {
        let one = |(titre, (before, after)): (&f64, &Weighed)| {
            2.0 * (before - after) / OXALIC_ACID_DIHYDRATE / (titre / 1000.0)
        };
        titres.iter().zip(weighed).map(one).collect()
    };
    // the amount weighed written with two figures, as 0.0011 mol
    let rounded: Vec<f64> = trials
        .iter()
        .zip(weighed)
        .map(|(trial, (before, after))| {
            let moles = to_figures((before - after) / OXALIC_ACID_DIHYDRATE, 2);
            2.0 * moles / (trial.delivered() / 1000.0)
        })
        .collect();
    let each = results(&delivered(trials));
    let right = mean(&each);
    let mut mistakes = starts_forgotten(trials, |v| mean(&results(v)));
    mistakes.extend(single_trials(&each));
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("ratio-ignored", right / 2.0),
        wrong("ratio-inverted", right / 4.0),
        // the molar mass without the water
        wrong("wrong-species", right * OXALIC_ACID_DIHYDRATE / OXALIC_ACID),
        wrong("rounded-early", mean(&rounded)),
    ]);
    let rows = (1..)
        .zip(trials.iter().zip(weighed))
        .map(|(n, (t, (before, after)))| {
            format!("{n},,,{:.2},{:.2},{before:.4},{after:.4}", t.start, t.end)
        })
        .collect();
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

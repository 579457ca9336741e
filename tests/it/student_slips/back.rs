//! Eggshell dissolved in 50 mL of hydrochloric acid, what is left of it titrated with sodium hydroxide.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{CA, CALCIUM_CARBONATE, CALCIUM_OXIDE};
use super::{
    Burette, Lab, Sheet, delivered, mean, read, readings, single_trials, spread, starts_forgotten,
    thousands, titrations, to_figures, wrong,
};

pub const LAB: Lab = Lab {
    key: "duck-eggshell",
    procedure: r#"
title = "Calcium carbonate in a duck's eggshell"
scheme = "back"
reactions = ["CaCO3 + 2 HCl -> CaCl2 + CO2 + H2O", "HCl + NaOH -> NaCl + H2O"]
[titrant]
species = "NaOH"
nominal_mol_per_L = "0.1000"
burette = "burette-50-a"
[sample]
by = "mass"
glassware = "balance-0.1mg"
nominal = "0.4000"
[excess]
species = "HCl"
nominal_mol_per_L = "0.2000"
glassware = "pipette-50-a"
[result]
analyte = "CaCO3"
unit = "%w/w"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,excess_lot,unknown,burette_start_mL,burette_end_mL,sample_g",
    lots: &[("N-1", "NaOH", "0.1047"), ("A-1", "HCl", "0.1934")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const BASE: f64 = 0.1047;
const ACID: f64 = 0.1934;
const BASE_LABEL: f64 = 0.1000;
const ACID_LABEL: f64 = 0.2000;

fn written() -> Sheet {
    let trials = readings(&[(0.00, 24.18), (0.62, 24.12), (1.15, 25.98)]);
    sheet(&trials, &[0.3870, 0.4012, 0.3744])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let share = rng.random_range(0.75..0.97);
    let off = spread(rng);
    let (mut trials, mut masses) = (Vec::new(), Vec::new());
    for _ in 0..3 {
        let mass = read(rng.random_range(0.33..0.41), 4);
        let used = 2.0 * mass * share / CALCIUM_CARBONATE;
        let titre = (ACID * 0.050 - used) / BASE * 1000.0;
        trials.extend(titrations(rng, titre, off, 1));
        masses.push(mass);
    }
    sheet(&trials, &masses)
}

fn sheet(trials: &[Burette], masses: &[f64]) -> Sheet {
    // HCl left = NaOH; one carbonate takes two acids: n(CaCO3) = (n(HCl) − n(NaOH))/2; volumes in mL, amounts in mmol
    let results = |acid: f64, base: f64, titres: &[f64]| -> Vec<f64> {
        let one = |(titre, mass): (&f64, &f64)| {
            let used = acid * 50.0 - base * titre;
            used / 2.0 / 1000.0 * CALCIUM_CARBONATE / mass * 100.0
        };
        titres.iter().zip(masses).map(one).collect()
    };
    let titres = delivered(trials);
    let each = results(ACID, BASE, &titres);
    let right = mean(&each);
    let answer = |acid: f64, base: f64| mean(&results(acid, base, &titres));
    let remainder: Vec<f64> = titres
        .iter()
        .zip(masses)
        .map(|(titre, mass)| BASE * titre / 2.0 / 1000.0 * CALCIUM_CARBONATE / mass * 100.0)
        .collect();
    // what is left of the acid written with two figures, as 2.5 mmol
    let rounded: Vec<f64> = titres
        .iter()
        .zip(masses)
        .map(|(titre, mass)| {
            let used = ACID * 50.0 - to_figures(BASE * titre, 2);
            used / 2.0 / 1000.0 * CALCIUM_CARBONATE / mass * 100.0
        })
        .collect();
    let mut mistakes = starts_forgotten(trials, |v| mean(&results(ACID, BASE, v)));
    mistakes.extend(single_trials(&each));
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("back-not-subtracted", mean(&remainder)),
        wrong("nominal-molarity", answer(ACID_LABEL, BASE)),
        wrong("nominal-molarity", answer(ACID, BASE_LABEL)),
        wrong("nominal-molarity", answer(ACID_LABEL, BASE_LABEL)),
        wrong("ratio-ignored", right * 2.0),
        wrong("ratio-inverted", right * 4.0),
        wrong("unit-slip", right / 100.0),
        wrong("wrong-species", right * CALCIUM_OXIDE / CALCIUM_CARBONATE),
        wrong("wrong-species", right * CA / CALCIUM_CARBONATE),
        wrong("rounded-early", mean(&rounded)),
    ]);
    let rows = (1..)
        .zip(trials.iter().zip(masses))
        .map(|(n, (t, mass))| format!("{n},N-1,A-1,,{:.2},{:.2},{mass:.4}", t.start, t.end))
        .collect();
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

//! Vinegar by sodium hydroxide: 10 mL made up to 250 mL, 20 mL of it per trial.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{ACETATE, ACETIC_ACID};
use super::{
    Burette, Lab, Sheet, Taken, delivered, mean, readings, starts_forgotten, thousands, titrations,
    to_figures, wrong,
};

pub const LAB: Lab = Lab {
    key: "pickling-vinegar",
    procedure: r#"
title = "Acetic acid in a pickling vinegar"
scheme = "direct"
reactions = ["CH3COOH + NaOH -> CH3COONa + H2O"]
[titrant]
species = "NaOH"
nominal_mol_per_L = "0.0500"
burette = "burette-50-a"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
made_up_in = "flask-250-a"
taken_with = "pipette-20-a"
[result]
analyte = "CH3COOH"
unit = "%w/v"
[trials]
minimum = 3
accept = { rule = "concordant", within_mL = "0.10" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_end_mL",
    lots: &[("B-1", "NaOH", "0.0476"), ("B-2", "NaOH", "0.0523")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.0500;

fn written() -> Sheet {
    let trials = readings(&[(0.00, 14.27), (14.27, 28.60), (0.70, 15.00)]);
    sheet(("B-1", 0.0476), &trials)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let lot = [("B-1", 0.0476), ("B-2", 0.0523)][rng.random_range(0..2)];
    let titre = rng.random_range(11.0..24.0);
    let trials = titrations(rng, titre, 0.04, 3);
    sheet(lot, &trials)
}

fn sheet((lot, molarity): (&str, f64), trials: &[Burette]) -> Sheet {
    // one base takes one acid; 250/20 times what was titrated came from 10 mL; grams in 100 mL
    let grams = |titre: f64| molarity * titre / 1000.0 * ACETIC_ACID;
    let result = |titre: f64| grams(titre) * 250.0 / 20.0 / 10.0 * 100.0;
    let each = |titres: &[f64]| mean(&titres.iter().map(|t| result(*t)).collect::<Vec<_>>());
    let titres = delivered(trials);
    let right = each(&titres);
    let base = molarity * mean(&titres) / 1000.0;
    let mut mistakes = starts_forgotten(trials, each);
    mistakes.extend(thousands(right));
    mistakes.extend([
        // what was in the 20 mL taken for what was in the 10 mL of vinegar
        wrong("dilution-omitted", grams(mean(&titres)) / 10.0 * 100.0),
        // grams per litre for grams in 100 mL
        wrong("unit-slip", right * 10.0),
        wrong("nominal-molarity", right * LABEL / molarity),
        wrong("rounded-early", right * to_figures(base, 2) / base),
    ]);
    // the acid's molar mass is 2 % above its ion's
    mistakes.push(wrong("wrong-species", right * ACETATE / ACETIC_ACID));
    let rows = (1..)
        .zip(trials)
        .map(|(n, t)| format!("{n},{lot},,{:.2},{:.2}", t.start, t.end))
        .collect();
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: vec![(Taken::FlaskForSample, grams(mean(&titres)) / 20.0 * 100.0)],
    }
}

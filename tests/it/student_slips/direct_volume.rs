//! Washing soda by hydrochloric acid, a pipetted portion per trial.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{CARBONATE, SODIUM_CARBONATE};
use super::{
    Burette, Lab, Sheet, delivered, mean, read, readings, starts_forgotten, thousands, titrations,
    to_figures, wrong,
};

pub const LAB: Lab = Lab {
    key: "washing-soda",
    procedure: r#"
title = "Sodium carbonate in a washing soda"
scheme = "direct"
reactions = ["Na2CO3 + 2 HCl -> 2 NaCl + H2O + CO2"]
[titrant]
species = "HCl"
nominal_mol_per_L = "0.1000"
burette = "burette-50-a"
[sample]
by = "volume"
glassware = "pipette-20-a"
nominal = "20"
[result]
analyte = "Na2CO3"
unit = "g/L"
[trials]
minimum = 3
accept = { rule = "concordant", within_mL = "0.10" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_end_mL",
    lots: &[("H-1", "HCl", "0.0953"), ("H-2", "HCl", "0.1062")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.1000;
const SAMPLE: f64 = 20.0;

fn written() -> Sheet {
    // the rough one ran two millilitres over
    let rough = Burette {
        start: 0.00,
        end: 17.40,
    };
    let trials = readings(&[(0.00, 15.32), (0.85, 16.21), (16.21, 31.55)]);
    sheet(("H-1", 0.0953), rough, &trials)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let lot = [("H-1", 0.0953), ("H-2", 0.1062)][rng.random_range(0..2)];
    let titre = rng.random_range(12.0..26.0);
    let trials = titrations(rng, titre, 0.04, 3);
    let rough = Burette {
        start: 0.0,
        end: read(titre + rng.random_range(0.4..4.0), 2),
    };
    sheet(lot, rough, &trials)
}

fn sheet((lot, molarity): (&str, f64), rough: Burette, trials: &[Burette]) -> Sheet {
    // one carbonate takes two acids: n(Na2CO3) = n(HCl)/2; mmol/mL is mol/L
    let result = |molarity: f64, titre: f64| 0.5 * molarity * titre / SAMPLE * SODIUM_CARBONATE;
    let each = |titres: &[f64]| {
        mean(
            &titres
                .iter()
                .map(|t| result(molarity, *t))
                .collect::<Vec<_>>(),
        )
    };
    let titres = delivered(trials);
    let right = each(&titres);
    let with_rough = [titres.clone(), vec![rough.delivered()]].concat();
    let exchanged: Vec<f64> = titres
        .iter()
        .map(|t| 0.5 * molarity * SAMPLE / t * SODIUM_CARBONATE)
        .collect();
    let acid = molarity * mean(&titres);
    let mut mistakes = starts_forgotten(trials, each);
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("ratio-inverted", right / 0.5 * 2.0),
        wrong("ratio-ignored", right / 0.5),
        wrong("volumes-exchanged", mean(&exchanged)),
        wrong("nominal-molarity", right * LABEL / molarity),
        wrong("rough-included", each(&with_rough)),
        wrong("wrong-species", right * CARBONATE / SODIUM_CARBONATE),
        wrong("rounded-early", right * to_figures(acid, 2) / acid),
    ]);
    let row = |label: &str, burette: &Burette| {
        format!("{label},{lot},,{:.2},{:.2}", burette.start, burette.end)
    };
    let mut rows = vec![row("rough", &rough)];
    rows.extend((1..).zip(trials).map(|(n, t)| row(&n.to_string(), t)));
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

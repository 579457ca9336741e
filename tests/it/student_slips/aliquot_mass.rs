//! Epsom salt by EDTA: weighed once, made up to 250 mL, 20 mL of it per trial.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{EPSOM_SALT, MAGNESIUM_SULFATE, MG};
use super::{
    Burette, Lab, Sheet, delivered, mean, read, readings, starts_forgotten, thousands, titrations,
    to_figures, wrong,
};

pub const LAB: Lab = Lab {
    key: "epsom-salt",
    procedure: r#"
title = "Magnesium sulfate heptahydrate in a bath salt"
scheme = "direct"
reactions = ["Mg^2+ + C10H14N2O8^2- -> MgC10H12N2O8^2- + 2 H^+"]
[titrant]
species = "C10H14N2O8^2-"
nominal_mol_per_L = "0.01000"
burette = "burette-50-a"
[sample]
by = "mass"
glassware = "balance-0.1mg"
nominal = "0.6000"
made_up_in = "flask-250-a"
taken_with = "pipette-20-a"
[result]
analyte = "Mg^2+"
as = "MgSO4.7H2O"
unit = "%w/w"
[trials]
minimum = 3
accept = { rule = "concordant", within_mL = "0.10" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_end_mL,sample_g",
    lots: &[
        ("E-1", "C10H14N2O8^2-", "0.00956"),
        ("E-2", "C10H14N2O8^2-", "0.01043"),
    ],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.01000;

fn written() -> Sheet {
    // the first went far over and is not counted
    let rejected = Burette {
        start: 0.00,
        end: 21.40,
    };
    let trials = readings(&[(1.60, 20.08), (20.08, 38.52), (0.45, 18.93)]);
    sheet(("E-1", 0.00956), rejected, &trials, 0.5823)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let (lot, molarity) = [("E-1", 0.00956), ("E-2", 0.01043)][rng.random_range(0..2)];
    let mass = read(rng.random_range(0.55..0.65), 4);
    let share = rng.random_range(0.75..0.99);
    let titre = mass * share / EPSOM_SALT / 12.5 / molarity * 1000.0;
    let trials = titrations(rng, titre, 0.04, 3);
    let rejected = Burette {
        start: 0.0,
        end: read(titre + rng.random_range(0.5..4.0), 2),
    };
    sheet((lot, molarity), rejected, &trials, mass)
}

fn sheet((lot, molarity): (&str, f64), rejected: Burette, trials: &[Burette], mass: f64) -> Sheet {
    // one EDTA takes one magnesium; the flask held 250/20 times what was titrated
    let result = |titre: f64| {
        let taken = molarity * titre / 1000.0;
        taken * 250.0 / 20.0 * EPSOM_SALT / mass * 100.0
    };
    let each = |titres: &[f64]| mean(&titres.iter().map(|t| result(*t)).collect::<Vec<_>>());
    let titres = delivered(trials);
    let right = each(&titres);
    let with_rejected = [titres.clone(), vec![rejected.delivered()]].concat();
    let taken = molarity * mean(&titres) / 1000.0;
    let mut mistakes = starts_forgotten(trials, each);
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("dilution-omitted", right * 20.0 / 250.0),
        wrong("unit-slip", right / 100.0),
        wrong("nominal-molarity", right * LABEL / molarity),
        wrong("rough-included", each(&with_rejected)),
        // without its water, and the bare ion
        wrong("wrong-species", right * MAGNESIUM_SULFATE / EPSOM_SALT),
        wrong("wrong-species", right * MG / EPSOM_SALT),
        wrong("rounded-early", right * to_figures(taken, 2) / taken),
    ]);
    let all = [rejected].into_iter().chain(trials.iter().copied());
    let rows = (1..)
        .zip(all)
        .map(|(n, t)| format!("{n},{lot},,{:.2},{:.2},{mass:.4}", t.start, t.end))
        .collect();
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

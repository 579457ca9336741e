//! Sodium hydrogencarbonate beside carbonate: two endpoints in one flask, 20 mL out of 250 mL.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{HYDROGENCARBONATE, SODIUM_CARBONATE, SODIUM_HYDROGENCARBONATE};
use super::{Burette, Lab, Sheet, mean, read, thousands, titrations, to_figures, wrong};

pub const LAB: Lab = Lab {
    key: "trona",
    procedure: r#"
title = "Sodium hydrogencarbonate in a trona"
scheme = "two-endpoint"
reactions = ["Na2CO3 + HCl -> NaHCO3 + NaCl"]
[titrant]
species = "HCl"
nominal_mol_per_L = "0.1000"
burette = "burette-50-a"
[sample]
by = "mass"
glassware = "balance-0.1mg"
nominal = "2.2000"
made_up_in = "flask-250-a"
taken_with = "pipette-20-a"
[second]
portion = "same"
reactions = ["NaHCO3 + HCl -> NaCl + H2O + CO2"]
analyte = "Na2CO3"
[result]
analyte = "NaHCO3"
unit = "%w/w"
[trials]
minimum = 3
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_first_endpoint_mL,burette_end_mL,sample_g",
    lots: &[("H-3", "HCl", "0.0957"), ("H-4", "HCl", "0.1036")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.1000;

/// The whole delivery, and the reading at the first endpoint.
type Titrated = (Burette, f64);

fn written() -> Sheet {
    let trial = |start, first, end| (Burette { start, end }, first);
    let trials = [
        trial(0.00, 7.12, 23.30),
        trial(0.80, 7.90, 24.06),
        trial(1.45, 8.59, 24.75),
    ];
    sheet(("H-3", 0.0957), &trials, 2.1846)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let (lot, molarity) = [("H-3", 0.0957), ("H-4", 0.1036)][rng.random_range(0..2)];
    let mass = read(rng.random_range(2.0..2.4), 4);
    let in_flask =
        |share: f64, molar_mass: f64| mass * share / molar_mass * 20.0 / 250.0 / molarity * 1000.0;
    let carbonate = in_flask(rng.random_range(0.35..0.50), SODIUM_CARBONATE);
    let hydrogencarbonate = in_flask(rng.random_range(0.35..0.50), SODIUM_HYDROGENCARBONATE);
    let whole = titrations(rng, 2.0 * carbonate + hydrogencarbonate, 0.05, 3);
    let trials: Vec<Titrated> = whole
        .into_iter()
        .map(|whole| {
            let first = whole.start + carbonate + rng.random_range(-0.03..0.03);
            (whole, read(first, 2))
        })
        .collect();
    sheet((lot, molarity), &trials, mass)
}

fn sheet((lot, molarity): (&str, f64), trials: &[Titrated], mass: f64) -> Sheet {
    // to the first endpoint each carbonate takes one acid, and one more to the second, where the hydrogencarbonate that
    // was there from the start takes one as well: n(NaHCO3) = n₂ − 2 n₁, both from the start
    let result = |first: f64, whole: f64| {
        let taken = molarity * (whole - 2.0 * first) / 1000.0;
        taken * 250.0 / 20.0 * SODIUM_HYDROGENCARBONATE / mass * 100.0
    };
    // in trials where the start was forgotten the readings stand for the volumes
    let answer = |forgotten: &dyn Fn(usize) -> bool| {
        let one = |(i, (whole, first)): (usize, &Titrated)| {
            let start = if forgotten(i) { 0.0 } else { whole.start };
            result(first - start, whole.end - start)
        };
        mean(&trials.iter().enumerate().map(one).collect::<Vec<_>>())
    };
    let right = answer(&|_| false);
    let net: Vec<f64> = trials
        .iter()
        .map(|(whole, first)| molarity * (whole.delivered() - 2.0 * (first - whole.start)))
        .collect();
    let net = mean(&net);
    let mut mistakes = Vec::new();
    let started: Vec<usize> = (0..trials.len())
        .filter(|&i| trials[i].0.start > 0.0)
        .collect();
    if !started.is_empty() {
        mistakes.push(wrong("end-not-difference", answer(&|_| true)));
    }
    for trial in started {
        mistakes.push(wrong("start-not-zero-ignored", answer(&|i| i == trial)));
    }
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("dilution-omitted", right * 20.0 / 250.0),
        wrong("unit-slip", right / 100.0),
        wrong("nominal-molarity", right * LABEL / molarity),
        wrong(
            "wrong-species",
            right * HYDROGENCARBONATE / SODIUM_HYDROGENCARBONATE,
        ),
        wrong(
            "wrong-species",
            right * SODIUM_CARBONATE / SODIUM_HYDROGENCARBONATE,
        ),
        wrong("rounded-early", right * to_figures(net, 2) / net),
    ]);
    let rows = (1..)
        .zip(trials)
        .map(|(n, (t, first))| {
            format!(
                "{n},{lot},,{:.2},{first:.2},{:.2},{mass:.4}",
                t.start, t.end
            )
        })
        .collect();
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

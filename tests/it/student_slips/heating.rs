//! Hydrogencarbonate in a baking powder by what it loses when it is heated.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{SODIUM_CARBONATE, SODIUM_HYDROGENCARBONATE};
use super::{Lab, Sheet, mean, read, single_trials, wrong};

pub const LAB: Lab = Lab {
    key: "raising-agent",
    procedure: r#"
title = "Hydrogencarbonate by heating"
scheme = "heating"
reactions = ["2 NaHCO3 -> Na2CO3 + H2O + CO2"]
[sample]
by = "mass"
glassware = "balance-0.1mg"
nominal = "2.0000"
[heating]
residue = "Na2CO3"
balance = "balance-0.1mg"
nominal_loss_g = "0.4000"
[result]
analyte = "NaHCO3"
unit = "%w/w"
[trials]
minimum = 2
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,crucible_g,crucible_after_heating_g,sample_g",
    lots: &[],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

/// Crucible empty and after heating, sample, g.
pub type Weighed = [f64; 3];

fn written() -> Sheet {
    sheet(&[[21.4406, 22.9911, 2.0134], [20.9873, 22.5094, 1.9762]])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let share = rng.random_range(0.45..0.95);
    let trials = [0, 1].map(|_| {
        let (empty, sample) = (rng.random_range(18.0..24.0), rng.random_range(1.9..2.1));
        let lost = sample * share * (1.0 - SODIUM_CARBONATE / 2.0 / SODIUM_HYDROGENCARBONATE);
        let off = rng.random_range(-0.002..0.002);
        [empty, empty + sample - lost + off, sample].map(|mass| read(mass, 4))
    });
    sheet(&trials)
}

pub fn rows(trials: &[Weighed]) -> Vec<String> {
    let row = |(n, [empty, full, sample]): (u32, &Weighed)| {
        format!("{n},,,{empty:.4},{full:.4},{sample:.4}")
    };
    (1..).zip(trials).map(row).collect()
}

fn sheet(trials: &[Weighed]) -> Sheet {
    let lost_per_mole = SODIUM_HYDROGENCARBONATE - SODIUM_CARBONATE / 2.0;
    let of = |loss: &dyn Fn(f64, f64) -> f64, molar: f64| -> Vec<f64> {
        let each = trials.iter();
        let each = each.map(|[empty, full, sample]| {
            loss(*sample, full - empty) / lost_per_mole * molar / sample * 100.0
        });
        each.collect()
    };
    let lost = |sample: f64, left: f64| sample - left;
    let each = of(&lost, SODIUM_HYDROGENCARBONATE);
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend([
        wrong(
            "masses-exchanged",
            mean(&of(&|_, left| left, SODIUM_HYDROGENCARBONATE)),
        ),
        wrong("wrong-species", mean(&of(&lost, SODIUM_CARBONATE))),
        wrong("unit-slip", right / 100.0),
    ]);
    Sheet {
        rows: rows(trials),
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

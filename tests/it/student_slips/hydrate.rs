//! Water in a mole of Epsom salt, by heating.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::heating::{Weighed, rows};
use super::weights::{MAGNESIUM_SULFATE, WATER};
use super::{Lab, Sheet, mean, read, single_trials, wrong};

pub const LAB: Lab = Lab {
    key: "bitter-salt",
    procedure: r#"
title = "Water of a salt"
scheme = "heating"
[sample]
by = "mass"
glassware = "balance-0.1mg"
nominal = "2.0000"
[heating]
residue = "MgSO4"
balance = "balance-0.1mg"
nominal_loss_g = "1.0000"
[result]
analyte = "H2O"
unit = "mol/mol"
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

fn written() -> Sheet {
    sheet(&[[21.4406, 22.4611, 2.0034], [20.9873, 21.9829, 1.9562]])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let water = rng.random_range(4.5..6.2) * WATER;
    let share = water / (water + MAGNESIUM_SULFATE);
    let trials = [0, 1].map(|_| {
        let (empty, sample) = (rng.random_range(18.0..24.0), rng.random_range(1.9..2.1));
        let off = rng.random_range(-0.002..0.002);
        [empty, empty + sample * (1.0 - share) + off, sample].map(|mass| read(mass, 4))
    });
    sheet(&trials)
}

fn sheet(trials: &[Weighed]) -> Sheet {
    // of the sample and what is left of it
    let of = |x: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        trials
            .iter()
            .map(|[empty, full, sample]| x(*sample, full - empty))
            .collect()
    };
    let moles = |water: f64, salt: f64| water / WATER / (salt / MAGNESIUM_SULFATE);
    let each = of(&|sample, left| moles(sample - left, left));
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend([
        wrong(
            "masses-as-amounts",
            mean(&of(&|sample, left| (sample - left) / left)),
        ),
        wrong(
            "masses-exchanged",
            mean(&of(&|sample, left| moles(sample - left, sample))),
        ),
    ]);
    Sheet {
        rows: rows(trials),
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

//! Iron in an ore weighed as its oxide, with a blank of reagents and filter paper.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{FE, IRON_OXIDE};
use super::{Lab, Sheet, mean, read, single_trials, to_figures, wrong};

pub const LAB: Lab = Lab {
    key: "bog-iron",
    procedure: r#"
title = "Iron in a bog ore as its oxide"
scheme = "gravimetric"
reactions = ["2 Fe^3+ + 6 OH^- -> Fe2O3 + 3 H2O"]
[sample]
by = "mass-difference"
glassware = "balance-0.1mg"
nominal = "0.8000"
[precipitate]
species = "Fe2O3"
balance = "balance-0.1mg"
nominal_g = "0.45"
[result]
analyte = "Fe^3+"
as = "Fe"
unit = "%w/w"
[trials]
minimum = 3
blank = true
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,crucible_g,crucible_and_precipitate_g,sample_before_g,sample_after_g",
    lots: &[],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

/// Crucible empty and full, weighing bottle before and after, g.
type Weighed = [f64; 4];

fn written() -> Sheet {
    let trials = [
        [21.4406, 21.8922, 15.6610, 14.8543],
        [20.9873, 21.4310, 14.8543, 14.0751],
        [22.1035, 22.5738, 14.0751, 13.2672],
    ];
    sheet([21.7712, 21.7894], &trials)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let share = rng.random_range(0.30..0.45);
    let empty = read(rng.random_range(20.0..23.0), 4);
    let residue = rng.random_range(0.008..0.025);
    let careless = rng.random_bool(0.33);
    let off = if careless { 0.02 } else { 0.0008 };
    let mut bottle = read(rng.random_range(14.0..17.0), 4);
    let mut trials = Vec::new();
    for _ in 0..3 {
        let after = read(bottle - rng.random_range(0.75..0.85), 4);
        let crucible = read(rng.random_range(20.0..23.0), 4);
        let oxide = (bottle - after) * share / (2.0 * FE) * IRON_OXIDE;
        let full = crucible + oxide + residue + rng.random_range(-off..off);
        trials.push([crucible, read(full, 4), bottle, after]);
        bottle = after;
    }
    sheet([empty, read(empty + residue, 4)], &trials)
}

fn sheet(blank: [f64; 2], trials: &[Weighed]) -> Sheet {
    let residue = blank[1] - blank[0];
    // two irons in one oxide: n(Fe) = 2 n(Fe2O3)
    let results = |residue: f64, moles: &dyn Fn(f64) -> f64| -> Vec<f64> {
        let one = |[empty, full, before, after]: &Weighed| {
            2.0 * moles(full - empty - residue) * FE / (before - after) * 100.0
        };
        trials.iter().map(one).collect()
    };
    let moles = |oxide: f64| oxide / IRON_OXIDE;
    let each = results(residue, &moles);
    let right = mean(&each);
    let rounded = results(residue, &|oxide| to_figures(moles(oxide), 2));
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend([
        wrong("blank-omitted", mean(&results(0.0, &moles))),
        wrong("ratio-ignored", right / 2.0),
        wrong("ratio-inverted", right / 4.0),
        wrong("unit-slip", right / 100.0),
        // the oxide handed in for the iron
        wrong("wrong-species", right * IRON_OXIDE / (2.0 * FE)),
        wrong("rounded-early", mean(&rounded)),
    ]);
    let mut rows = vec![format!("blank,,,{:.4},{:.4},,", blank[0], blank[1])];
    for (n, [empty, full, before, after]) in (1..).zip(trials) {
        rows.push(format!("{n},,,{empty:.4},{full:.4},{before:.4},{after:.4}"));
    }
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

//! Salt in a stock powder by silver nitrate, a weighed portion per trial, with a blank.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::weights::{CL, SODIUM_CHLORIDE};
use super::{
    Burette, Lab, Sheet, delivered, mean, read, readings, single_trials, spread, starts_forgotten,
    thousands, titrations, to_figures, wrong,
};

pub const LAB: Lab = Lab {
    key: "stock-powder",
    procedure: r#"
title = "Salt in a stock powder"
scheme = "direct"
reactions = ["AgNO3 + Cl^- -> AgCl + NO3^-"]
[titrant]
species = "AgNO3"
nominal_mol_per_L = "0.0500"
burette = "burette-50-a"
[sample]
by = "mass-difference"
glassware = "balance-0.1mg"
nominal = "0.1000"
[result]
analyte = "Cl^-"
as = "NaCl"
unit = "%w/w"
[trials]
minimum = 3
blank = true
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,burette_start_mL,burette_end_mL,sample_before_g,sample_after_g",
    lots: &[("S-1", "AgNO3", "0.0478"), ("S-2", "AgNO3", "0.0531")],
    within: 0.5,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.0500;

/// Weighing bottle before and after, g.
type Weighed = (f64, f64);

fn written() -> Sheet {
    let blank = Burette {
        start: 0.00,
        end: 1.18,
    };
    let trials = readings(&[(0.00, 20.15), (20.15, 41.02), (1.35, 21.90)]);
    let weighed = [(14.2236, 14.1215), (14.1215, 14.0166), (14.0166, 13.9129)];
    sheet(("S-1", 0.0478), blank, &trials, &weighed)
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let (lot, molarity) = [("S-1", 0.0478), ("S-2", 0.0531)][rng.random_range(0..2)];
    let fraction = rng.random_range(0.40..0.75);
    let blank_volume = rng.random_range(0.3..1.6);
    let off = spread(rng);
    let mut bottle = read(rng.random_range(12.0..16.0), 4);
    let (mut trials, mut weighed) = (Vec::new(), Vec::new());
    for _ in 0..3 {
        let after = read(bottle - rng.random_range(0.090..0.110), 4);
        let titre = (bottle - after) * fraction / SODIUM_CHLORIDE / molarity * 1000.0;
        trials.extend(titrations(rng, titre + blank_volume, off, 1));
        weighed.push((bottle, after));
        bottle = after;
    }
    let blank = Burette {
        start: 0.0,
        end: read(blank_volume, 2),
    };
    sheet((lot, molarity), blank, &trials, &weighed)
}

fn sheet(
    (lot, molarity): (&str, f64),
    blank: Burette,
    trials: &[Burette],
    weighed: &[Weighed],
) -> Sheet {
    // one silver takes one chloride, and one chloride is one sodium chloride
    let results = |titres: &[f64], blank: f64| -> Vec<f64> {
        let one = |(titre, (before, after)): (&f64, &Weighed)| {
            let moles = molarity * (titre - blank) / 1000.0;
            moles * SODIUM_CHLORIDE / (before - after) * 100.0
        };
        titres.iter().zip(weighed).map(one).collect()
    };
    let rounded_moles = |figures: usize| {
        let one = |(trial, (before, after)): (&Burette, &Weighed)| {
            let moles = molarity * (trial.delivered() - blank.delivered()) / 1000.0;
            to_figures(moles, figures) * SODIUM_CHLORIDE / (before - after) * 100.0
        };
        mean(&trials.iter().zip(weighed).map(one).collect::<Vec<_>>())
    };
    let titres = delivered(trials);
    let each = results(&titres, blank.delivered());
    let right = mean(&each);
    let mut mistakes = starts_forgotten(trials, |v| mean(&results(v, blank.delivered())));
    mistakes.extend(single_trials(&each));
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("unit-slip", right / 100.0),
        wrong("nominal-molarity", right * LABEL / molarity),
        wrong("blank-omitted", mean(&results(&titres, 0.0))),
        wrong("wrong-species", right * CL / SODIUM_CHLORIDE),
        wrong("rounded-early", rounded_moles(2)),
    ]);
    let mut rows = vec![format!(
        "blank,{lot},,{:.2},{:.2},,",
        blank.start, blank.end
    )];
    for (n, (trial, (before, after))) in (1..).zip(trials.iter().zip(weighed)) {
        rows.push(format!(
            "{n},{lot},,{:.2},{:.2},{before:.4},{after:.4}",
            trial.start, trial.end
        ));
    }
    Sheet {
        rows,
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

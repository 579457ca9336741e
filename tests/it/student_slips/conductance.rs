//! Hydrochloric acid by the conductance of 60 mL in which 25 mL of it are titrated: two straight lines meet.

use rand::RngExt;
use rand_chacha::ChaCha20Rng;

use super::line::line;
use super::{Lab, Sheet, mean, read, single_trials, thousands, wrong};

pub const LAB: Lab = Lab {
    key: "bath-acid",
    procedure: r#"
title = "Acid by its conductance"
scheme = "curve"
reactions = ["H^+ + OH^- -> H2O"]
[sample]
by = "volume"
glassware = "pipette-25-a"
nominal = "25"
[titrant]
species = "OH^-"
nominal_mol_per_L = "0.1000"
burette = "burette-50-a"
[curve]
signal = "conductance"
method = "two-lines"
meter = "conductance-meter-0.01"
start_mL = "60"
[result]
analyte = "H^+"
unit = "mol/L"
[trials]
minimum = 2
accept = { rule = "all" }
"#,
    columns: "trial,lot,unknown,volume_mL,conductance_mS,volume_2_mL,conductance_2_mS,volume_3_mL,conductance_3_mS,volume_4_mL,conductance_4_mS,volume_5_mL,conductance_5_mS,volume_6_mL,conductance_6_mS,volume_7_mL,conductance_7_mS,volume_8_mL,conductance_8_mS,volume_9_mL,conductance_9_mS,volume_10_mL,conductance_10_mS,volume_11_mL,conductance_11_mS,volume_12_mL,conductance_12_mS,volume_13_mL,conductance_13_mS,volume_14_mL,conductance_14_mS,volume_15_mL,conductance_15_mS,volume_16_mL,conductance_16_mS",
    lots: &[("K-1", "OH^-", "0.0963")],
    within: 0.8,
    figures: [3, 4],
    written,
    invented,
};

const LABEL: f64 = 0.1000;
const MOLARITY: f64 = 0.0963;
const START: f64 = 60.0;
const POINTS: u32 = 16;

/// Volume added, mL, and what the meter shows, mS.
type Points = Vec<(f64, f64)>;

/// As it would be without errors but those of reading.
fn titrated(equivalence: f64, mut off: impl FnMut() -> f64) -> Points {
    let point = |n: u32| {
        let volume = read(1.6 * equivalence * f64::from(n) / f64::from(POINTS - 1), 2);
        let way = volume / equivalence;
        let straight = if way < 1.0 {
            9.0 - 6.5 * way
        } else {
            2.5 + 2.4 * (way - 1.0)
        };
        let shown = straight * START / (START + volume) + off();
        (volume, read(shown, 2))
    };
    (0..POINTS).map(point).collect()
}

fn written() -> Sheet {
    sheet(&[titrated(17.25, || 0.0), titrated(17.31, || 0.0)])
}

fn invented(rng: &mut ChaCha20Rng) -> Sheet {
    let equivalence = rng.random_range(13.0..24.0);
    let mut one = || titrated(equivalence, || rng.random_range(-0.01..0.01));
    sheet(&[one(), one()])
}

/// Slope and intercept of the points, and what they leave over.
fn side(points: &[(f64, f64)]) -> (f64, f64, f64) {
    let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let (slope, intercept) = line(&x, &y);
    let off = points
        .iter()
        .map(|(x, y)| (y - intercept - slope * x).powi(2));
    (slope, intercept, off.sum())
}

/// How many points belong to the first line: as the straight ones leave least over.
fn before(points: &Points) -> usize {
    let left = |at: &usize| side(&points[..*at]).2 + side(&points[*at..]).2;
    let places = 3..=points.len() - 3;
    places
        .min_by(|a, b| left(a).total_cmp(&left(b)))
        .expect("one")
}

/// Where the lines through the first so many and the others meet.
fn corner(points: &Points, before: usize) -> f64 {
    let (first, second) = (side(&points[..before]), side(&points[before..]));
    (first.1 - second.1) / (second.0 - first.0)
}

fn sheet(trials: &[Points]) -> Sheet {
    let corrected = |points: &Points| -> Points {
        points
            .iter()
            .map(|(v, g)| (*v, g * (START + v) / START))
            .collect()
    };
    let molarity = |volume: f64| MOLARITY * volume / 25.0;
    let results = |with: &dyn Fn(&Points) -> Points| -> Vec<f64> {
        let one = |points: &Points| molarity(corner(&with(points), before(&corrected(points))));
        trials.iter().map(one).collect()
    };
    let (each, raw) = (results(&corrected), results(&Points::clone));
    let right = mean(&each);
    let mut mistakes: Vec<_> = single_trials(&each).collect();
    mistakes.extend(thousands(right));
    mistakes.extend([
        wrong("volume-not-corrected", mean(&raw)),
        wrong("nominal-molarity", right * LABEL / MOLARITY),
    ]);
    let row = |(n, points): (u32, &Points)| {
        let shown: String = points
            .iter()
            .map(|(v, g)| format!(",{v:.2},{g:.2}"))
            .collect();
        format!("{n},K-1,{shown}")
    };
    Sheet {
        rows: (1..).zip(trials).map(row).collect(),
        right,
        wrong: mistakes,
        diluted: Vec::new(),
    }
}

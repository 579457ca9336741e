//! Titration curves: published tables, and curves that are computed here from the balance of charges, by halving.

use concordant::columns::Column;
use concordant::measure::Reading;
use concordant::procedure::Procedure;
use concordant::schemes::HALF_PH;
use concordant::submission::{Titration, TrialLabel};
use concordant::workup::{Of, Role, WorkUp};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{lot, read, text_of, worked};
use crate::reference::{f, near};

pub(super) fn procedure(key: &str) -> Procedure {
    read(&text_of(key)).unwrap_or_else(|why| panic!("{why:?}"))
}

/// A trial of (volume, signal) as written.
pub(super) fn curve(
    number: u32,
    signal: fn(usize) -> Column,
    points: &[(String, String)],
) -> Titration {
    let mut row = Titration::new(TrialLabel::Numbered(number));
    for (n, (volume, shown)) in (1..).zip(points) {
        let volume = Reading::parse(volume).expect("a volume");
        let shown = Reading::parse_signed(shown).expect("a reading");
        row.readings.insert(Column::CurveVolume(n), volume);
        row.readings.insert(signal(n), shown);
    }
    row
}

fn table(points: &[(&str, &str)]) -> Vec<(String, String)> {
    let owned = |(x, y): &(&str, &str)| ((*x).to_owned(), (*y).to_owned());
    points.iter().map(owned).collect()
}

fn equivalence(done: &WorkUp, trial: u32) -> f64 {
    let id = done.graph.find(Role::Equivalence, Of::Trial(trial));
    let id = id.unwrap_or_else(|| panic!("{:?}", done.trials));
    f(done.graph.value(id))
}

/// Skoog, West, Holler and Crouch, Fundamentals of Analytical Chemistry, table of a potentiometric titration of 2.433 mmol
/// of chloride with 0.1000 mol/L silver nitrate (from memory): the second derivative is +4.4 at 24.30 and −5.9 V/mL² at
/// 24.40 mL, so that it is zero at 24.34 mL.
#[test]
fn a_published_potentiometric_titration() {
    let points = table(&[
        ("5.00", "62"),
        ("15.00", "85"),
        ("20.00", "107"),
        ("22.00", "123"),
        ("23.00", "138"),
        ("23.50", "146"),
        ("23.80", "161"),
        ("24.00", "174"),
        ("24.10", "183"),
        ("24.20", "194"),
        ("24.30", "233"),
        ("24.40", "316"),
        ("24.50", "340"),
        ("24.60", "351"),
        ("24.70", "358"),
        ("25.00", "373"),
        ("25.50", "385"),
        ("26.00", "396"),
        ("28.00", "426"),
    ]);
    let rows = vec![curve(1, Column::CurvePotential, &points)];
    let procedure = procedure("chloride-silver-electrode");
    let done = worked(&procedure, rows, (&lot("T", "0.1000"), None));
    // 24.30 + 0.10 · 4.4 / (4.4 + 5.9)
    near(
        equivalence(&done, 1),
        24.342_718_446_6,
        1e-10,
        "equivalence",
    );
    assert!((equivalence(&done, 1) - 24.33).abs() < 0.02);
    let expected = 0.1 * 24.342_718_446_6 * 35.45 * 1000.0 / 100.0;
    near(f(done.value().expect("a result")), expected, 1e-9, "Cl");
}

/// A textbook's table of 20 mL of hydrochloric acid with 0.10 mol/L sodium hydroxide, whose jump is at 20.0 mL; the steps
/// around it are unequal, and the interval within which the zero may lie is as much wider.
#[test]
fn a_published_table_of_a_strong_acid() {
    let points = table(&[
        ("10.0", "1.48"),
        ("18.0", "2.28"),
        ("19.0", "2.59"),
        ("19.9", "3.60"),
        ("20.0", "7.00"),
        ("20.1", "10.60"),
        ("21.0", "11.50"),
        ("22.0", "11.68"),
    ]);
    let rows = vec![curve(1, Column::CurvePh, &points)];
    let done = worked(&procedure("vinegar-curve"), rows, (&lot("T", "0.10"), None));
    let found = equivalence(&done, 1);
    // d = 34 at 19.95, 36 at 20.05, 1 at 20.55; q = 20 at 20.00, −70 at 20.30
    near(found, 20.0 + 0.3 * 20.0 / 90.0, 1e-10, "equivalence");
    let within = contribution(&done, "where between two points the jump is");
    assert!(within > 0.0, "{:?}", done.budget);
    let share = within / f(done.value().expect("a result"));
    near(
        share,
        0.15 / 3f64.sqrt() / found,
        1e-9,
        "half of 0.30 mL, rectangular",
    );
}

fn contribution(done: &WorkUp, name: &str) -> f64 {
    let budget = done.budget.as_ref().expect("a budget");
    let mut all = budget.contributions.iter();
    all.find(|c| c.name() == name).map_or(0.0, |c| c.amount)
}

/// pH of `acid` mol/L of a weak acid, titrated with `base` mol/L of a strong one, both after dilution: the proton
/// balance, halved 200 times.
pub(super) fn ph_of_weak(acid: f64, base: f64, pka: f64) -> f64 {
    let (ka, kw) = (10f64.powf(-pka), 1e-14);
    let balance = |ph: f64| {
        let h = 10f64.powf(-ph);
        let acetate = acid * ka / (ka + h);
        // positive charges less negative ones
        base + h - acetate - kw / h
    };
    let (mut acidic, mut basic) = (-1.0, 15.0);
    for _ in 0..200 {
        let middle = (acidic + basic) / 2.0;
        if balance(middle) > 0.0 {
            acidic = middle;
        } else {
            basic = middle;
        }
    }
    (acidic + basic) / 2.0
}

pub(super) fn weak_curve(
    volumes: &[f64],
    equivalence: f64,
    pka: f64,
    decimals: usize,
) -> Vec<(String, String)> {
    let point = |v: &f64| {
        let (total, c) = (75.0 + v, 0.1);
        let ph = ph_of_weak(c * equivalence / total, c * v / total, pka);
        (format!("{v:.4}"), format!("{ph:.decimals$}"))
    };
    volumes.iter().map(point).collect()
}

pub(super) fn grid(equivalence: f64, fine: f64, phase: f64) -> Vec<f64> {
    let coarse = (0..)
        .map(f64::from)
        .take_while(|v| *v < equivalence - 6.0 * fine);
    let mut volumes: Vec<f64> = coarse.collect();
    let near = (equivalence / fine).floor() * fine;
    volumes.extend((-4..6).map(|n| near + fine * (f64::from(n) + phase)));
    let top = volumes.last().copied().unwrap_or(0.0);
    volumes.extend((1..5).map(|n| top + f64::from(n)));
    volumes
}

/// Exact curves, read exactly, wherever the equivalence lies between two points: the second derivative is zero within half
/// of the step around it, which is what its uncertainty says.
#[test]
fn the_zero_lies_within_half_a_step_of_the_equivalence() {
    let procedure = procedure("vinegar-curve");
    let mut rng = ChaCha20Rng::seed_from_u64(5);
    let mut worst = 0.0f64;
    for _ in 0..200 {
        let true_volume = 12.0 + 10.0 * rng.random::<f64>();
        let pka = 3.5 + 3.0 * rng.random::<f64>();
        let fine = [0.05, 0.1, 0.2, 0.25][rng.random_range(0..4)];
        let volumes = grid(true_volume, fine, rng.random::<f64>());
        let rows = vec![curve(
            1,
            Column::CurvePh,
            &weak_curve(&volumes, true_volume, pka, 4),
        )];
        let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
        let off = (equivalence(&done, 1) - true_volume).abs() / fine;
        worst = worst.max(off);
        assert!(off <= 0.5, "{off} steps off, {true_volume} mL, pKa {pka}");
        let half = done.graph.find(Role::Own(HALF_PH), Of::Trial(1));
        let half = f(done.graph.value(half.expect("points around half")));
        // half of the acid is its base but for what dissociates of itself, 10^−pKa of 0.01 mol/L
        assert!((half - pka).abs() < 0.05, "{half} for {pka}");
    }
    println!("at most {worst:.3} steps off");
    assert!(
        worst > 0.2,
        "{worst}: coarse steps tell little, and the test must see it"
    );
}

/// Gran's line needs no point near the equivalence. Of a weak acid V · 10^−pH is straight as far as neither water nor the
/// acid's own dissociation has a part: its zero is then within two thousandths, and its slope the acidity constant.
#[test]
fn grans_line_ends_at_the_equivalence() {
    let procedure = procedure("acid-gran");
    let mut rng = ChaCha20Rng::seed_from_u64(6);
    for _ in 0..100 {
        let true_volume = 12.0 + 10.0 * rng.random::<f64>();
        let pka = 4.2 + 1.5 * rng.random::<f64>();
        let volumes: Vec<f64> = (0..)
            .map(|n| 0.5 * f64::from(n))
            .take_while(|v| *v < true_volume + 3.0)
            .collect();
        let rows = vec![curve(
            1,
            Column::CurvePh,
            &weak_curve(&volumes, true_volume, pka, 6),
        )];
        let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
        let off = equivalence(&done, 1) / true_volume - 1.0;
        assert!(off.abs() < 2e-3, "{off}, {true_volume} mL, pKa {pka}");
        let slope = done
            .graph
            .steps()
            .find(|(_, s)| s.quantity.label().starts_with("slope of the first line"));
        let slope = -f(slope.expect("a slope").1.value);
        assert!((slope.log10() + pka).abs() < 0.01, "{slope} for {pka}");
    }
}

/// The strong one, with (V₀ + V) · 10^−pH, and a base with an acid, whose pH falls.
#[test]
fn grans_line_of_strong_acids_and_of_bases() {
    let strong = text_of("acid-gran").replace("pK = \"4.76\"\n", "");
    let base = text_of("acid-gran")
        .replace("CH3COOH + OH^- -> CH3COO^- + H2O", "NH3 + H^+ -> NH4^+")
        .replace("species = \"OH^-\"", "species = \"H^+\"")
        .replace("analyte = \"CH3COOH\"", "analyte = \"NH3\"")
        .replace("pK = \"4.76\"", "pK = \"9.25\"");
    let volumes: Vec<f64> = (0..44).map(|n| 0.5 * f64::from(n)).collect();
    let total = |v: f64| 75.0 + v;
    let of_strong = volumes.iter().map(|v| {
        let more = 0.1 * (16.3 - v) / total(*v);
        // h − Kw/h = what is left of the acid
        let (mut low, mut high) = (-1.0f64, 15.0f64);
        for _ in 0..200 {
            let ph = (low + high) / 2.0;
            let h = 10f64.powf(-ph);
            if h - 1e-14 / h > more {
                low = ph
            } else {
                high = ph
            }
        }
        (format!("{v:.2}"), format!("{low:.6}"))
    });
    // of ammonia by hydrochloric acid: pOH is the pH of its mirror
    let of_base = volumes.iter().map(|v| {
        let poh = ph_of_weak(0.1 * 16.3 / total(*v), 0.1 * v / total(*v), 14.0 - 9.25);
        (format!("{v:.2}"), format!("{:.6}", 14.0 - poh))
    });
    for (text, points) in [
        (strong, of_strong.collect::<Vec<_>>()),
        (base, of_base.collect()),
    ] {
        let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
        let rows = vec![curve(1, Column::CurvePh, &points)];
        let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
        near(equivalence(&done, 1), 16.3, 1e-3, "equivalence");
    }
}

/// Ions of hydrochloric acid and sodium hydroxide by their molar conductivities (CRC Handbook, from memory): corrected
/// for dilution the two branches are straight, and meet where the acid ends.
#[test]
fn two_lines_meet_at_the_equivalence() {
    let procedure = procedure("acid-conductance");
    let mut rng = ChaCha20Rng::seed_from_u64(7);
    for _ in 0..50 {
        let true_volume = 8.0 + 6.0 * rng.random::<f64>();
        let point = |n: u32| {
            let v = f64::from(n);
            let total = 125.0 + v;
            let (acid, base) = (0.1 * true_volume / total, 0.1 * v / total);
            let (h, oh) = ((acid - base).max(0.0), (base - acid).max(0.0));
            let shown = 350.0 * h + 198.0 * oh + 50.1 * base + 76.3 * acid;
            (format!("{v:.2}"), format!("{shown:.8}"))
        };
        let points: Vec<_> = (0..23).map(point).collect();
        let rows = vec![curve(1, Column::CurveConductance, &points)];
        let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
        near(equivalence(&done, 1), true_volume, 1e-6, "where they meet");
    }
}

/// The uncertainty of a line's zero is the textbook's, s(y/x)/|b| · √(1/n + ȳ²/(b²·Sxx)) (Miller and Miller, 5.8), here
/// written out with sums of its own.
#[test]
fn the_uncertainty_of_grans_zero_is_the_textbooks() {
    let procedure = procedure("acid-gran");
    let volumes: Vec<f64> = (0..40).map(|n| 0.5 * f64::from(n)).collect();
    let mut points = weak_curve(&volumes, 15.2, 4.76, 3);
    for (n, (_, ph)) in points.iter_mut().enumerate() {
        let off = [0.03, -0.04, 0.02, 0.0, -0.03][n % 5];
        *ph = format!("{:.3}", ph.parse::<f64>().expect("a pH") + off);
    }
    let rows = vec![curve(1, Column::CurvePh, &points)];
    let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
    let found = equivalence(&done, 1);
    // the steepest step lies between 15.0 and 15.5 mL
    let of_line = points.iter().map(|(v, ph)| {
        (
            v.parse::<f64>().expect("mL"),
            ph.parse::<f64>().expect("pH"),
        )
    });
    let of_line: Vec<(f64, f64)> = of_line
        .filter(|(v, _)| *v >= 0.5 * 15.25 && *v < 0.98 * 15.25)
        .map(|(v, ph)| (v, v * 10f64.powf(-ph)))
        .collect();
    let n = of_line.len() as f64;
    let (sx, sy) = of_line
        .iter()
        .fold((0.0, 0.0), |(x, y), p| (x + p.0, y + p.1));
    let (sxx, sxy) = of_line
        .iter()
        .fold((0.0, 0.0), |(a, b), p| (a + p.0 * p.0, b + p.0 * p.1));
    let b = (n * sxy - sx * sy) / (n * sxx - sx * sx);
    let a = (sy - b * sx) / n;
    near(found, -a / b, 1e-9, "zero");
    let left: f64 = of_line.iter().map(|p| (p.1 - a - b * p.0).powi(2)).sum();
    let s = (left / (n - 2.0)).sqrt();
    let along = sxx - sx * sx / n;
    let expected = s / b.abs() * (1.0 / n + (sy / n).powi(2) / (b * b * along)).sqrt();
    let share =
        contribution(&done, "scatter about the line, trial 1") / f(done.value().expect("a result"));
    near(share, expected / found, 1e-8, "u of the zero");
    let budget = done.budget.as_ref().expect("a budget");
    let estimate = budget
        .contributions
        .iter()
        .find(|c| c.name().starts_with("scatter about"));
    assert_eq!(estimate.map(|c| c.degrees_of_freedom), Some(n - 2.0));
}

/// Draws of what may be wrong: the expanded uncertainty of two curves covers the truth. Where the zero lies between two
/// points is drawn anew with each hand-in, since nobody knows where the equivalence lies between marks.
#[test]
fn the_expanded_uncertainty_covers_what_errors_do() {
    let long = std::env::var_os("CONCORDANT_LONG").is_some();
    let draws = if long { 3000 } else { 300 };
    for key in ["vinegar-curve", "acid-gran"] {
        let procedure = procedure(key);
        let burette = f(procedure.burette().expect("a burette").tolerance());
        let mut rng = ChaCha20Rng::seed_from_u64(8);
        let mut covered = 0;
        for _ in 0..draws {
            let mut triangle = |half: f64| half * (rng.random::<f64>() - rng.random::<f64>());
            let shared = triangle(burette) * 0.5f64.sqrt();
            let mut off = Vec::new();
            for _ in 0..2 {
                off.push((shared + triangle(burette) * 0.5f64.sqrt(), triangle(0.01)));
            }
            let noise: Vec<f64> = (0..400).map(|_| triangle(1.0)).collect();
            let repeat: Vec<f64> = (0..2)
                .map(|_| (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0)
                .collect();
            let true_volume = 14.0 + 6.0 * rng.random::<f64>();
            let mut rows = Vec::new();
            for (n, (bias, start)) in (1..).zip(&off) {
                let own = true_volume * (1.0 + 0.002 * repeat[n - 1]);
                let volumes = if key == "acid-gran" {
                    (0..)
                        .map(|n| 0.5 * f64::from(n))
                        .take_while(|v| *v < own + 2.0)
                        .collect()
                } else {
                    grid(own, 0.1, 0.0)
                };
                let exact = weak_curve(&volumes, own, 4.76, 8);
                let points: Vec<_> = exact
                    .iter()
                    .enumerate()
                    .map(|(place, (v, ph))| {
                        let at = 2 * (place + 60 * n);
                        let v = v.parse::<f64>().expect("mL") + bias + start + 0.01 * noise[at];
                        let ph = ph.parse::<f64>().expect("pH") + 0.02 * noise[at + 1];
                        (format!("{:.2}", v.max(0.0)), format!("{ph:.2}"))
                    })
                    .collect();
                rows.push(curve(
                    u32::try_from(n).expect("small"),
                    Column::CurvePh,
                    &points,
                ));
            }
            let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
            let value = f(done.value().unwrap_or_else(|| panic!("{:?}", done.trials)));
            let expanded = done.budget.as_ref().map_or(0.0, |b| b.expanded);
            // in the result's unit by what the mean equivalence would come to
            let mean = f64::midpoint(equivalence(&done, 1), equivalence(&done, 2));
            let truth = value * true_volume / mean;
            covered += u32::from((value - truth).abs() <= expanded);
        }
        let share = f64::from(covered) / f64::from(draws);
        println!("{key}: {share:.3} covered");
        // pipettes and flasks are in the uncertainty and not drawn, so that it covers a little more
        assert!((0.93..=1.0).contains(&share), "{key}: {share}");
    }
}

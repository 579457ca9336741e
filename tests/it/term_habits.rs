//! A student's reports of a term put together: who invents them is found, and careful hands are left alone. Hands,
//! readings and arithmetic are this file's own. `CONCORDANT_LONG=1` simulates many more.

use concordant::judge::{
    EndDigits, EvenTrials, ScatterShare, TermScatter, class_scatter, pooled_scatter,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

fn many(few: usize, long: usize) -> usize {
    if std::env::var("CONCORDANT_LONG").is_ok_and(|v| v == "1") {
        long
    } else {
        few
    }
}

fn normal(rng: &mut ChaCha20Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// What reading ± 0.02 mL twice, triangular, and a drop of 0.05 mL predict for a titre.
const PREDICTED: f64 = 0.018_5;

/// How somebody titrates through a term.
#[derive(Clone, Copy)]
struct Hand {
    /// Standard deviation of a titre, mL; none for who invents them, within 0.02 mL.
    s: Option<f64>,
    fills_to_zero: bool,
    carries_on: bool,
    /// Share of readings written to the nearest half division.
    preference: f64,
}

impl Hand {
    fn careful(rng: &mut ChaCha20Rng) -> Self {
        let filling = rng.random_range(0..3);
        Self {
            s: Some(rng.random_range(0.020..0.030)),
            fills_to_zero: filling == 0,
            carries_on: filling == 1,
            preference: rng.random_range(0.0..0.5),
        }
    }

    /// One in five scatters three or four times as much.
    fn of_class(rng: &mut ChaCha20Rng) -> Self {
        let hand = Self::careful(rng);
        let times = if rng.random::<f64>() < 0.2 {
            rng.random_range(3.0..4.0)
        } else {
            1.0
        };
        Self {
            s: hand.s.map(|s| s * times),
            ..hand
        }
    }

    fn inventing(rng: &mut ChaCha20Rng) -> Self {
        Self {
            s: None,
            preference: 0.0,
            ..Self::careful(rng)
        }
    }

    fn read(self, at: f64, rng: &mut ChaCha20Rng) -> i64 {
        if rng.random::<f64>() < self.preference {
            (at * 20.0).round() as i64 * 5
        } else {
            (at * 100.0).round() as i64
        }
    }

    /// One report: its share, titres in mL standing for results.
    fn report(self, trials: usize, rng: &mut ChaCha20Rng) -> ScatterShare {
        let takes = rng.random_range(12.0..24.0);
        let mut titres = Vec::new();
        let mut digits = EndDigits::default();
        let mut stood: Option<(f64, i64)> = None;
        for _ in 0..trials {
            let (at, start) = match stood.filter(|(at, _)| self.carries_on && at + takes < 49.0) {
                Some(last) => last,
                None if self.fills_to_zero => (0.0, 0),
                None => {
                    let at = rng.random_range(0.06..1.0);
                    (at, self.read(at, rng))
                }
            };
            let filled = stood.is_none_or(|(_, end)| end != start);
            let (to, end) = if let Some(s) = self.s {
                let to = at + takes + s * normal(rng);
                (to, self.read(to, rng))
            } else {
                let titre = takes + rng.random_range(-0.01..0.01);
                let end = start + (titre * 100.0_f64).round() as i64;
                (end as f64 / 100.0, end)
            };
            stood = Some((to, end));
            for written in [(filled && start > 5).then_some(start), Some(end)]
                .into_iter()
                .flatten()
            {
                digits.estimated += 1;
                digits.round += u64::from(written % 5 == 0);
            }
            titres.push((end - start) as f64 / 100.0);
        }
        let mean = titres.iter().sum::<f64>() / trials as f64;
        let squares: f64 = titres.iter().map(|titre| (titre - mean).powi(2)).sum();
        ScatterShare {
            trials,
            s: (squares / (trials as f64 - 1.0)).sqrt(),
            predicted: PREDICTED,
            step: 0.01,
            digits,
        }
    }
}

/// A term of that many experiments of three trials, the last of four.
fn term(
    hand: Hand,
    experiments: usize,
    class_s: &[Option<f64>],
    rng: &mut ChaCha20Rng,
) -> (Option<EvenTrials>, Vec<EndDigits>) {
    let shares: Vec<ScatterShare> = (0..experiments)
        .map(|n| hand.report(if n + 1 == experiments { 4 } else { 3 }, rng))
        .collect();
    let of_term: Vec<TermScatter> = shares
        .iter()
        .zip(class_s)
        .map(|(share, class_s)| TermScatter {
            experiment: "an experiment",
            share: *share,
            class_s: *class_s,
        })
        .collect();
    let digits = shares.iter().map(|share| share.digits).collect();
    (pooled_scatter(&of_term), digits)
}

/// What classes of 120 show in each experiment.
fn classes(
    experiments: usize,
    anybody: fn(&mut ChaCha20Rng) -> Hand,
    rng: &mut ChaCha20Rng,
) -> Vec<Option<f64>> {
    (0..experiments)
        .map(|_| {
            let shares: Vec<ScatterShare> = (0..120).map(|_| anybody(rng).report(3, rng)).collect();
            class_scatter(&shares)
        })
        .collect()
}

#[test]
fn who_invents_a_term_is_found_and_careful_hands_are_not() {
    let students = many(2_000, 40_000);
    for (number, experiments) in [(0, 3), (1, 6), (2, 8)] {
        let mut rng = ChaCha20Rng::seed_from_u64(8_100 + number);
        for (class, anybody) in [
            (
                "careful class",
                Hand::careful as fn(&mut ChaCha20Rng) -> Hand,
            ),
            ("ordinary class", Hand::of_class),
        ] {
            let (mut accused, mut found) = (0, 0);
            let mut class_s = Vec::new();
            for place in 0..students {
                if place % 100 == 0 {
                    class_s = classes(experiments, anybody, &mut rng);
                }
                let honest = Hand::careful(&mut rng);
                accused += usize::from(term(honest, experiments, &class_s, &mut rng).0.is_some());
                let inventor = Hand::inventing(&mut rng);
                found += usize::from(term(inventor, experiments, &class_s, &mut rng).0.is_some());
            }
            println!(
                "{experiments} experiments, {class}: {accused} careful and {found} inventing of {students}"
            );
        }
    }
}

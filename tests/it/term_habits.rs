//! A student's reports of a term put together: who invents them is found, and careful hands are left alone. Hands,
//! readings and arithmetic are this file's own. `CONCORDANT_LONG=1` simulates many more.

use concordant::columns::Column;
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::{
    EndDigits, EvenTrials, ScatterShare, TermScatter, class_scatter, pooled_digits, pooled_scatter,
};
use concordant::measure::Reading;
use concordant::simulate::supplies::{Order, Supplies};
use concordant::submission::{HandIn, Titration, TrialLabel};
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
            class_scatter(shares.iter())
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
            assert!(accused * 1_000 <= students.max(3_000), "{accused} accused");
            // three experiments hold less
            let least = if experiments == 3 { 45 } else { 95 };
            assert!(found * 100 >= students * least, "{found} found");
        }
    }
}

/// Where no class is known, less is found, and nobody is accused: what a procedure states may be larger than real errors.
#[test]
fn without_a_class() {
    let mut rng = ChaCha20Rng::seed_from_u64(8_200);
    let students = many(2_000, 40_000);
    let (mut accused, mut found) = (0, 0);
    for _ in 0..students {
        let class_s = [None; 8];
        let hand = Hand::careful(&mut rng);
        accused += usize::from(term(hand, 8, &class_s, &mut rng).0.is_some());
        let hand = Hand::inventing(&mut rng);
        found += usize::from(term(hand, 8, &class_s, &mut rng).0.is_some());
    }
    println!("no class: {accused} careful and {found} inventing of {students}");
    assert!(accused * 1_000 <= students);
}

/// Digits that are read to half a division through a term show; even ones do not, and careful ones are not accused.
#[test]
fn digits_of_a_term() {
    let mut rng = ChaCha20Rng::seed_from_u64(8_300);
    let students = many(2_000, 40_000);
    let with = |preference| move |hand: Hand| Hand { preference, ..hand };
    let mut odd = |change: &dyn Fn(Hand) -> Hand| {
        let mut count = 0;
        for _ in 0..students {
            let hand = change(Hand::careful(&mut rng));
            let (_, digits) = term(hand, 6, &[None; 6], &mut rng);
            count += usize::from(pooled_digits(&digits).is_some());
        }
        count
    };
    let (even, half, all) = (odd(&with(0.0)), odd(&with(0.5)), odd(&with(1.0)));
    println!("digits odd: even {even}, half rounded {half}, all rounded {all} of {students}");
    assert!(even * 500 <= students, "{even} of {students}");
    assert!(half * 10 >= students * 6, "{half} of {students}");
    assert_eq!(all, students);
}

/// By hand: three experiments of 3, 3 and 4 trials with s a tenth of the class's have a chi-square of
/// (2 + 2 + 3) (0.1 / 0.75)² = 0.124 for 7 degrees of freedom; for 6 alone, e^(-x/2) (1 + x/2 + x²/8) is what lies above.
#[test]
fn what_is_said_of_a_term() {
    let share = |trials, s| ScatterShare {
        trials,
        s,
        predicted: 1.0,
        step: 0.01,
        digits: EndDigits::default(),
    };
    let of = |experiment, trials, s| TermScatter {
        experiment,
        share: share(trials, s),
        class_s: Some(1.0),
    };
    let even = [of("one", 3, 0.1), of("two", 3, 0.1), of("three", 3, 0.1)];
    let found = pooled_scatter(&even).expect("agree too well");
    let x: f64 = 6.0 * (0.1_f64 / 0.75).powi(2);
    let below = 1.0 - (-x / 2.0).exp() * (1.0 + x / 2.0 + x * x / 8.0);
    assert!((found.p - below).abs() < 1e-9, "{} {below}", found.p);
    assert!((found.ratio - 0.1).abs() < 1e-12);
    let words = found.words();
    for part in [
        "over 3 experiments (one, two, three) 9 trials scatter 10 % of",
        "one student in ",
    ] {
        assert!(words.contains(part), "{part} in {words}");
    }
    assert_eq!(pooled_scatter(&even[..2]), None, "two are too few");
    assert_eq!(
        pooled_scatter(&[of("one", 3, 0.6), of("two", 3, 0.7), of("three", 3, 0.6)]),
        None
    );
    // a step as large as what the class shows hides any scatter
    let coarse = even.map(|one| TermScatter {
        share: ScatterShare {
            step: 1.0,
            ..one.share
        },
        ..one
    });
    assert_eq!(pooled_scatter(&coarse), None);
    // and so do half divisions, where they are larger than that
    let digits = EndDigits {
        estimated: 18,
        round: 15,
    };
    let rounded = even.map(|one| TermScatter {
        share: ScatterShare {
            step: 0.2,
            digits,
            ..one.share
        },
        ..one
    });
    assert_eq!(pooled_scatter(&rounded), None);
    // 1 - 2/18 to the third of the degrees of freedom is 0.702, the median of chi-square over 2 is ln 2 = 0.693
    let class: Vec<ScatterShare> = (0..9).map(|n| share(3, 0.5 + 0.1 * f64::from(n))).collect();
    let s = class_scatter(class.iter()).expect("enough");
    assert!((s / (0.9 / 2_f64.ln().sqrt()) - 1.0).abs() < 0.01, "{s}");
    assert_eq!(class_scatter(class[..7].iter()), None);
}

/// A pipetted aliquot: the result is in proportion to the titre, so that both have one relative deviation.
#[test]
fn a_share_of_a_hand_in() {
    let order = Order {
        unknowns: 1,
        exact: true,
        ..Order::default()
    };
    let mut rng = ChaCha20Rng::seed_from_u64(8_400);
    let text = shipped_procedure("vinegar-acidity").expect("is shipped");
    let procedure =
        read_procedure("vinegar-acidity", &text, &shipped_glassware()).expect("is sound");
    let supplies = Supplies::make(&procedure, &order, &mut rng).expect("can be made");
    let row = |trial, start: &str, end: &str| {
        let mut row = Titration::new(TrialLabel::Numbered(trial));
        for (column, text) in [
            (Column::BuretteStart(1), start),
            (Column::BuretteEnd(1), end),
        ] {
            row.readings
                .insert(column, Reading::parse(text).expect("a reading"));
        }
        row
    };
    let hand_in = HandIn {
        titrations: vec![
            row(1, "0.00", "20.03"),
            row(2, "20.03", "40.13"),
            row(3, "0.15", "20.21"),
        ],
        ..HandIn::default()
    };
    let case = supplies.case(&procedure, &hand_in, 0);
    let share = ScatterShare::of(&procedure, &hand_in, &case.work_up()).expect("titrated");
    // 20.03, 20.10, 20.06: mean 20.0633, s 0.03512
    let mean = case.work_up().value().map(|value| value.to_string());
    let mean: f64 = mean.expect("a result").parse().expect("a number");
    assert!((share.s / mean - 0.035_12 / 20.063_3).abs() < 1e-6);
    assert!((share.step / mean - 0.01 / 20.063_3).abs() < 1e-5);
    assert_eq!(share.trials, 3);
    // estimated: 20.03, 40.13, 0.15, 20.21
    assert_eq!(
        share.digits,
        EndDigits {
            estimated: 4,
            round: 1
        }
    );
    let text = serde_json::to_string(&share).expect("can be written");
    assert_eq!(
        serde_json::from_str::<ScatterShare>(&text).expect("can be read"),
        share
    );
}

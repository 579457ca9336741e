//! Last digits.

use concordant::columns::Column;
use concordant::files::shipped_glassware;
use concordant::judge::{EndDigits, FlagCode, pooled_digits};
use concordant::measure::Reading;
use concordant::stats::{binomial_at_least, binomial_at_most};
use concordant::submission::{HandIn, TrialLabel};
use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;

use super::class::{Class, Work, shipped};

/// By hand: 5 choose k over 2⁵; 0.2⁴ + 4 · 0.2³ · 0.8.
#[test]
fn binomial_tails_are_exact() {
    let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-14, "{a} {b}");
    near(binomial_at_least(4, 5, 0.5), 6.0 / 32.0);
    near(binomial_at_most(1, 5, 0.5), 6.0 / 32.0);
    near(binomial_at_least(3, 4, 0.2), 0.001_6 + 0.025_6);
    near(binomial_at_least(0, 4, 0.2), 1.0);
    near(binomial_at_most(4, 4, 0.2), 1.0);
}

fn section(seed: u64) -> (Class, Work) {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let class = Class::of(
        shipped("peroxide-permanganate", &shipped_glassware()),
        1,
        &mut rng,
    );
    let work = class.work(0, None, &mut rng);
    (class, work)
}

/// A hand-in of these start–end pairs.
fn hand_in(work: &Work, pieces: &[(&str, &str)]) -> HandIn {
    let read = |text: &str| Reading::parse(text).expect("a reading");
    let first = work.hand_in.titrations[0].clone();
    let rows = (1..).zip(pieces).map(|(n, (start, end))| {
        let mut row = first.clone();
        row.trial = TrialLabel::Numbered(n);
        row.readings = [
            (Column::BuretteStart(1), read(start)),
            (Column::BuretteEnd(1), read(end)),
        ]
        .into_iter()
        .collect();
        row
    });
    HandIn {
        titrations: rows.collect(),
        ..HandIn::default()
    }
}

/// Ends count, and starts after a filling; not a filling to zero, nor the meniscus of the end before read again.
#[test]
fn what_is_estimated() {
    let (class, work) = section(2_460);
    let pieces = [
        ("0.00", "23.45"),
        ("23.46", "46.90"),
        ("0.35", "23.78"),
        ("1.2", "24.7"),
        ("0.02", "23.46"),
    ];
    let digits = EndDigits::of(&class.procedure, &hand_in(&work, &pieces));
    assert_eq!((digits.estimated, digits.round), (5, 3));
}

/// One report holds too little; two of the term show it, and it informs.
#[test]
fn a_student_who_reads_to_half_a_division() {
    let (class, work) = section(2_461);
    let of = |pieces: &[(&str, &str)]| EndDigits::of(&class.procedure, &hand_in(&work, pieces));
    let to_half = of(&[
        ("0.15", "23.60"),
        ("0.10", "23.55"),
        ("0.25", "23.70"),
        ("0.20", "23.65"),
    ]);
    assert_eq!(pooled_digits(&[to_half]), None);
    let found = pooled_digits(&[to_half, to_half]).expect("odd");
    let words = found.words();
    assert!(words.contains("16 readings estimated"), "{words}");
    assert!(!FlagCode::EndDigits.needs_review(), "it informs");
    let estimated = of(&[
        ("0.13", "23.61"),
        ("0.10", "23.57"),
        ("0.25", "23.72"),
        ("0.27", "23.65"),
    ]);
    assert_eq!(pooled_digits(&[estimated, estimated]), None);
}

/// A section that rounds shows it, one that makes digits up as well, and one that estimates does not.
#[test]
fn sections() {
    let of = |estimated, round| EndDigits { estimated, round }.of_section();
    assert!(
        of(150, 75)
            .expect("rounded")
            .words()
            .contains("75 end in 0 or 5")
    );
    assert!(of(150, 8).is_some(), "avoided");
    for round in [20, 30, 40] {
        assert_eq!(of(150, round), None);
    }
    assert_eq!(of(30, 30), None, "too few");
    let mut rng = ChaCha20Rng::seed_from_u64(2_462);
    for _ in 0..super::many(20, 400) {
        let class = Class::of(
            shipped("well-water-hardness", &shipped_glassware()),
            2,
            &mut rng,
        );
        let works = class.section(None, &mut rng);
        let digits = works
            .iter()
            .map(|work| EndDigits::of(&class.procedure, &work.hand_in));
        assert_eq!(
            digits
                .fold(EndDigits::default(), EndDigits::with)
                .of_section(),
            None
        );
    }
}

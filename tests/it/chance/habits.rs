//! Honest students with habits that make readings coincide: they are not taken for copies either, and the bound that is
//! computed for a pair is as generous as it is said to be.

use concordant::judge::GENEROUS;
use concordant::measure::{Reading, to_decimals};
use concordant::submission::{HandIn, Piece};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use super::class::{Class, exact_glassware, shipped};
use super::many;

/// How somebody fills, reads and writes.
#[derive(Clone, Copy, Debug)]
enum Habit {
    /// Fills to 0.00 each time.
    Zero,
    /// Half of the students do.
    HalfZero,
    /// The start is the end of the titration before, not read again.
    OneMeniscus,
    /// Half of the students read to half a division.
    HalfDivisions,
    /// Everybody fills near a reading of their own.
    NearOwn,
    /// Everybody fills to a mark.
    ToAMark,
    /// Half of the students stop at their own first titre.
    FirstTitre,
    /// Half of the students fill the cylinder to where the procedure says.
    CylinderMark,
}

const HABITS: [Habit; 8] = [
    Habit::Zero,
    Habit::HalfZero,
    Habit::OneMeniscus,
    Habit::HalfDivisions,
    Habit::NearOwn,
    Habit::ToAMark,
    Habit::FirstTitre,
    Habit::CylinderMark,
];

fn written(value: Decimal) -> Reading {
    Reading::parse(&to_decimals(value, 2).to_string()).expect("a reading")
}

/// The same delivery from another start.
fn start_at(piece: &mut Piece, start: Decimal) {
    let delivered = piece.end.value() - piece.start.value();
    *piece = Piece {
        start: written(start),
        end: written(start + delivered),
    };
}

fn pieces(hand_in: &mut HandIn) -> impl Iterator<Item = &mut Piece> {
    hand_in
        .titrations
        .iter_mut()
        .flat_map(|row| &mut row.burette)
}

fn fresh(piece: &Piece) -> bool {
    piece.start.value() < Decimal::ONE
}

fn with(habit: Habit, hand_in: &mut HandIn, rng: &mut ChaCha20Rng) {
    let this_one = rng.random::<bool>();
    let own = Decimal::new(rng.random_range(0..50), 2);
    match habit {
        Habit::Zero => pieces(hand_in).for_each(|piece| start_at(piece, Decimal::ZERO)),
        Habit::HalfZero if this_one => {
            pieces(hand_in).for_each(|piece| start_at(piece, Decimal::ZERO))
        }
        Habit::OneMeniscus => {
            let mut stood: Option<Decimal> = None;
            for piece in pieces(hand_in) {
                if let Some(stood) = stood
                    && (piece.start.value() - stood).abs() <= Decimal::new(5, 2)
                {
                    piece.start = written(stood);
                }
                stood = Some(piece.end.value());
            }
        }
        Habit::HalfDivisions if this_one => {
            for piece in pieces(hand_in) {
                let half = |r: &Reading| {
                    let twenty = Decimal::from(20);
                    written(to_decimals(r.value() * twenty, 0) / twenty)
                };
                (piece.start, piece.end) = (half(&piece.start), half(&piece.end));
            }
        }
        Habit::NearOwn => {
            for piece in pieces(hand_in).filter(|piece| fresh(piece)) {
                let off = Decimal::new(rng.random_range(-3..=3), 2);
                start_at(piece, (own + off).max(Decimal::ZERO));
            }
        }
        Habit::ToAMark => {
            for piece in pieces(hand_in).filter(|piece| fresh(piece)) {
                start_at(piece, Decimal::new(rng.random_range(0..10), 1));
            }
        }
        Habit::FirstTitre if this_one => {
            let numbered = hand_in.titrations.iter_mut();
            let mut numbered = numbered.filter(|row| row.trial.number().is_some());
            let first = numbered.next().map(|row| row.burette[0].clone());
            let first = first.map(|piece| piece.end.value() - piece.start.value());
            for piece in numbered.flat_map(|row| &mut row.burette) {
                let end = piece.start.value() + first.expect("a first trial");
                if end <= Decimal::from(50) {
                    piece.end = written(end);
                }
            }
        }
        Habit::CylinderMark if this_one => {
            for row in &mut hand_in.titrations {
                if let Some(volume) = &mut row.sample.volume {
                    *volume = Reading::parse("50.0").expect("a reading");
                }
            }
        }
        _ => {}
    }
}

/// Glassware without errors, one bottle for all, a steady hand or an ordinary one: titres coincide as often as they can.
#[test]
fn habits_are_not_copying() {
    let sections = many(2, 40);
    let mut rng = ChaCha20Rng::seed_from_u64(2_440);
    let (mut all_flagged, mut all_pairs) = (0, 0);
    for key in [
        "peroxide-permanganate",
        "well-water-hardness",
        "magnesium-by-difference",
    ] {
        for habit in HABITS {
            let (mut flagged, mut pairs) = (0, 0);
            for index in 0..sections {
                let care = Some(0.6).filter(|_| index % 2 == 0);
                let class = Class::of(shipped(key, &exact_glassware()), 1, &mut rng);
                let mut section = class.section(care, &mut rng);
                for work in &mut section {
                    with(habit, &mut work.hand_in, &mut rng);
                }
                let [same, _] = class.pairs(&section);
                (flagged, pairs) = (flagged + same.0, pairs + same.1);
            }
            println!("{key}, {habit:?}: {flagged} of {pairs} honest pairs flagged");
            (all_flagged, all_pairs) = (all_flagged + flagged, all_pairs + pairs);
        }
    }
    println!("all habits: {all_flagged} of {all_pairs} honest pairs flagged");
    assert!(all_pairs > 10_000);
    assert!(
        all_flagged * 1_000 <= all_pairs,
        "{all_flagged} of {all_pairs}"
    );
    // 0.8 over 276 pairs is the bound that each stays below; a section has fewer flags than that by as much as is said
    let expected = 0.8 / 276.0 / GENEROUS * all_pairs as f64;
    let allowed = expected + 3.0 * expected.sqrt();
    assert!(
        all_flagged as f64 <= allowed,
        "{all_flagged}, expected {expected}"
    );
}

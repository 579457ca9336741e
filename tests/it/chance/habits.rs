//! Honest students with habits that make readings coincide: they are not taken for copies either, and the bound that is
//! computed for a pair is as generous as it is said to be.

use concordant::columns::Column;
use concordant::judge::GENEROUS;
use concordant::measure::{Reading, to_decimals};
use concordant::submission::{Delivery, HandIn, Titration};
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

struct Filling {
    start: Reading,
    end: Reading,
}

impl Filling {
    /// The same delivery from another start.
    fn start_at(&mut self, start: Decimal) {
        let delivered = self.end.value() - self.start.value();
        self.start = written(start);
        self.end = written(start + delivered);
    }

    fn is_fresh(&self) -> bool {
        self.start.value() < Decimal::ONE
    }
}

fn change<'r>(
    rows: impl IntoIterator<Item = &'r mut Titration>,
    mut change: impl FnMut(&mut Filling),
) {
    for row in rows {
        for n in 1..=row.fillings() {
            let (start, end) = Column::piece(Delivery::First, n);
            let mut filling = Filling {
                start: row.readings[&start].clone(),
                end: row.readings[&end].clone(),
            };
            change(&mut filling);
            row.readings
                .extend([(start, filling.start), (end, filling.end)]);
        }
    }
}

fn with(habit: Habit, hand_in: &mut HandIn, rng: &mut ChaCha20Rng) {
    let this_one = rng.random::<bool>();
    let own = Decimal::new(rng.random_range(0..50), 2);
    let rows = hand_in.titrations.iter_mut();
    match habit {
        Habit::Zero => change(rows, |filling| filling.start_at(Decimal::ZERO)),
        Habit::HalfZero if this_one => change(rows, |filling| filling.start_at(Decimal::ZERO)),
        Habit::OneMeniscus => {
            let mut stood: Option<Decimal> = None;
            change(rows, |piece| {
                if let Some(stood) = stood
                    && (piece.start.value() - stood).abs() <= Decimal::new(5, 2)
                {
                    piece.start = written(stood);
                }
                stood = Some(piece.end.value());
            });
        }
        Habit::HalfDivisions if this_one => {
            change(rows, |piece| {
                let half = |r: &Reading| {
                    let twenty = Decimal::from(20);
                    written(to_decimals(r.value() * twenty, 0) / twenty)
                };
                (piece.start, piece.end) = (half(&piece.start), half(&piece.end));
            });
        }
        Habit::NearOwn => {
            change(rows, |piece| {
                if piece.is_fresh() {
                    let off = Decimal::new(rng.random_range(-3..=3), 2);
                    piece.start_at((own + off).max(Decimal::ZERO));
                }
            });
        }
        Habit::ToAMark => {
            change(rows, |piece| {
                if piece.is_fresh() {
                    piece.start_at(Decimal::new(rng.random_range(0..10), 1));
                }
            });
        }
        Habit::FirstTitre if this_one => {
            let mut numbered = rows.filter(|row| row.trial.number().is_some());
            let first = numbered.next().expect("a first trial");
            let piece = first.pieces(Delivery::First).next().expect("titrated");
            let first = piece.end.value() - piece.start.value();
            change(numbered, |piece| {
                let end = piece.start.value() + first;
                if end <= Decimal::from(50) {
                    piece.end = written(end);
                }
            });
        }
        Habit::CylinderMark if this_one => {
            for row in rows {
                if let Some(volume) = row.readings.get_mut(&Column::SampleVolume) {
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
    // 0.4 over 276 pairs is the bound that each stays below; a section has fewer flags than that by as much as is said
    let expected = 0.4 / 276.0 / GENEROUS * all_pairs as f64;
    let allowed = expected + 3.0 * expected.sqrt();
    assert!(
        all_flagged as f64 <= allowed,
        "{all_flagged}, expected {expected}"
    );
}

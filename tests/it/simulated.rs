//! The simulated class itself: the sums that its students do, and whether its hands are as they are said to be.

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::measure::as_f64;
use concordant::simulate::Mistake;
use concordant::simulate::arithmetic::Notebook;
use concordant::simulate::hands::{Hands, Population, REALISTIC_SPREAD};
use concordant::simulate::supplies::{Order, Place, Supplies};
use concordant::submission::{Delivery, HandIn, Piece};
use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use crate::properties::stations;

/// The sum on paper and the work-up were written apart: they agree for every scheme to the figures of the answer.
#[test]
fn a_right_sum_is_what_the_work_up_finds() {
    for station in stations() {
        let rng = &mut ChaCha20Rng::seed_from_u64(31);
        let lots = station.lot.iter().chain(&station.excess_lot);
        let supplies = Supplies::exactly(lots, Decimal::ONE);
        for seed in 0..4 {
            let hand_in = station.hand_in(seed, 3);
            let case = supplies.case(&station.procedure, &hand_in, 0);
            let answer = Notebook::of(&case).answer(None, rng).expect(&station.name);
            let (answer, found) = (as_f64(answer.value()), case.work_up().value());
            let found = as_f64(found.expect("a result"));
            let off = (answer / found - 1.0).abs();
            assert!(off < 6e-5, "{}: {answer} for {found}", station.name);
        }
    }
}

/// What a known mistake does to an answer, by hand.
#[test]
fn a_wrong_sum_is_wrong_by_what_the_mistake_makes_it() {
    let text = shipped_procedure("antacid-back").expect("is shipped");
    let procedure = read_procedure("p.toml", &text, &shipped_glassware()).expect("is sound");
    let rng = &mut ChaCha20Rng::seed_from_u64(32);
    let order = Order {
        exact: true,
        ..Order::default()
    };
    let supplies = Supplies::make(&procedure, &order, rng).expect("can be carried out");
    let hands = Hands::careful(&procedure, 1.0);
    let hand_in = supplies.titrated(&procedure, Place::of(0), &hands, rng);
    let hand_in = hand_in.expect("can be titrated");
    let notebook = Notebook::of(&supplies.case(&procedure, &hand_in, 0));
    let mut over = |mistake| {
        let right = notebook.answer(None, rng).expect("an answer");
        let wrong = notebook.answer(Some(mistake), rng)?;
        Some(as_f64(wrong.value()) / as_f64(right.value()))
    };
    let near = |found: f64, expected: f64| (found / expected - 1.0).abs() < 2e-4;
    let slipped = over(Mistake::UnitSlip).expect("can be made").log10();
    assert!((slipped - slipped.round()).abs() < 1e-4 && slipped.round() != 0.0);
    let litres = over(Mistake::MillilitresAsLitres).expect("can be made");
    assert!(near(litres, 1000.0) || near(litres, 0.001), "{litres}");
    // the label is what is assigned here
    assert_eq!(over(Mistake::NominalMolarity), None);
}

/// Volumes delivered in the numbered trials, mL.
fn titres(hand_in: &HandIn) -> Vec<f64> {
    let delivered = |piece: Piece| as_f64(piece.end.value() - piece.start.value());
    let rows = hand_in.numbered();
    rows.map(|(_, row)| row.pieces(Delivery::First).map(delivered).sum())
        .collect()
}

/// Standard deviation of single titres, of four in five students: 0.025 to 0.03 mL beside what rounding to 0.01 or to
/// half a division adds. A third starts at 0.00; last digits 0 and 5 are more than the fifth that chance gives.
#[test]
fn realistic_hands_are_as_they_are_said_to_be() {
    let text = shipped_procedure("peroxide-permanganate").expect("is shipped");
    let procedure = read_procedure("p.toml", &text, &shipped_glassware()).expect("is sound");
    let rng = &mut ChaCha20Rng::seed_from_u64(33);
    let supplies = Supplies::make(&procedure, &Order::default(), rng).expect("can be");
    let population = Population::Realistic {
        spread: REALISTIC_SPREAD,
    };
    let (mut scatter, mut at_zero, mut round, mut readings) = (Vec::new(), 0, 0, 0);
    for _ in 0..3_000 {
        let hands = Hands {
            rough: false,
            trials: 3,
            ..population.hands(&procedure, rng)
        };
        let hand_in = supplies.titrated(&procedure, Place::of(0), &hands, rng);
        let hand_in = hand_in.expect("can be titrated");
        let found = titres(&hand_in);
        let first = &found[..3];
        let mean = first.iter().sum::<f64>() / 3.0;
        let squares: f64 = first.iter().map(|titre| (titre - mean).powi(2)).sum();
        scatter.push(squares / 2.0);
        let rows = hand_in.titrations.iter();
        let pieces: Vec<Piece> = rows.flat_map(|row| row.pieces(Delivery::First)).collect();
        let starts: Vec<&str> = pieces.iter().map(|piece| piece.start.written()).collect();
        at_zero += usize::from(starts.iter().all(|start| *start == "0.00"));
        for end in pieces.iter().map(|piece| piece.end.written()) {
            readings += 1;
            round += usize::from(end.ends_with('0') || end.ends_with('5'));
        }
    }
    scatter.sort_by(f64::total_cmp);
    // the median of s² on two degrees of freedom is ln 2 of the variance; four in five have the small one
    let median = scatter[scatter.len() * 2 / 5];
    let s = (median / std::f64::consts::LN_2).sqrt();
    println!("s {s:.4} mL; {at_zero} of 3000 start at 0.00; {round} of {readings} end in 0 or 5");
    assert!((0.024..0.034).contains(&s), "{s}");
    assert!((900..1_100).contains(&at_zero), "{at_zero}");
    let share = round as f64 / readings as f64;
    assert!((0.3..0.5).contains(&share), "{share}");
}

//! What hand-ins may hold: refills, rows that lack readings, rows twice, numbers of any size.

use std::collections::{BTreeMap, BTreeSet};

use concordant::columns::Column;
use concordant::ids::LotCode;
use concordant::judge::{Case, DefaultLots, Settlement, evaluate, questions, refusals};
use concordant::language::Language;
use concordant::measure::Reading;
use concordant::schemes::SchemeKind as Scheme;
use concordant::submission::{Delivery, HandIn, Readings, Titration, TrialLabel};
use concordant::truth::{Assigned, Lot, Sealed, Unknown};
use concordant::workup::{WorkUp, WorkUpInput, derivation, significant_figures, work_up};
use proptest::option;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{inputs, refilled, stations};
use crate::reference::dec;

#[test]
fn a_refilled_burette_delivers_the_same() {
    let (mut found, mut fillings) = (0, 0);
    for station in stations() {
        if station.procedure.burette().is_none() {
            continue;
        }
        let hand_in = station.hand_in(3, 3);
        let mut again = hand_in.clone();
        for row in &mut again.titrations {
            refilled(row, Delivery::First, dec("0.07"));
            refilled(row, Delivery::Second, dec("1.30"));
            fillings += row.pieces(Delivery::First).count();
        }
        let (one, other) = (station.work_up(&hand_in), station.work_up(&again));
        for (row, row_again) in one.trials.iter().zip(&other.trials) {
            let value = |id: Option<_>, done: &WorkUp| id.map(|id| done.graph.value(id));
            assert_eq!(
                value(row.delivered, &one),
                value(row_again.delivered, &other)
            );
            assert_eq!(value(row.second, &one), value(row_again.second, &other));
            assert_eq!(value(row.result, &one), value(row_again.result, &other));
        }
        assert_eq!(one.value(), other.value(), "{}", station.name);
        // another filling is another calibration error; of two titres, one may cancel the other's
        let systematic = |done: &WorkUp| done.budget.as_ref().expect("a budget").systematic;
        let more = systematic(&other) >= systematic(&one);
        let two = station.procedure.scheme.kind() == Scheme::TwoEndpoint;
        assert!(more || two, "{}", station.name);
        found += 1;
    }
    assert!(
        found > 15 && fillings > 100,
        "{found} procedures, {fillings} fillings"
    );
}

fn reading() -> impl Strategy<Value = Reading> {
    let text = prop_oneof![
        4 => "[0-9]{1,2}\\.[0-9]{1,4}",
        2 => "[0-9]{1,6}[.,][0-9]{1,5}",
        1 => "0{1,4}",
        1 => "9{12}",
        1 => "0\\.0{6,9}1",
    ];
    text.prop_filter_map("a reading", |text| Reading::parse(&text).ok())
}

/// Any columns at all, whole fillings of the burette.
fn readings() -> impl Strategy<Value = Readings> {
    let mut columns = vec![
        Column::FirstEndpoint,
        Column::Crucible,
        Column::CrucibleFull,
        Column::Vessel,
        Column::VesselWater,
        Column::VesselFull,
        Column::Absorbance,
    ];
    columns.extend([Column::SampleVolume, Column::SampleMass]);
    columns.extend([Column::SampleBefore, Column::SampleAfter]);
    let number = columns.len();
    let once = prop::collection::vec(option::weighted(0.8, reading()), number);
    let once = once.prop_map(move |read| {
        let there = columns.iter().copied().zip(read);
        let there = there.filter_map(|(column, reading)| Some((column, reading?)));
        there.collect::<Vec<_>>()
    });
    let pieces = |delivery: Delivery| {
        let pieces = prop::collection::vec((reading(), reading()), 0..4);
        pieces.prop_map(move |pieces| {
            let columns = (1..).map(move |n| Column::piece(delivery, n));
            let both = columns
                .zip(pieces)
                .flat_map(|(columns, piece)| [(columns.0, piece.0), (columns.1, piece.1)]);
            both.collect::<Vec<_>>()
        })
    };
    (once, pieces(Delivery::First), pieces(Delivery::Second))
        .prop_map(|(once, first, second)| once.into_iter().chain(first).chain(second).collect())
}

fn label() -> impl Strategy<Value = TrialLabel> {
    prop_oneof![
        5 => (1_u32..5).prop_map(TrialLabel::Numbered),
        1 => Just(TrialLabel::Rough),
        2 => Just(TrialLabel::Blank),
        3 => (1_u32..7).prop_map(TrialLabel::Standard),
    ]
}

fn lot_code() -> impl Strategy<Value = Option<String>> {
    option::of(prop_oneof![
        6 => Just("usual".to_owned()),
        1 => Just("strong".to_owned()),
        1 => Just("weak".to_owned()),
        1 => Just("unheard-of".to_owned()),
    ])
}

fn row() -> impl Strategy<Value = Titration> {
    (label(), lot_code(), lot_code(), readings()).prop_map(|(trial, lot, excess_lot, readings)| {
        Titration {
            lot: lot.map(LotCode::new),
            excess_lot: excess_lot.map(LotCode::new),
            readings,
            ..Titration::new(trial)
        }
    })
}

fn lots() -> BTreeMap<LotCode, Lot> {
    let lot = |code: &str, value: Decimal, standard: Decimal| {
        let lot = Lot {
            code: LotCode::new(code),
            reagent: String::new(),
            molarity: Assigned::new(value, standard).expect("a molarity"),
            version: 1,
            standardised: None,
        };
        (lot.code.clone(), lot)
    };
    BTreeMap::from([
        lot("usual", dec("0.1003"), dec("0.0002")),
        lot("strong", Decimal::MAX, Decimal::MAX),
        lot("weak", Decimal::new(1, 28), Decimal::ZERO),
    ])
}

proptest! {
    #![proptest_config(inputs(600, 40_000))]

    /// Whatever is in a hand-in, working it up and judging it comes to an end and says what it found.
    #[test]
    fn any_hand_in_is_worked_up(
        which in any::<prop::sample::Index>(),
        rows in prop::collection::vec(row(), 0..9),
        again in option::of(any::<prop::sample::Index>()),
        reported in option::of(reading()),
        left_out in prop::collection::btree_set(1_u32..5, 0..3),
        truth in prop_oneof![Just(dec("1")), Just(Decimal::MAX), Just(Decimal::new(1, 28))],
    ) {
        let station = &stations()[which.index(stations().len())];
        let mut titrations = rows;
        if let (Some(again), false) = (again, titrations.is_empty()) {
            titrations.push(titrations[again.index(titrations.len())].clone());
        }
        let hand_in = HandIn { titrations, reported, confirmed: Vec::new() };
        let known = lots();
        let settlement = Settlement { left_out: left_out.clone(), ..Settlement::default() };
        let unknown = Unknown {
            code: concordant::ids::UnknownCode::new("U"),
            truth: Sealed::new(Assigned::new(truth, Decimal::ZERO).expect("a truth")),
            version: 1,
        };
        let evaluation = evaluate(&Case {
            procedure: &station.procedure,
            hand_in: &hand_in,
            revision: 1,
            lots: &known,
            default_lots: &DefaultLots::default(),
            unknowns: &BTreeMap::from([(unknown.code.clone(), unknown)]),
            carried: None,
            line: None,
            issued: Some("U"),
            submitted_at: None,
            due: None,
            by_hand: None,
            class: concordant::judge::ClassEvidence::ALONE,
            settlement: &settlement,
        });
        prop_assert_eq!(evaluation.trials.len(), hand_in.titrations.len());
        let _questions = questions(&station.procedure, &hand_in);
        for (number, row) in hand_in.titrations.iter().enumerate() {
            let _refusals = refusals(&station.procedure, number, row);
        }
        let find = |code: &Option<LotCode>| code.as_ref().and_then(|code| known.get(code));
        let by_row: Vec<_> = hand_in.titrations.iter().map(|t| (find(&t.lot), find(&t.excess_lot))).collect();
        let done = work_up(WorkUpInput {
            procedure: &station.procedure,
            hand_in: &hand_in,
            lots: &by_row,
            left_out: &BTreeSet::new(),
        });
        // every numbered trial counts or says why not
        for outcome in done.trials.iter().filter(|t| t.trial.number().is_some()) {
            prop_assert!(outcome.counted != outcome.why_not.is_some(), "{}: {outcome:?}", station.name);
        }
        let parts = derivation(&done, Language::English);
        if let Some(result) = done.result {
            prop_assert!(parts.iter().all(|part| part.why_not.is_some() || !part.lines.is_empty()));
            prop_assert!(parts.iter().any(|part| !part.lines.is_empty()));
            let _figures = significant_figures(&done.graph, result);
        }
    }
}

//! One three-trial direct titration evaluated with uncertainty, flags and marks, beside the bare arithmetic of the same
//! result in decimals and in doubles, all in one run. Exits 1 if the evaluation takes more than four times the
//! decimals.

use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::Instant;

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::{Case, DefaultLots, Settlement, evaluate};
use concordant::measure::{Reading, as_f64};
use concordant::procedure::Procedure;
use concordant::submission::{HandIn, Piece, SampleReadings, Titration, TrialLabel};
use concordant::truth::{Assigned, Lot, Sealed, Unknown};
use rust_decimal::Decimal;

const READINGS: [(&str, &str, &str); 3] = [
    ("0.12", "24.37", "49.2"),
    ("0.35", "24.63", "49.3"),
    ("1.04", "25.26", "49.1"),
];

fn main() {
    let text = shipped_procedure("well-water-hardness").expect("shipped");
    let procedure = read_procedure("p", &text, &shipped_glassware()).expect("valid");
    let hand_in = hand_in();
    let assigned = |value: &str, u: &str| Assigned {
        value: dec(value),
        standard_uncertainty: dec(u),
    };
    let lots = BTreeMap::from([(
        "E1".to_owned(),
        Lot {
            code: "E1".into(),
            reagent: "EDTA".into(),
            molarity: assigned("0.01004", "0.00001"),
            version: 1,
        },
    )]);
    let unknowns = BTreeMap::from([(
        "U1".to_owned(),
        Unknown {
            code: "U1".into(),
            truth: Sealed::new(assigned("495", "1")),
            version: 1,
        },
    )]);
    let (default_lots, settlement) = (DefaultLots::default(), Settlement::default());
    let case = Case {
        procedure: &procedure,
        hand_in: &hand_in,
        revision: 1,
        lots: &lots,
        default_lots: &default_lots,
        unknowns: &unknowns,
        issued: Some("U1"),
        submitted_at: None,
        due: None,
        by_hand: None,
        settlement: &settlement,
    };
    let judged = evaluate(&case);
    let mine = bare_decimal(&procedure, &hand_in, dec("0.01004"));
    assert_eq!(judged.outcome.as_ref().map(|o| o.result), Some(mine.0));
    let whole = time("evaluation", || evaluate(black_box(&case)));
    time("work-up", || black_box(&case).work_up());
    let decimal = time("bare decimal", || {
        bare_decimal(black_box(&procedure), black_box(&hand_in), dec("0.01004"))
    });
    let double = time("bare f64", || bare_f64(black_box(0.01004)));
    println!("evaluation / bare decimal = {:.2}", whole / decimal);
    println!("evaluation / bare f64 = {:.0}", whole / double);
    if whole > 4.0 * decimal {
        std::process::exit(1);
    }
}

fn dec(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

fn hand_in() -> HandIn {
    let read = |text: &str| Reading::parse(text).expect("a reading");
    let row = |(index, (start, end, sample)): (usize, &(&str, &str, &str))| Titration {
        trial: TrialLabel::Numbered(index as u32 + 1),
        lot: Some("E1".into()),
        excess_lot: None,
        unknown: None,
        burette: vec![Piece {
            start: read(start),
            end: read(end),
        }],
        sample: SampleReadings {
            volume: Some(read(sample)),
            ..SampleReadings::default()
        },
        submitted_at: None,
    };
    HandIn {
        titrations: READINGS.iter().enumerate().map(row).collect(),
        reported: Some(read("495")),
        confirmed: Vec::new(),
    }
}

/// Mean, s and range of the three results.
fn bare_decimal(
    procedure: &Procedure,
    hand_in: &HandIn,
    molarity: Decimal,
) -> (Decimal, f64, Decimal) {
    let molar_mass = procedure.result.expressed_as.molar_mass().value;
    let results: Vec<Decimal> = hand_in
        .titrations
        .iter()
        .map(|t| {
            let volume = t.burette[0].end.value() - t.burette[0].start.value();
            let sample = t.sample.volume.as_ref().expect("read").value();
            molarity * volume * molar_mass * Decimal::ONE_THOUSAND / sample
        })
        .collect();
    let mean = concordant::stats::mean(&results).expect("three");
    let squares: Decimal = results.iter().map(|x| (*x - mean) * (*x - mean)).sum();
    let s = as_f64(squares / Decimal::TWO).sqrt();
    let range = *results.iter().max().expect("three") - *results.iter().min().expect("three");
    (mean, s, range)
}

fn bare_f64(molarity: f64) -> (f64, f64) {
    let results = READINGS.map(|(start, end, sample)| {
        let read = |text: &str| text.parse::<f64>().expect("a number");
        molarity * (read(end) - read(start)) * 100.086 * 1000.0 / read(sample)
    });
    let mean = results.iter().sum::<f64>() / 3.0;
    let s = (results.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 2.0).sqrt();
    (mean, s)
}

/// Median time of one call over many batches, seconds.
fn time<T>(name: &str, mut work: impl FnMut() -> T) -> f64 {
    const BATCH: u32 = 200;
    let mut batches: Vec<f64> = (0..101)
        .map(|_| {
            let start = Instant::now();
            for _ in 0..BATCH {
                black_box(work());
            }
            start.elapsed().as_secs_f64() / f64::from(BATCH)
        })
        .collect();
    batches.sort_by(f64::total_cmp);
    let median = batches[batches.len() / 2];
    println!("{name}: {:.2} \u{b5}s", median * 1e6);
    median
}

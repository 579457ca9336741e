//! One three-trial direct titration evaluated with uncertainty, flags and marks, beside the same written out by hand in
//! decimals, and beside its result in doubles, all in one run. Exits 1 if the evaluation takes more than four times
//! the decimals.

use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::Instant;

use concordant::columns::Column;
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::{LotCode, UnknownCode};
use concordant::judge::{Case, DefaultLots, Settlement, evaluate};
use concordant::measure::{Reading, as_f64};
use concordant::procedure::Procedure;
use concordant::submission::{HandIn, Titration, TrialLabel};
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
        LotCode::new("E1"),
        Lot {
            code: LotCode::new("E1"),
            reagent: "EDTA".into(),
            molarity: assigned("0.01004", "0.00001"),
            version: 1,
            standardised: None,
        },
    )]);
    let unknowns = BTreeMap::from([(
        UnknownCode::new("U1"),
        Unknown {
            code: UnknownCode::new("U1"),
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
        carried: None,
        line: None,
        issued: Some("U1"),
        submitted_at: None,
        due: None,
        by_hand: None,
        settlement: &settlement,
        class: concordant::judge::ClassEvidence::ALONE,
    };
    let judged = evaluate(&case);
    let lot = assigned("0.01004", "0.00001");
    let mine = bare_decimal(&procedure, &hand_in, lot);
    // both compute the same, or the comparison means nothing
    let outcome = judged.outcome.as_ref().expect("a result");
    assert_eq!(outcome.result.round_dp(18), mine.mean.round_dp(18));
    let near = |one: Option<Decimal>, other: f64| as_f64(one.expect("known")) / other - 1.0;
    assert!(
        near(outcome.std_dev, mine.s).abs() < 1e-9,
        "{outcome:?} {mine:?}"
    );
    assert!(
        near(Some(outcome.standard_uncertainty), mine.standard).abs() < 1e-9,
        "{outcome:?} {mine:?}"
    );
    assert!(mine.points > Decimal::ZERO);
    let whole = time("evaluation", || evaluate(black_box(&case)));
    time("work-up", || black_box(&case).work_up());
    let decimal = time("bare decimal", || {
        bare_decimal(black_box(&procedure), black_box(&hand_in), black_box(lot))
    });
    let alone = time("bare decimal, the result alone", || {
        results(black_box(&procedure), black_box(&hand_in), black_box(lot))
    });
    let double = time("bare f64, the result alone", || {
        bare_f64(black_box(0.01004))
    });
    println!("evaluation / bare decimal = {:.2}", whole / decimal);
    println!("evaluation / result alone = {:.2}", whole / alone);
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
        lot: Some(LotCode::new("E1")),
        excess_lot: None,
        unknown: None,
        instrument: None,
        spoiled: None,
        readings: [
            (Column::BuretteStart(1), read(start)),
            (Column::BuretteEnd(1), read(end)),
            (Column::SampleVolume, read(sample)),
        ]
        .into_iter()
        .collect(),
        submitted_at: None,
    };
    HandIn {
        titrations: READINGS.iter().enumerate().map(row).collect(),
        reported: Some(read("495")),
        confirmed: Vec::new(),
    }
}

/// The same by hand and without a graph: the three results, their mean, s and range, the variance of the mean by the
/// law of propagation, and the points of accuracy and agreement. No quantile, no words.
fn bare_decimal(procedure: &Procedure, hand_in: &HandIn, lot: Assigned) -> Bare {
    let molar_mass = procedure
        .result
        .expressed_as
        .as_ref()
        .expect("stated")
        .molar_mass();
    let squares =
        |half_width: Decimal, divisor: u32| half_width * half_width / Decimal::from(divisor);
    let burette = procedure.burette().expect("stated");
    let sample = &procedure.sample.glassware;
    let reading = squares(procedure.uncertainty.burette_reading, 6);
    let endpoint = squares(procedure.uncertainty.drop / Decimal::TWO, 3);
    let calibration = squares(burette.tolerance(), 6);
    let sample_reading = squares(sample.readable_step().expect("read") * Decimal::TWO, 6);
    let sample_calibration = squares(sample.tolerance(), 6);
    let mut results = [Decimal::ZERO; 3];
    let mut random = Decimal::ZERO;
    let (mut by_burette, mut by_sample) = (Decimal::ZERO, Decimal::ZERO);
    for (result, t) in results.iter_mut().zip(&hand_in.titrations) {
        let volume = t.readings[&Column::BuretteEnd(1)].value()
            - t.readings[&Column::BuretteStart(1)].value();
        let sample = t.readings[&Column::SampleVolume].value();
        *result = lot.value * volume * molar_mass.value * Decimal::ONE_THOUSAND / sample;
        let (by_volume, by_own) = (*result / volume, *result / sample);
        random += by_volume * by_volume * (reading + reading + endpoint)
            + by_own * by_own * sample_reading;
        by_burette += by_volume;
        by_sample += by_own;
    }
    let mean = concordant::stats::mean(&results).expect("three");
    let variance: Decimal = results.iter().map(|x| (*x - mean) * (*x - mean)).sum();
    let s = as_f64(variance / Decimal::TWO).sqrt();
    let range = *results.iter().max().expect("three") - *results.iter().min().expect("three");
    let nine = Decimal::from(9);
    let relative = |value: Decimal, u: Decimal| (mean * u / value) * (mean * u / value);
    let molar_mass_u = Decimal::try_from(molar_mass.standard_uncertainty).expect("small");
    let systematic = by_burette * by_burette / nine * calibration
        + by_sample * by_sample / nine * sample_calibration
        + relative(lot.value, lot.standard_uncertainty)
        + relative(molar_mass.value, molar_mass_u);
    let standard = as_f64(systematic + random / nine).sqrt();
    let off = (mean - dec("495")).abs() * Decimal::ONE_HUNDRED / dec("495");
    let apart = range * Decimal::ONE_HUNDRED / mean;
    let points = |found: Decimal, full: Decimal, zero: Decimal, most: Decimal| {
        let left = (zero - found) / (zero - full) * most;
        left.clamp(Decimal::ZERO, most).round_dp(2)
    };
    let accuracy = points(off, dec("1.5"), dec("7"), dec("10"));
    let agreement = points(apart, dec("0.5"), dec("3"), dec("4"));
    Bare {
        mean,
        s,
        standard,
        points: accuracy + agreement,
    }
}

/// The three results and their mean, nothing more.
fn results(procedure: &Procedure, hand_in: &HandIn, lot: Assigned) -> Option<Decimal> {
    let molar_mass = procedure.result.expressed_as.as_ref()?.molar_mass().value;
    let result = |t: &Titration| {
        let volume = t.readings[&Column::BuretteEnd(1)].value()
            - t.readings[&Column::BuretteStart(1)].value();
        let sample = t.readings.get(&Column::SampleVolume)?.value();
        Some(lot.value * volume * molar_mass * Decimal::ONE_THOUSAND / sample)
    };
    let results: Option<Vec<Decimal>> = hand_in.titrations.iter().map(result).collect();
    concordant::stats::mean(&results?)
}

/// What comes out.
#[derive(Debug)]
struct Bare {
    mean: Decimal,
    s: f64,
    standard: f64,
    points: Decimal,
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

/// Least time of one call over many batches, seconds: what the machine does besides only adds.
fn time<T>(name: &str, mut work: impl FnMut() -> T) -> f64 {
    const BATCH: u32 = 200;
    let batches: Vec<f64> = (0..200)
        .map(|_| {
            let start = Instant::now();
            for _ in 0..BATCH {
                black_box(work());
            }
            start.elapsed().as_secs_f64() / f64::from(BATCH)
        })
        .collect();
    let least = batches.into_iter().fold(f64::INFINITY, f64::min);
    println!("{name}: {:.2} \u{b5}s", least * 1e6);
    least
}

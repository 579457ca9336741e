//! Replicates, Student's t, outliers, lines, robust estimates and scores.

mod fits;
mod laws;
mod line;
mod outliers;
mod robust;
mod strd;
mod textbook_line;

use super::{dec, near};
use concordant::stats::{Replicates, student_t_quantile, student_t_two_sided};
use rust_decimal::Decimal;

/// Digits in common, as NIST counts them (the log relative error), at most the 15 it certifies.
fn digits(found: f64, certified: f64) -> f64 {
    let off = (found - certified).abs() / certified.abs();
    if off == 0.0 {
        15.0
    } else {
        (-off.log10()).min(15.0)
    }
}

fn decimals(texts: &[&str]) -> Vec<Decimal> {
    texts.iter().map(|text| dec(text)).collect()
}

// id: precision-openstax
/// OpenStax Chemistry 2e, 1.5: three dispensers of cough syrup that should give 296 mL. The first is precise and not
/// accurate, the second more accurate and less precise, the third both; s computed from the printed values.
#[test]
fn dispensers() {
    let target = dec("296");
    let mut found = Vec::new();
    for (texts, mean, s) in [
        (
            ["283.3", "284.1", "283.9", "284.0", "284.1"],
            "283.88",
            0.33466,
        ),
        (
            ["298.3", "294.2", "296.0", "297.8", "293.9"],
            "296.04",
            2.01072,
        ),
        (
            ["296.1", "295.9", "296.1", "296.0", "296.1"],
            "296.04",
            0.08944,
        ),
    ] {
        let sum = Replicates::of(&decimals(&texts)).expect("values");
        assert_eq!(sum.mean, dec(mean));
        let found_s = sum.s.expect("s");
        assert!((found_s - s).abs() < 1e-5);
        found.push(((sum.mean - target).abs(), found_s));
    }
    let [first, second, third] = found.as_slice() else {
        panic!("three dispensers")
    };
    assert!(
        first.0 > dec("10") && first.1 < 0.5,
        "precise, not accurate"
    );
    assert!(
        second.0 < first.0 && second.1 > first.1,
        "more accurate, less precise"
    );
    assert!(third.0 <= second.0 && third.1 < first.1, "both");
}

// id: student-t-95
/// Student's t, two-sided 95 %: any table; GUM Table G.2 prints the same to two decimals.
#[test]
fn student_t() {
    for (freedom, t) in [
        (1.0, 12.706205),
        (2.0, 4.302653),
        (3.0, 3.182446),
        (4.0, 2.776445),
        (5.0, 2.570582),
        (6.0, 2.446912),
        (7.0, 2.364624),
        (8.0, 2.306004),
        (9.0, 2.262157),
        (10.0, 2.228139),
        (11.0, 2.200985),
        (12.0, 2.178813),
        (13.0, 2.160369),
        (14.0, 2.144787),
        (15.0, 2.13145),
        (16.0, 2.119905),
        (17.0, 2.109816),
        (18.0, 2.100922),
        (19.0, 2.093024),
        (20.0, 2.085963),
        (21.0, 2.079614),
        (22.0, 2.073873),
        (23.0, 2.068658),
        (24.0, 2.063899),
        (25.0, 2.059539),
        (26.0, 2.055529),
        (27.0, 2.051831),
        (28.0, 2.048407),
        (29.0, 2.04523),
        (30.0, 2.042272),
        (f64::INFINITY, 1.959964),
    ] {
        assert!(
            (student_t_two_sided(0.95, freedom) - t).abs() < 1e-6,
            "{freedom}"
        );
    }
    // JCGM 100:2008, H.1.6: t(99 %, 16) = 2.92
    assert!((student_t_quantile(0.995, 16.0) - 2.920782).abs() < 1e-6);
}

//! Dixon's and Grubbs' tests.

use super::decimals;
use crate::reference::{dec, f};
use concordant::stats::{
    DixonCritical, DixonLevel, GrubbsSide, dixon_critical, dixon_outlier, dixon_printed, grubbs,
    grubbs_critical,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

const LEVELS: [DixonLevel; 3] = [DixonLevel::P90, DixonLevel::P95, DixonLevel::P99];

// id: dixon-r10-exact
/// Dixon's r10, exact by quadrature of the definition to 2e-5, n 3 to 10, two-tailed 90, 95 and 99 %.
const DIXON: [(usize, [f64; 3]); 8] = [
    (3, [0.94126, 0.97021, 0.99397]),
    (4, [0.76553, 0.82975, 0.92066]),
    (5, [0.64236, 0.71024, 0.8232]),
    (6, [0.56242, 0.62751, 0.7427]),
    (7, [0.50733, 0.56895, 0.68108]),
    (8, [0.46707, 0.5256, 0.63363]),
    (9, [0.43627, 0.4922, 0.59627]),
    (10, [0.41186, 0.46559, 0.56613]),
];

#[test]
fn dixon_critical_values() {
    for (n, expected) in DIXON {
        for (level, r) in LEVELS.into_iter().zip(expected) {
            let found = dixon_critical(n, level);
            assert!(
                (found - r).abs() < 5e-5,
                "n {n} at {} %: {found} against {r}",
                level.percent()
            );
        }
    }
}

// id: dixon-r10-rorabacher
/// D. B. Rorabacher, Anal. Chem. 63 (1991) 139, r10 table, two-tailed 90, 95 and 99 %.
#[test]
fn dixon_printed_table() {
    for (n, expected) in [
        (3, ["0.941", "0.970", "0.994"]),
        (4, ["0.765", "0.829", "0.926"]),
        (5, ["0.642", "0.710", "0.821"]),
        (6, ["0.560", "0.625", "0.740"]),
        (7, ["0.507", "0.568", "0.680"]),
        (8, ["0.468", "0.526", "0.634"]),
        (9, ["0.437", "0.493", "0.598"]),
        (10, ["0.412", "0.466", "0.568"]),
        // of the rest, ends and middle
        (11, ["0.392", "0.444", "0.542"]),
        (20, ["0.300", "0.342", "0.425"]),
        (30, ["0.260", "0.298", "0.372"]),
    ] {
        for (level, r) in LEVELS.into_iter().zip(expected) {
            assert_eq!(dixon_printed(n, level), Some(dec(r)), "n {n}");
        }
    }
    for n in [0, 2, 31, usize::MAX] {
        assert_eq!(dixon_printed(n, DixonLevel::P95), None, "n {n}");
    }
}

/// What is printed is off by up to 0.0054 (n = 4, 99 %), as quadrature shows: a slip of a digit in the table would show,
/// the distribution's own third digit would not come out.
#[test]
fn the_printed_table_is_near_the_distribution() {
    let mut worst = (0.0, 0);
    for n in 3..=30 {
        for level in LEVELS {
            let printed = f(dixon_printed(n, level).expect("in the table"));
            let off = (dixon_critical(n, level) - printed).abs();
            assert!(off < 0.006, "n {n} at {} %: {off}", level.percent());
            if off > worst.0 {
                worst = (off, n);
            }
        }
    }
    assert!(worst.0 > 0.005 && worst.1 == 4, "{worst:?}");
}

#[test]
fn dixon_rejects_one_or_none() {
    let exact = |texts: &[&str], level| dixon_outlier(&decimals(texts), level, EXACT);
    let far = ["20.10", "20.12", "20.11", "20.90"];
    assert_eq!(exact(&far, DixonLevel::P99), Some(3));
    let near = ["20.10", "20.12", "20.11", "20.14"];
    assert_eq!(exact(&near, DixonLevel::P90), None);
    let below = ["20.10", "19.20", "20.11", "20.12"];
    assert_eq!(exact(&below, DixonLevel::P90), Some(1));
}
const EXACT: DixonCritical = DixonCritical::Exact;
const TABLE: DixonCritical = DixonCritical::Rorabacher;

/// Where table and distribution part, each decides for itself; just at a limit nothing is rejected.
#[test]
fn dixon_by_table_and_by_distribution() {
    let both = |texts: &[&str]| {
        [EXACT, TABLE].map(|c| dixon_outlier(&decimals(texts), DixonLevel::P99, c))
    };
    // r10 0.96/1.04 = 0.9231, exact 0.9207, printed 0.926
    assert_eq!(both(&["10.00", "10.04", "10.08", "11.04"]), [Some(3), None]);
    // r10 0.74/0.90 = 0.8222, exact 0.8232, printed 0.821
    let five = ["10.00", "10.05", "10.10", "10.16", "10.90"];
    assert_eq!(both(&five), [None, Some(4)]);
    // r10 0.926 to the digit, and one step beyond
    assert_eq!(both(&["0.000", "0.010", "0.074", "1.000"])[1], None);
    assert_eq!(both(&["0.000", "0.010", "0.073", "1.000"])[1], Some(3));
    // past the end of the table the distribution decides
    let mut many: Vec<String> = (0..30).map(|i| format!("10.{i:02}")).collect();
    many.push("12.00".into());
    let texts: Vec<&str> = many.iter().map(String::as_str).collect();
    assert_eq!(both(&texts), [Some(30), Some(30)]);
}

// id: ratio-r10-trap
/// A range of zero leaves r10 undefined, and s of zero Grubbs' G: no outlier, no crash.
#[test]
fn values_all_alike_have_no_outlier() {
    for texts in [
        &["10.0", "10.0", "10.0"][..],
        &["10.0", "12.0"],
        &["10.0"],
        &[],
    ] {
        for critical in [EXACT, TABLE] {
            for level in LEVELS {
                assert_eq!(dixon_outlier(&decimals(texts), level, critical), None);
            }
        }
        let values: Vec<f64> = decimals(texts).into_iter().map(f).collect();
        for side in SIDES {
            assert_eq!(grubbs(&values, side, 0.95), None);
        }
    }
    // a mean of doubles need not be any of them, even if they are all alike
    assert_eq!(grubbs(&[0.1; 10], GrubbsSide::Either, 0.95), None);
}
const SIDES: [GrubbsSide; 3] = [
    GrubbsSide::Largest,
    GrubbsSide::Smallest,
    GrubbsSide::Either,
];

// id: grubbs-n3-10
/// NIST/SEMATECH e-Handbook 1.3.5.17.1: one-sided 95 and 99 %, two-sided 95 and 99 %. ISO 5725-2:1994, Table 5, prints
/// the two-sided ones to three decimals (and 2.126 for eight at 95 %, where the formula gives 2.127).
#[test]
fn grubbs_critical_values() {
    for (n, expected) in [
        (3, [1.153118, 1.154637, 1.154305, 1.154685]),
        (4, [1.4625, 1.4925, 1.48125, 1.49625]),
        (5, [1.671386, 1.748857, 1.715037, 1.763678]),
        (6, [1.82212, 1.944245, 1.887145, 1.972817]),
        (7, [1.938135, 2.097304, 2.019969, 2.139106]),
        (8, [2.031652, 2.220833, 2.126645, 2.274365]),
        (9, [2.109562, 2.323148, 2.215004, 2.38681]),
        (10, [2.176068, 2.409725, 2.289954, 2.482083]),
    ] {
        let one = GrubbsSide::Largest;
        let found = [
            grubbs_critical(n, one, 0.95),
            grubbs_critical(n, one, 0.99),
            grubbs_critical(n, GrubbsSide::Either, 0.95),
            grubbs_critical(n, GrubbsSide::Either, 0.99),
        ];
        for (found, expected) in found.into_iter().zip(expected) {
            assert!((found - expected).abs() < 1e-6, "n {n}: {found}");
        }
        let below = grubbs_critical(n, GrubbsSide::Smallest, 0.95);
        assert_eq!(below, found[0], "both single sides have one value");
    }
}

/// At any n and level: rising with both, below (n − 1)/√n, which no G can pass, and NaN where there is no test.
#[test]
fn grubbs_critical_values_at_any_n_and_level() {
    for side in SIDES {
        for level in [0.5, 0.9, 0.95, 0.975, 0.99, 0.999, 0.999_999] {
            let mut last = 0.0;
            for n in [3, 4, 5, 8, 13, 21, 50, 100, 1000, 100_000] {
                let found = grubbs_critical(n, side, level);
                let most = (n as f64 - 1.0) / (n as f64).sqrt();
                assert!(
                    found > last && found <= most,
                    "{side:?} {n} {level}: {found}"
                );
                last = found;
            }
        }
        let of_level = [0.5, 0.9, 0.99, 0.999].map(|level| grubbs_critical(12, side, level));
        assert!(of_level.is_sorted(), "{of_level:?}");
        for (n, level) in [
            (0, 0.95),
            (2, 0.95),
            (5, 0.0),
            (5, 1.0),
            (5, 95.0),
            (5, f64::NAN),
        ] {
            assert!(grubbs_critical(n, side, level).is_nan(), "{n} {level}");
        }
    }
}

// id: grubbs-example-uranium
/// NIST/SEMATECH e-Handbook 1.3.5.17.1 (data of Tietjen and Moore 1972): G 2.4687, one-sided critical value 2.032 at 5 %.
#[test]
fn grubbs_uranium() {
    let data = [
        199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57,
    ];
    let found = grubbs(&data, GrubbsSide::Largest, 0.95).expect("a test");
    assert!((found.g - 2.4687646).abs() < 1e-6, "{}", found.g);
    assert!((found.critical - 2.031652).abs() < 1e-6);
    assert_eq!((found.index, data[found.index]), (7, 245.57));
    assert!(found.is_outlier());
    let either = grubbs(&data, GrubbsSide::Either, 0.95).expect("a test");
    assert_eq!((either.index, either.g), (7, found.g));
    assert!(either.is_outlier() && either.critical > found.critical);
    let below = grubbs(&data, GrubbsSide::Smallest, 0.95).expect("a test");
    assert_eq!(below.index, 0);
    assert!(!below.is_outlier());
}

#[test]
fn grubbs_needs_numbers() {
    let data = [1.0, 2.0, 3.0, 9.0];
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        for place in 0..data.len() {
            let mut with = data;
            with[place] = bad;
            assert_eq!(grubbs(&with, GrubbsSide::Either, 0.95), None, "{with:?}");
        }
    }
    assert_eq!(grubbs(&data, GrubbsSide::Either, 1.0), None);
    assert_eq!(
        grubbs(&[1e308, -1e308, 1e308], GrubbsSide::Either, 0.95),
        None
    );
    // equal distances: the upper value; equal values: the first
    let found = grubbs(&[9.0, 1.0, 5.0, 9.0, 1.0], GrubbsSide::Either, 0.95);
    assert_eq!(found.map(|found| found.index), Some(0));
}

/// Of normal values, each level lets through what it says: 20 000 seeded samples of six.
#[test]
fn grubbs_rejects_as_often_as_stated() {
    let mut rng = ChaCha20Rng::seed_from_u64(6);
    let mut normal = || {
        // Box and Muller, Ann. Math. Stat. 29 (1958) 610
        let (u, v): (f64, f64) = (1.0 - rng.random::<f64>(), rng.random());
        (-2.0 * u.ln()).sqrt() * (2.0 * std::f64::consts::PI * v).cos()
    };
    let samples = 20_000;
    let mut rejected = [0_u32; 3];
    for _ in 0..samples {
        let values: [f64; 6] = std::array::from_fn(|_| normal());
        for (i, side) in SIDES.into_iter().enumerate() {
            let found = grubbs(&values, side, 0.95).expect("six values that differ");
            rejected[i] += u32::from(found.is_outlier());
        }
    }
    for (side, count) in SIDES.into_iter().zip(rejected) {
        let share = f64::from(count) / f64::from(samples);
        // four standard deviations of the share
        assert!((share - 0.05).abs() < 0.0062, "{side:?}: {share}");
    }
}

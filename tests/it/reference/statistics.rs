//! Replicates, outliers, Student's t and Algorithm A.

use super::{dec, f, near};
use concordant::stats::{
    DixonLevel, Replicates, algorithm_a, dixon_critical, dixon_outlier, mean_and_s,
    student_t_quantile, student_t_two_sided,
};
use rust_decimal::Decimal;

/// Digits in common, as NIST counts them.
fn digits(found: f64, certified: f64) -> f64 {
    if found == certified {
        15.0
    } else {
        -((found - certified).abs() / certified.abs()).log10()
    }
}

fn decimals(texts: &[&str]) -> Vec<Decimal> {
    texts.iter().map(|text| dec(text)).collect()
}

/// NIST StRD, univariate, Mavro: certified mean 2.00185600000000, s 0.000429123454003053.
#[test]
fn strd_mavro() {
    let values = decimals(&[
        "2.00180", "2.00170", "2.00180", "2.00190", "2.00180", "2.00170", "2.00150", "2.00140",
        "2.00150", "2.00150", "2.00170", "2.00180", "2.00180", "2.00190", "2.00190", "2.00210",
        "2.00200", "2.00160", "2.00140", "2.00130", "2.00130", "2.00150", "2.00150", "2.00160",
        "2.00150", "2.00140", "2.00130", "2.00140", "2.00150", "2.00140", "2.00150", "2.00160",
        "2.00150", "2.00160", "2.00190", "2.00200", "2.00200", "2.00210", "2.00220", "2.00230",
        "2.00240", "2.00250", "2.00270", "2.00260", "2.00260", "2.00260", "2.00270", "2.00260",
        "2.00250", "2.00240",
    ]);
    let sum = Replicates::of(&values).expect("values");
    assert_eq!(sum.mean, dec("2.001856"));
    assert!(digits(sum.s.expect("s"), 0.000_429_123_454_003_053) > 14.0);
}

/// NIST StRD, univariate, NumAcc1 to NumAcc3: a first value, then 500 pairs 0.1 below and above it.
#[test]
fn strd_numerical_accuracy() {
    let one = Replicates::of(&decimals(&["10000001", "10000003", "10000002"])).expect("values");
    assert_eq!(one.mean, dec("10000002"));
    assert_eq!(one.s, Some(1.0));
    for (centre, low, high) in [
        ("1.2", "1.1", "1.3"),
        ("1000000.2", "1000000.1", "1000000.3"),
    ] {
        let mut texts = vec![centre];
        for _ in 0..500 {
            texts.extend([low, high]);
        }
        let values = decimals(&texts);
        let sum = Replicates::of(&values).expect("values");
        assert_eq!(sum.mean, dec(centre));
        assert!(
            digits(sum.s.expect("s"), 0.1) > 14.0,
            "decimal deviations cancel nothing"
        );
        let doubles: Vec<f64> = values.iter().map(|v| f(*v)).collect();
        let (mean, s) = mean_and_s(&doubles).expect("values");
        assert!(digits(mean, f(dec(centre))) > 14.0);
        assert!(
            digits(s, 0.1) > 8.0,
            "doubles hold 1000000.1 to ten decimals only"
        );
    }
}

/// OpenStax Chemistry 2e, 1.5: three dispensers of cough syrup; s computed from the printed values.
#[test]
fn dispensers() {
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
        assert!((sum.s.expect("s") - s).abs() < 1e-5);
    }
}

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
        for (level, r) in [DixonLevel::P90, DixonLevel::P95, DixonLevel::P99]
            .into_iter()
            .zip(expected)
        {
            let found = dixon_critical(n, level);
            assert!(
                (found - r).abs() < 5e-5,
                "n {n} at {} %: {found} against {r}",
                level.percent()
            );
        }
    }
}

/// D. B. Rorabacher, Anal. Chem. 63 (1991) 139, r10 table. It is off by up to 0.006 (n = 4, 99 %), as quadrature
/// shows; the test holds it to that.
#[test]
fn dixon_published_table() {
    for (n, expected) in [
        (3, [0.941, 0.97, 0.994]),
        (4, [0.765, 0.829, 0.926]),
        (5, [0.642, 0.71, 0.821]),
        (6, [0.56, 0.625, 0.74]),
        (7, [0.507, 0.568, 0.68]),
        (8, [0.468, 0.526, 0.634]),
        (9, [0.437, 0.493, 0.598]),
        (10, [0.412, 0.466, 0.568]),
    ] {
        for (level, r) in [DixonLevel::P90, DixonLevel::P95, DixonLevel::P99]
            .into_iter()
            .zip(expected)
        {
            let off: f64 = dixon_critical(n, level) - r;
            assert!(off.abs() < 0.006, "n {n} at {} %: {off}", level.percent());
        }
    }
}

#[test]
fn dixon_rejects_one_or_none() {
    let far = decimals(&["20.10", "20.12", "20.11", "20.90"]);
    assert_eq!(dixon_outlier(&far, DixonLevel::P99), Some(3));
    let near = decimals(&["20.10", "20.12", "20.11", "20.14"]);
    assert_eq!(dixon_outlier(&near, DixonLevel::P90), None);
    // a range of zero leaves r10 undefined: no outlier
    assert_eq!(
        dixon_outlier(&decimals(&["10.0", "10.0", "10.0"]), DixonLevel::P90),
        None
    );
    assert_eq!(
        dixon_outlier(&decimals(&["10.0", "12.0"]), DixonLevel::P90),
        None
    );
}

/// ISO 5725-5:1998, creosote cell averages (as in R metRology's help of algA): x* 20.412143, converged
/// s* 1.06984 with the constants 1.483 and 1.134.
#[test]
fn algorithm_a_creosote() {
    let found = algorithm_a(&CREOSOTE).expect("values");
    near(found.mean, 20.412143, 1e-6, "x*");
    near(found.s, 1.06984, 1e-5, "s*");
    near(
        found.standard_uncertainty(),
        1.25 * 1.06984 / 3.0,
        1e-5,
        "1.25 s*/√p",
    );
}
const CREOSOTE: [f64; 9] = [
    24.14, 20.155, 19.5, 20.3, 20.705, 17.57, 20.1, 20.94, 21.185,
];

/// Analytical Methods Committee, Analyst 114 (1989) 1693: copper in wholemeal flour, one gross outlier.
#[test]
fn algorithm_a_copper_in_flour() {
    let data = [
        2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2, 5.28, 3.37, 3.03, 3.03, 28.95,
        3.77, 3.4, 2.2, 3.5, 3.6, 3.7, 3.7,
    ];
    let found = algorithm_a(&data).expect("values");
    near(found.mean, 3.205566, 1e-6, "x*");
    near(found.s, 0.67415, 1e-5, "s*");
    near(
        concordant::stats::median(&data).expect("values"),
        3.385,
        1e-12,
        "median",
    );
}

/// LGC inter-laboratory study of lead (data of the R package metRology, RMstudy): laboratory means.
#[test]
fn algorithm_a_lead() {
    let data = [
        25.29, 24.24, 22.8927196, 21.202, 23.976, 22.56, 23.256, 23.67, 26.592, 19.06, 26.52,
        23.78, 24.92, 22.494, 24.71, 22.26, 22.87, 24.706, 24.95, 24.0466, 23.55, 30.0, 23.04,
        24.262, 23.1601155, 22.026, 30.0133333,
    ];
    let found = algorithm_a(&data).expect("values");
    assert_eq!(found.n, 27);
    near(found.mean, 23.894041, 1e-5, "x*");
    near(found.s, 1.705145, 1e-5, "s*");
    near(found.standard_uncertainty(), 0.410194, 1e-5, "1.25 s*/√p");
}

/// LGC inter-laboratory study of arsenic (data of the R package metRology, RMstudy): laboratory means.
#[test]
fn algorithm_a_arsenic() {
    let data = [
        10.014, 10.288, 10.166253, 9.096, 10.004, 10.44, 10.342, 10.474, 30.916, 10.12, 10.7,
        9.876, 10.44, 10.412, 10.2, 9.603, 9.934, 10.502, 9.942, 9.534, 10.362, 10.314, 10.18,
        10.054, 9.794, 5.342, 12.42,
    ];
    let found = algorithm_a(&data).expect("values");
    assert_eq!(found.n, 27);
    near(found.mean, 10.16104, 1e-5, "x*");
    near(found.s, 0.412248, 1e-5, "s*");
    near(found.standard_uncertainty(), 0.099171, 1e-5, "1.25 s*/√p");
}

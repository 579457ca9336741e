//! Algorithm A, and z and ζ scores.

use super::near;
use concordant::stats::{
    ScoreClass, algorithm_a, mean_and_s, median, student_t_quantile, two_sided_normal_p, z_score,
    zeta_score,
};

// id: iso13528-algA-definition
/// ISO 13528:2005, Annex C (= ISO 5725-5:1998, 6.2): what Algorithm A ends at is left in place by one more round of its
/// update. Iterated until it stands still: by the literal rule of the third figure creosote stops at s* 1.05.
#[test]
fn algorithm_a_ends_where_its_update_changes_nothing() {
    let found = algorithm_a(&CREOSOTE).expect("values");
    let limit = 1.5 * found.s;
    let pulled = CREOSOTE.map(|x| x.clamp(found.mean - limit, found.mean + limit));
    let (mean, s) = mean_and_s(&pulled).expect("values");
    near(mean, found.mean, 1e-11, "x*");
    near(1.134 * s, found.s, 1e-11, "s*");
    assert!(found.s > 1.06);
    // with more than half of the values alike, the start 1.483 · median|x − x*| is 0, and so it stays
    let alike = algorithm_a(&[3.0, 3.0, 3.0, 9.0]).expect("values");
    assert_eq!((alike.mean, alike.s), (3.0, 0.0));
    assert_eq!(algorithm_a(&[]), None);
}

/// The constants 1.483 and 1.134 are 1/Φ⁻¹(0.75) = 1.4826022 and, for a normal pulled in to ±1.5, 1/σ = 1.1333927.
#[test]
fn constants_of_algorithm_a() {
    let quartile = student_t_quantile(0.75, f64::INFINITY);
    near(1.0 / quartile, 1.482602218505602, 1e-9, "1.483");
    let outside = two_sided_normal_p(1.5);
    let density = (-1.125_f64).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let variance = (1.0 - outside - 3.0 * density) + 2.25 * outside;
    near(1.0 / variance.sqrt(), 1.133392655462487, 1e-9, "1.134");
}

// id: robust-creosote
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

// id: robust-MASS-chem
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
    near(median(&data).expect("values"), 3.385, 1e-12, "median");
}

// id: robust-RMstudy-lead
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
    let classes = classes(&data, (found.mean, found.s));
    assert_eq!(classes, (vec![30.0, 30.0133333], vec![19.06]));
}

// id: robust-RMstudy-arsenic
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
    let classes = classes(&data, (found.mean, found.s));
    assert_eq!(classes, (vec![30.916, 5.342, 12.42], vec![9.096]));
}

/// The data that z against the robust mean and s* calls unsatisfactory, and questionable.
fn classes(data: &[f64], (mean, s): (f64, f64)) -> (Vec<f64>, Vec<f64>) {
    let of = |class: ScoreClass| {
        let score = |x: &f64| z_score(*x, mean, s).expect("a score");
        let in_it = data.iter().filter(|x| ScoreClass::of(score(x)) == class);
        in_it.copied().collect()
    };
    (of(ScoreClass::Unsatisfactory), of(ScoreClass::Questionable))
}

// id: iso13528-algA-definition
/// ISO 13528:2015, 9.4 and 9.6: |z| ≤ 2 satisfactory, below 3 questionable, from 3 on unsatisfactory.
#[test]
fn scores() {
    assert_eq!(z_score(10.5, 10.0, 0.25), Some(2.0));
    assert_eq!(z_score(9.25, 10.0, 0.25), Some(-3.0));
    // √(0.03² + 0.04²) = 0.05
    let zeta = zeta_score((10.2, 0.03), (10.0, 0.04)).expect("a score");
    near(zeta, 4.0, 1e-12, "ζ");
    let back = zeta_score((10.0, 0.04), (10.2, 0.03)).expect("a score");
    near(back, -4.0, 1e-12, "ζ the other way round");
    // with a truth that is certain, ζ is z in units of the result's own uncertainty
    assert_eq!(
        zeta_score((10.5, 0.25), (10.0, 0.0)),
        z_score(10.5, 10.0, 0.25)
    );
    for (score, class) in [
        (0.0, ScoreClass::Satisfactory),
        (-2.0, ScoreClass::Satisfactory),
        (2.000001, ScoreClass::Questionable),
        (-2.999999, ScoreClass::Questionable),
        (3.0, ScoreClass::Unsatisfactory),
        (-1e300, ScoreClass::Unsatisfactory),
        (f64::NAN, ScoreClass::Unsatisfactory),
    ] {
        assert_eq!(ScoreClass::of(score), class, "{score}");
    }
}

#[test]
fn there_is_no_score_where_nothing_is_to_be_measured_against() {
    for sigma in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let found = z_score(10.5, 10.0, sigma);
        assert_eq!(found, (sigma == f64::INFINITY).then_some(0.0), "{sigma}");
    }
    assert_eq!(z_score(f64::NAN, 10.0, 1.0), None);
    assert_eq!(z_score(1.0, f64::INFINITY, 1.0), None);
    for (u, u_pt) in [(0.0, 0.0), (-0.1, 0.2), (0.2, -0.1), (f64::NAN, 0.1)] {
        assert_eq!(zeta_score((1.0, u), (2.0, u_pt)), None, "{u} {u_pt}");
    }
}

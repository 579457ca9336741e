//! Two groups beside each other, and many tests at once.

use concordant::stats::{fisher_exact, holm, two_sided_t_p, welch, welch_of};

use super::near;

/// NIST/SEMATECH e-Handbook, 1.3.5.3: miles per gallon of American and Japanese cars (AUTO83B), with unequal variances.
#[test]
fn welch_as_in_the_nist_handbook() {
    let american = (20.14458, 6.41470, 249);
    let japanese = (30.48101, 6.10771, 79);
    let found = welch_of(american, japanese).expect("scatters");
    near(found.value / found.standard, -12.94627, 1e-5, "t");
    near(found.freedom, 136.8750, 1e-4, "degrees of freedom");
    let [low, high] = found.interval(0.95);
    // t for 95 % at 137 degrees of freedom is 1.9774
    near(high - low, 2.0 * 1.9774 * found.standard, 1e-4, "interval");
}

#[test]
fn welch_wants_two_values() {
    assert!(welch(&[1.0], &[1.0, 2.0]).is_none());
    assert!(welch(&[], &[1.0, 2.0]).is_none());
    // three all alike and two others all alike: one deal of ten
    let apart = welch(&[2.0, 2.0, 2.0], &[1.0, 1.0]).expect("are compared");
    assert_eq!((apart.value, apart.interval(0.95)), (1.0, [1.0, 1.0]));
    near(apart.p, 0.1, 1e-12, "p");
    assert_eq!(welch(&[2.0, 2.0], &[2.0, 2.0]).map(|d| d.p), Some(1.0));
    // means 2 and 5, variances 1 and 4 of three each: u² = 5/3, ν = (5/3)²/((1/3)²/2 + (4/3)²/2) = 50/17
    let found = welch(&[1.0, 2.0, 3.0], &[3.0, 5.0, 7.0]).expect("scatters");
    near(found.value, -3.0, 1e-12, "difference");
    near(found.standard, (5.0_f64 / 3.0).sqrt(), 1e-12, "u");
    near(found.freedom, 50.0 / 17.0, 1e-12, "freedom");
}

/// R. A. Fisher, The Design of Experiments, II: of eight cups four are told; three right of four have probability 17/70
/// one-sided and 34/70 both ways.
#[test]
fn the_lady_tasting_tea() {
    near(
        fisher_exact((3, 1), (1, 3)),
        34.0 / 70.0,
        1e-12,
        "three right",
    );
    near(
        fisher_exact((4, 0), (0, 4)),
        2.0 / 70.0,
        1e-12,
        "four right",
    );
    near(
        fisher_exact((5, 0), (3, 0)),
        1.0,
        1e-12,
        "no difference possible",
    );
    near(fisher_exact((0, 0), (3, 2)), 1.0, 1e-12, "nothing dealt");
}

/// By hand: 4 × 0.005, 3 × 0.011, 2 × 0.02 and 0.04, each no less than the one before.
#[test]
fn holm_steps_down() {
    let adjusted = holm(&[0.04, 0.005, 0.02, 0.011]);
    for (found, expected) in adjusted.iter().zip([0.04, 0.02, 0.04, 0.033]) {
        near(*found, expected, 1e-12, "adjusted");
    }
    assert_eq!(holm(&[0.6, 0.7]), [1.0, 1.0]);
    assert!(holm(&[]).is_empty());
}

/// The printed t for 95 % (JCGM 100:2008, Table G.2) is exceeded with 5 %.
#[test]
fn student_t_both_ways() {
    for (freedom, t) in [(1.0, 12.71), (5.0, 2.57), (20.0, 2.09)] {
        near(two_sided_t_p(t, freedom), 0.05, 0.01, "p");
        near(two_sided_t_p(-t, freedom), 0.05, 0.01, "p");
    }
    near(
        two_sided_t_p(1.959_963_984_540_054, f64::INFINITY),
        0.05,
        1e-9,
        "p",
    );
}

//! Laws that hold for any data: order changes nothing, shifts and scales pass through.

use std::sync::LazyLock;

use super::textbook_line::Line;
use concordant::stats::{
    DixonCritical, DixonLevel, GrubbsSide, Replicates, dixon_outlier, grubbs, mean_and_s,
};
use proptest::prelude::*;
use rust_decimal::Decimal;

use crate::reference::f;

/// Titre-like readings: hundredths, some of them equal.
fn readings() -> impl Strategy<Value = Vec<Decimal>> {
    prop::collection::vec((1_i64..5000).prop_map(|n| Decimal::new(n, 2)), 3..9)
}

fn shuffled() -> impl Strategy<Value = (Vec<Decimal>, Vec<Decimal>)> {
    readings().prop_flat_map(|values| (Just(values.clone()), Just(values).prop_shuffle()))
}

fn doubles(values: &[Decimal]) -> Vec<f64> {
    values.iter().map(|v| f(*v)).collect()
}

/// The value that each rule of Dixon's test rejects.
fn dixon(values: &[Decimal]) -> [Option<Decimal>; 2] {
    [DixonCritical::Exact, DixonCritical::Rorabacher]
        .map(|critical| dixon_outlier(values, DixonLevel::P90, critical).map(|index| values[index]))
}

/// The value that each side of Grubbs' test looks at, with its G and whether it is out.
fn grubbs_of(values: &[f64]) -> [Option<(f64, f64, bool)>; 3] {
    [
        GrubbsSide::Largest,
        GrubbsSide::Smallest,
        GrubbsSide::Either,
    ]
    .map(|side| {
        grubbs(values, side, 0.95).map(|found| (values[found.index], found.g, found.is_outlier()))
    })
}

fn close(found: f64, expected: f64, scale: f64) -> bool {
    (found - expected).abs() <= 1e-10 * scale.abs().max(expected.abs())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    /// To the last digit, not nearly.
    #[test]
    fn order_changes_nothing((values, other) in shuffled()) {
        prop_assert_eq!(Replicates::of(&values), Replicates::of(&other));
        prop_assert_eq!(dixon(&values), dixon(&other));
        let (values, other) = (doubles(&values), doubles(&other));
        prop_assert_eq!(mean_and_s(&values), mean_and_s(&other));
        prop_assert_eq!(grubbs_of(&values), grubbs_of(&other));
    }

    /// The mean goes along, spreads stay, the same value is an outlier.
    #[test]
    fn a_shift_moves_the_mean_only(values in readings(), by in -9_999_999_i64..9_999_999) {
        let by = Decimal::new(by, 3);
        let moved: Vec<Decimal> = values.iter().map(|v| v + by).collect();
        let (first, then) = (Replicates::of(&values).expect("values"), Replicates::of(&moved).expect("values"));
        prop_assert!((then.mean - first.mean - by).abs() <= *TINY);
        prop_assert_eq!(then.range, first.range);
        let s = first.s.expect("s");
        prop_assert!(close(then.s.expect("s"), s, 0.0));
        prop_assert_eq!(dixon(&moved), dixon(&values).map(|found| found.map(|v| v + by)));
        for (first, then) in grubbs_of(&doubles(&values)).into_iter().zip(grubbs_of(&doubles(&moved))) {
            let (Some((value, g, _)), Some((value_then, g_then, _))) = (first, then) else {
                prop_assert!(first.is_none() && then.is_none());
                continue;
            };
            // in doubles a value far from zero is held to fewer decimals; at equal distances either may come out
            prop_assert!((g - g_then).abs() < 1e-6);
            prop_assert!((value + f(by) - value_then).abs() < 1e-6 || tied(&values));
        }
    }

    /// Everything in the unit of the data is multiplied; ratios and decisions stay.
    #[test]
    fn a_scale_passes_through(values in readings(), by in 1_i64..99_999, mirror: bool) {
        let by = Decimal::new(if mirror { -by } else { by }, 2);
        let scaled: Vec<Decimal> = values.iter().map(|v| v * by).collect();
        let (first, then) = (Replicates::of(&values).expect("values"), Replicates::of(&scaled).expect("values"));
        prop_assert!((then.mean - first.mean * by).abs() <= *TINY * by.abs());
        prop_assert_eq!(then.range, first.range * by.abs());
        let scale = f(by).abs();
        prop_assert!(close(then.s.expect("s"), first.s.expect("s") * scale, 0.0));
        prop_assert!(tied(&values) || dixon(&scaled) == dixon(&values).map(|found| found.map(|v| v * by)));
        let (at_first, mut at_then) = (grubbs_of(&doubles(&values)), grubbs_of(&doubles(&scaled)));
        if mirror {
            at_then.swap(0, 1);
        }
        for (first, then) in at_first.into_iter().zip(at_then) {
            let (Some((value, g, _)), Some((value_then, g_then, _))) = (first, then) else {
                prop_assert!(first.is_none() && then.is_none());
                continue;
            };
            prop_assert!(close(g_then, g, 1.0));
            prop_assert!(close(value_then, value * f(by), 1.0) || tied(&values));
        }
    }

    /// y → k·y + c and x → x + d; the order of the points changes nothing that matters.
    #[test]
    fn lines_follow_their_points(
        points in prop::collection::vec((0_u32..1000, 0_u32..1000), 3..12),
        (k, c, d) in (1_u32..50, -500_i32..500, -500_i32..500),
    ) {
        let points: Vec<(f64, f64)> = points.iter().map(|p| (f64::from(p.0), f64::from(p.1))).collect();
        let (k, c, d) = (f64::from(k), f64::from(c), f64::from(d));
        let changed: Vec<(f64, f64)> = points.iter().rev().map(|p| (p.0 + d, k * p.1 + c)).collect();
        let (Ok(first), Ok(then)) = (Line::of(&points), Line::of(&changed)) else {
            prop_assert!(points.iter().all(|p| p.0 == points[0].0));
            return Ok(());
        };
        // the data go up to 1000, their squares to a million
        prop_assert!(close(then.slope, k * first.slope, 1000.0));
        prop_assert!(close(then.intercept, k * (first.intercept - first.slope * d) + c, 1e6 * k));
        prop_assert!(close(then.residual_s, k * first.residual_s, 1000.0 * k));
        prop_assert!(close(then.sxx, first.sxx, 0.0));
        prop_assert!(close(then.slope_error, k * first.slope_error, 1000.0 * k));
        prop_assert_eq!(then.r_squared.is_some(), first.r_squared.is_some());
        prop_assert!(close(then.r_squared.unwrap_or(0.0), first.r_squared.unwrap_or(0.0), 1.0));
        // a line passes through its middle, where what is read off is least uncertain
        prop_assert!(close(first.at(first.mean_x), first.mean_y, 1000.0));
        if let Some((middle, end)) = first.read_off(&[first.mean_y]).zip(first.read_off(&[first.mean_y + 1.0])) {
            prop_assert!(close(middle.x, first.mean_x, 1000.0));
            prop_assert!(middle.standard_uncertainty <= end.standard_uncertainty);
        }
    }
}

/// Decimals hold 28 figures; these means have at most six before the point.
static TINY: LazyLock<Decimal> = LazyLock::new(|| Decimal::new(1, 20));

/// Whether lowest and highest lie equally far from the mean or from their neighbours.
fn tied(values: &[Decimal]) -> bool {
    let mut sorted = values.to_vec();
    sorted.sort();
    let last = sorted.len() - 1;
    let total: Decimal = sorted.iter().sum();
    let n = Decimal::from(sorted.len());
    let mean_is_middle = (sorted[0] + sorted[last]) * n == Decimal::TWO * total;
    mean_is_middle || sorted[1] - sorted[0] == sorted[last] - sorted[last - 1]
}

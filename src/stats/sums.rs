//! Sums of doubles that lose nothing on the way.

/// The sum of the values, with what rounding takes from each addition carried along and added at the end
/// (A. Neumaier, Z. Angew. Math. Mech. 54 (1974) 39).
pub(super) fn compensated(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0);
    for value in values {
        let next = sum + value;
        lost += if sum.abs() >= value.abs() {
            (sum - next) + value
        } else {
            (value - next) + sum
        };
        sum = next;
    }
    sum + lost
}

/// The compensated sum of squares, taken from the smallest on: the order of the data changes no digit.
pub(super) fn of_squares(mut deviations: Vec<f64>) -> f64 {
    for deviation in &mut deviations {
        *deviation *= *deviation;
    }
    deviations.sort_unstable_by(f64::total_cmp);
    compensated(deviations)
}

/// The same of deviations from a middle, of values in order of size: the squares are taken from the middle outwards.
pub(super) fn of_squares_in_order(sorted: &[f64], middle: f64) -> f64 {
    let at = sorted.partition_point(|value| *value < middle);
    let (below, above) = sorted.split_at(at);
    let square = |value: &f64| (value - middle).powi(2);
    let mut below = below.iter().rev().map(square).peekable();
    let mut above = above.iter().map(square).peekable();
    compensated(std::iter::from_fn(|| match (below.peek(), above.peek()) {
        (Some(down), Some(up)) if down <= up => below.next(),
        (Some(_), None) => below.next(),
        _ => above.next(),
    }))
}

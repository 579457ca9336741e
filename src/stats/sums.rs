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

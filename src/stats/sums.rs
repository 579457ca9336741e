//! Sums of doubles that lose nothing on the way.

/// The sum of the values, with what rounding takes from each addition carried along and added at the end
/// (A. Neumaier, Z. Angew. Math. Mech. 54 (1974) 39).
pub(super) fn compensated(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut sum = Running::default();
    let mut all = 0.0;
    for value in values {
        all = sum.and(value);
    }
    all
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

/// Sums of values in order of size, and of their squares, taken from a place among them outwards: what lies far out takes
/// no digit from what lies further in.
pub(super) struct Outwards {
    /// Up to each place from the middle one, those below it counted negative.
    sums: Vec<(f64, f64)>,
}

impl Outwards {
    /// Of the deviations of sorted values from a middle.
    pub fn of(sorted: &[f64], middle: f64) -> Self {
        let at = sorted.partition_point(|x| *x < middle);
        let (below, above) = sorted.split_at(at);
        let running = |values: &mut dyn Iterator<Item = &f64>| {
            let (mut sum, mut squares) = (Running::default(), Running::default());
            let sums = values.map(|x| {
                let deviation = x - middle;
                (sum.and(deviation), squares.and(deviation * deviation))
            });
            sums.collect::<Vec<_>>()
        };
        let down = running(&mut below.iter().rev());
        let down = down.into_iter().rev();
        let up = running(&mut above.iter());
        let sums = down.map(|(sum, squares)| (-sum, -squares));
        Self {
            sums: sums.chain([(0.0, 0.0)]).chain(up).collect(),
        }
    }

    /// Of those from a place up to another, of which the first is no later.
    pub fn between(&self, from: usize, to: usize) -> (f64, f64) {
        let upto = |place: usize| self.sums.get(place).copied().unwrap_or_default();
        let ((from, squares_from), (to, squares_to)) = (upto(from), upto(to));
        (to - from, squares_to - squares_from)
    }
}

/// A sum so far, with what rounding took from it.
#[derive(Default)]
struct Running {
    sum: f64,
    lost: f64,
}

impl Running {
    /// The sum with one more.
    fn and(&mut self, value: f64) -> f64 {
        let next = self.sum + value;
        self.lost += if self.sum.abs() >= value.abs() {
            (self.sum - next) + value
        } else {
            (value - next) + self.sum
        };
        self.sum = next;
        self.sum + self.lost
    }
}

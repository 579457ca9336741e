//! A straight line by least squares and back from a reading to where it was taken, as the textbook has it in closed
//! formulae, beside which stands what a work-up finds by propagation over its steps.

/// The line y = a + b·x through points of equal weight, x without error, by ordinary least squares
/// (QUAM:2012, Appendix E.4 and example A5).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// How many points, at least three.
    pub n: usize,
    /// Slope b, in units of y per unit of x.
    pub slope: f64,
    /// Intercept a, in units of y.
    pub intercept: f64,
    /// Residual standard deviation s(y/x) = √(Σ(y − a − b·x)² / (n − 2)), in units of y.
    pub residual_s: f64,
    /// Mean of x.
    pub mean_x: f64,
    /// Mean of y.
    pub mean_y: f64,
    /// Sxx = Σ(x − x̄)².
    pub sxx: f64,
    /// Standard error of the slope, s(y/x) / √Sxx.
    pub slope_error: f64,
    /// Standard error of the intercept, s(y/x) · √(1/n + x̄²/Sxx).
    pub intercept_error: f64,
    /// Coefficient of determination; none where all y are alike.
    pub r_squared: Option<f64>,
}

/// Why there is no line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// Too few points for a scatter about the line.
    #[error("found {0} points, expected at least 3")]
    TooFew(usize),
    /// Points above one another.
    #[error("found one x for all points, expected at least two that differ")]
    OneX,
    /// Something infinite or not a number, among the points or on the way.
    #[error("found a number out of range, expected finite ones")]
    OutOfRange,
}

/// An x read off a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadOff {
    /// x₀ = (y₀ − a) / b.
    pub x: f64,
    /// Its standard uncertainty s(x₀), in the unit of x.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of that, n − 2.
    pub freedom: f64,
}

impl Line {
    /// The line through pairs of x and y.
    ///
    /// Everything is summed as deviations from the mean, compensated, with what the rounding of the mean left in the
    /// deviations taken off (Chan, Golub and LeVeque, Am. Stat. 37 (1983) 242); intercept and residuals come from one
    /// step of iterative refinement (Å. Björck, BIT 7 (1967) 257).
    ///
    /// # Errors
    /// [`LineError`] for fewer than three points, points of one x, or numbers that are not finite.
    pub fn of(points: &[(f64, f64)]) -> Result<Self, LineError> {
        if points.len() < 3 {
            return Err(LineError::TooFew(points.len()));
        }
        let n = points.len() as f64;
        let rough = |of: fn(&(f64, f64)) -> f64| compensated(points.iter().map(of)) / n;
        let (x, y) = (rough(|p| p.0), rough(|p| p.1));
        let left = |of: fn(&(f64, f64)) -> f64, mean: f64| {
            compensated(points.iter().map(|p| of(p) - mean)) / n
        };
        let (left_x, left_y) = (left(|p| p.0, x), left(|p| p.1, y));
        let (mean_x, mean_y) = (x + left_x, y + left_y);
        let from_mean: Vec<(f64, f64)> = points
            .iter()
            .map(|p| (p.0 - x - left_x, p.1 - y - left_y))
            .collect();
        let sxx = of_squares(from_mean.iter().map(|d| d.0).collect());
        let syy = of_squares(from_mean.iter().map(|d| d.1).collect());
        if !(sxx.is_finite() && syy.is_finite()) {
            return Err(LineError::OutOfRange);
        }
        // the rounding of a mean leaves an Sxx above zero even where there is but one x
        if points.iter().all(|p| p.0 == points[0].0) || sxx == 0.0 {
            return Err(LineError::OneX);
        }
        let slope = compensated(from_mean.iter().map(|d| d.0 * d.1)) / sxx;
        // what that leaves of each y, rounded once; a line through it takes the rounding of the slope off what follows
        let rest: Vec<f64> = points.iter().map(|p| (-slope).mul_add(p.0, p.1)).collect();
        let mean_rest = compensated(rest.iter().copied()) / n;
        let residuals = |tilt: f64| {
            let pairs = from_mean.iter().zip(&rest);
            pairs.map(move |(d, r)| r - mean_rest - tilt * d.0)
        };
        let steps = from_mean.iter().zip(residuals(0.0));
        let tilt = compensated(steps.map(|(d, r)| d.0 * r)) / sxx;
        let off = of_squares(residuals(tilt).collect());
        let residual_s = (off / (n - 2.0)).sqrt();
        let flat = points.iter().all(|p| p.1 == points[0].1);
        let line = Self {
            n: points.len(),
            slope,
            intercept: mean_rest - tilt * mean_x,
            residual_s,
            mean_x,
            mean_y,
            sxx,
            slope_error: residual_s / sxx.sqrt(),
            intercept_error: residual_s * (1.0 / n + mean_x * mean_x / sxx).sqrt(),
            r_squared: (!flat && syy > 0.0).then(|| (1.0 - off / syy).clamp(0.0, 1.0)),
        };
        let finite = line.slope.is_finite()
            && line.intercept.is_finite()
            && line.slope_error.is_finite()
            && line.intercept_error.is_finite();
        finite.then_some(line).ok_or(LineError::OutOfRange)
    }

    /// y on the line at an x.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.mean_y + self.slope * (x - self.mean_x)
    }

    /// Degrees of freedom of the residual standard deviation, n − 2.
    #[must_use]
    pub fn freedom(&self) -> f64 {
        self.n as f64 - 2.0
    }

    /// The x at which p readings with mean y₀ were taken, with
    /// s(x₀) = s(y/x)/b · √(1/p + 1/n + (y₀ − ȳ)² / (b²·Sxx)) (QUAM:2012, E.4 and A5).
    ///
    /// None for no readings, a reading that is not finite, or a line without slope.
    #[must_use]
    pub fn read_off(&self, readings: &[f64]) -> Option<ReadOff> {
        let p = readings.len() as f64;
        let y = compensated(readings.iter().copied()) / p;
        // from the middle of the line and not from its intercept, which cancels where the points are far from zero
        let from_mean = (y - self.mean_y) / self.slope;
        let within = 1.0 / p + 1.0 / self.n as f64 + from_mean * from_mean / self.sxx;
        let found = ReadOff {
            x: self.mean_x + from_mean,
            standard_uncertainty: (self.residual_s / self.slope).abs() * within.sqrt(),
            freedom: self.freedom(),
        };
        (found.x.is_finite() && found.standard_uncertainty.is_finite()).then_some(found)
    }
}

/// The sum of the values, with what rounding takes from each addition carried along and added at the end
/// (A. Neumaier, Z. Angew. Math. Mech. 54 (1974) 39).
fn compensated(values: impl IntoIterator<Item = f64>) -> f64 {
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
fn of_squares(mut deviations: Vec<f64>) -> f64 {
    for deviation in &mut deviations {
        *deviation *= *deviation;
    }
    deviations.sort_unstable_by(f64::total_cmp);
    compensated(deviations)
}

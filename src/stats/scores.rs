//! Scores of proficiency tests: how far a result is off, in units of what it might be off.

/// z = (x − x_pt) / σ_pt (ISO 13528:2015, 9.4): a result against the assigned value, in standard deviations for
/// proficiency assessment. All three in one unit; z has none. None unless σ_pt is above zero and all are finite.
pub fn z_score(result: f64, assigned: f64, sigma: f64) -> Option<f64> {
    let z = (result - assigned) / sigma;
    (sigma > 0.0 && z.is_finite()).then_some(z)
}

/// ζ = (x − x_pt) / √(u²(x) + u²(x_pt)) (ISO 13528:2015, 9.6): a result against the assigned value, each with its
/// standard uncertainty. All in one unit; ζ has none. None if an uncertainty is negative, both are zero, or anything is
/// not finite.
pub fn zeta_score(result: (f64, f64), assigned: (f64, f64)) -> Option<f64> {
    let ((x, u), (x_pt, u_pt)) = (result, assigned);
    // hypot does not overflow on the way
    z_score(x, x_pt, u.hypot(u_pt)).filter(|_| u >= 0.0 && u_pt >= 0.0)
}

/// What a z or ζ score is taken to mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScoreClass {
    /// Within ±2.
    Satisfactory,
    /// Further than 2, nearer than 3: a warning signal.
    Questionable,
    /// 3 or further: an action signal.
    Unsatisfactory,
}

impl ScoreClass {
    /// The class of a score (ISO 13528:2015, 9.4.2); a score that is no number is unsatisfactory.
    pub fn of(score: f64) -> Self {
        match score.abs() {
            off if off <= 2.0 => Self::Satisfactory,
            off if off < 3.0 => Self::Questionable,
            _ => Self::Unsatisfactory,
        }
    }

    /// In a word, as the standard has it.
    pub fn words(self) -> &'static str {
        match self {
            Self::Satisfactory => "satisfactory",
            Self::Questionable => "questionable",
            Self::Unsatisfactory => "unsatisfactory",
        }
    }
}

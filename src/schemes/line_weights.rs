//! The shape of a calibration line, and what its standards weigh.

use super::Faults;
use super::calibration_line::decimals;
use crate::measure::as_f64;
use crate::procedure::ProcedureFault;
use crate::text::{Section, found};
use crate::words::named;
use rust_decimal::Decimal;

/// A line, or a parabola where absorbance falls short at high concentrations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineShape {
    Straight,
    Quadratic,
}

named! { LineShape, name, from_name:
    Straight = "straight",
    Quadratic = "quadratic",
}

/// What an absorbance's variance is in proportion to; a point weighs its inverse.
#[derive(Clone, Debug, PartialEq)]
pub enum LineWeights {
    Equal,
    Concentration,
    /// One relative standard deviation throughout.
    ConcentrationSquared,
    /// The square of a standard deviation known beforehand for each standard.
    Stated(Vec<Decimal>),
}

impl LineShape {
    /// How many coefficients it has.
    pub fn terms(self) -> usize {
        match self {
            Self::Straight => 2,
            Self::Quadratic => 3,
        }
    }

    pub fn curve(self) -> &'static str {
        match self {
            Self::Straight => "line",
            Self::Quadratic => "parabola",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Self::Straight => "straight, a + b\u{b7}c",
            Self::Quadratic => "bent, a + b\u{b7}c + q\u{b7}c\u{b2}",
        }
    }
}

impl LineWeights {
    pub fn read(section: &Section) -> Option<Self> {
        let stated = section.has("standard_deviations");
        let name = section.parsed_if_any("weights", |text| match text {
            "equal" => Ok(Self::Equal),
            "1/c" => Ok(Self::Concentration),
            "1/c^2" => Ok(Self::ConcentrationSquared),
            "1/s^2" => Ok(Self::Stated(Vec::new())),
            _ => Err(found(
                text,
                "equal, 1/c, 1/c^2, or 1/s^2 beside standard_deviations known beforehand: a few replicates of the day say too little to weigh by",
            )),
        });
        match name.unwrap_or(Self::Equal) {
            Self::Stated(_) => decimals(section, "standard_deviations").map(Self::Stated),
            weights @ (Self::Equal | Self::Concentration | Self::ConcentrationSquared) => {
                if stated {
                    let what = "found some, expected them only beside weights = \"1/s^2\"";
                    section.fault("standard_deviations", what);
                }
                Some(weights)
            }
        }
    }

    pub fn check(&self, stock: &[Decimal], faults: &mut Faults) {
        let none = stock.iter().any(Decimal::is_zero);
        let (key, what) = match self {
            Self::Concentration | Self::ConcentrationSquared if none => (
                "calibration.weights",
                "found a standard of 0 mL, expected equal or 1/s^2: its weight would have no end"
                    .to_owned(),
            ),
            Self::Stated(list) if list.len() != stock.len() => (
                "calibration.standard_deviations",
                format!(
                    "found {}, expected {}, one for each standard, known beforehand and not from replicates of the day",
                    list.len(),
                    stock.len()
                ),
            ),
            Self::Stated(list) if list.iter().any(|s| *s <= Decimal::ZERO) => (
                "calibration.standard_deviations",
                "expected numbers above 0".to_owned(),
            ),
            Self::Equal | Self::Concentration | Self::ConcentrationSquared | Self::Stated(_) => {
                return;
            }
        };
        faults.push(ProcedureFault::new(key, what));
    }

    pub fn words(&self) -> &'static str {
        match self {
            Self::Equal => "all standards weighing alike",
            Self::Concentration => "weighted by 1/c, as the variance grows with the concentration",
            Self::ConcentrationSquared => {
                "weighted by 1/c\u{b2}, as one relative standard deviation holds throughout"
            }
            Self::Stated(_) => "weighted by 1/s\u{b2} of the standard deviations stated",
        }
    }

    /// Variance in proportion, of a standard with that volume of stock.
    pub fn variance(&self, index: usize, volume: Decimal) -> Option<Decimal> {
        match self {
            Self::Equal => Some(Decimal::ONE),
            Self::Concentration => Some(volume),
            Self::ConcentrationSquared => volume.checked_mul(volume),
            Self::Stated(list) => list.get(index)?.checked_mul(*list.get(index)?),
        }
    }

    /// The same where a standard would have that volume; standard deviations stated are joined by straight lines. Below the
    /// weakest standard and above the strongest it is theirs.
    pub fn variance_at(&self, stock: &[Decimal], volume: f64) -> f64 {
        let known = |index: usize, volume: Decimal| {
            let variance = self.variance(index, volume);
            variance.map(|variance| (as_f64(volume), as_f64(variance).sqrt()))
        };
        let all = stock.iter().enumerate();
        let mut known: Vec<(f64, f64)> = all.filter_map(|(n, v)| known(n, *v)).collect();
        known.sort_by(|one, other| one.0.total_cmp(&other.0));
        let (Some(first), Some(last)) = (known.first(), known.last()) else {
            return 1.0;
        };
        let volume = volume.clamp(first.0, last.0);
        let deviation = match self {
            Self::Equal => 1.0,
            Self::Concentration => volume.sqrt(),
            Self::ConcentrationSquared => volume,
            Self::Stated(_) => {
                let between = known.windows(2).find(|pair| pair[1].0 >= volume);
                between.map_or(last.1, |pair| {
                    let ((low, at_low), (high, at_high)) = (pair[0], pair[1]);
                    let way = if high > low {
                        (volume - low) / (high - low)
                    } else {
                        0.0
                    };
                    at_low + way * (at_high - at_low)
                })
            }
        };
        deviation * deviation
    }
}

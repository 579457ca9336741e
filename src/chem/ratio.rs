//! Exact ratios of whole numbers.

use std::fmt;

use num_rational::Ratio as Rational;
use num_traits::{CheckedAdd, CheckedMul};
use rust_decimal::Decimal;

/// An exact ratio of whole numbers.
///
/// Coefficients are at most 9999, so sums over a reaction stay exact; a chain long enough to overflow saturates at
/// [`Ratio::BROKEN`], which equals nothing and is refused wherever a ratio is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ratio(Rational<i128>);

impl Ratio {
    /// 0
    pub const ZERO: Self = Self(Rational::new_raw(0, 1));
    /// 1
    pub const ONE: Self = Self(Rational::new_raw(1, 1));
    /// What an overflow leaves behind: negative, so never accepted as an amount.
    pub const BROKEN: Self = Self(Rational::new_raw(i128::MIN, 1));

    pub fn whole(number: i64) -> Self {
        Self(Rational::from_integer(i128::from(number)))
    }

    /// `top / bottom`; a zero `bottom` gives [`Ratio::BROKEN`].
    pub fn fraction(top: i64, bottom: i64) -> Self {
        if bottom == 0 {
            Self::BROKEN
        } else {
            Self(Rational::new(i128::from(top), i128::from(bottom)))
        }
    }

    pub fn plus(self, other: Self) -> Self {
        self.0.checked_add(&other.0).map_or(Self::BROKEN, Self)
    }

    pub fn times(self, other: Self) -> Self {
        self.0.checked_mul(&other.0).map_or(Self::BROKEN, Self)
    }

    /// Quotient; by zero [`Ratio::BROKEN`].
    pub fn over(self, other: Self) -> Self {
        if *other.0.numer() == 0 {
            Self::BROKEN
        } else {
            self.times(Self(other.0.recip()))
        }
    }

    pub fn negated(self) -> Self {
        self.times(Self::whole(-1))
    }

    pub fn is_positive(&self) -> bool {
        *self.0.numer() > 0
    }

    /// Numerator and denominator as decimals, so that a division rounds once, at the end.
    pub fn parts(&self) -> (Decimal, Decimal) {
        let decimal = |n: &i128| Decimal::try_from_i128_with_scale(*n, 0).unwrap_or(Decimal::ZERO);
        (decimal(self.0.numer()), decimal(self.0.denom()))
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

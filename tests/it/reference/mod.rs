//! Checks against figures published elsewhere. Each names its source.

mod balancing;
mod comparisons;
mod complexation;
mod coverage;
pub mod crosscheck;
mod glassware;
mod preparations;
mod readings;
mod rounding;
mod statistics;
mod uncertainty;
mod water;
mod weights;
mod worked;

use std::str::FromStr;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

pub fn dec(text: &str) -> Decimal {
    Decimal::from_str(text).expect("a decimal of the test")
}

pub fn f(value: Decimal) -> f64 {
    value.to_f64().expect("a decimal in range")
}

#[track_caller]
pub fn near(found: f64, expected: f64, relative: f64, what: &str) {
    let off = (found - expected).abs() / expected.abs();
    assert!(
        off <= relative,
        "{what}: found {found}, expected {expected}, {off:e} apart"
    );
}

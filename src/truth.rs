//! Assigned values: titrant lots, and unknowns whose value is a secret.

use std::fmt;

use rust_decimal::Decimal;

/// A secret. It prints as `[sealed]`, cannot be serialised, and is opened only by name, so that every place a true
/// value leaves this type can be found by searching for [`Sealed::open`].
#[derive(Clone, PartialEq)]
pub struct Sealed<T>(T);

impl<T> Sealed<T> {
    /// Seals a value.
    #[must_use]
    pub fn new(value: T) -> Self {
        Self(value)
    }

    /// The value itself: for marking, for staff pages, for the coordinator's files. Never for a student's page before
    /// release, a log or an error.
    #[must_use]
    pub fn open(&self) -> &T {
        &self.0
    }
}

impl<T> fmt::Debug for Sealed<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("[sealed]")
    }
}

/// A value with its standard uncertainty, in one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Assigned {
    /// The value.
    pub value: Decimal,
    /// Its standard uncertainty, not negative.
    pub standard_uncertainty: Decimal,
}

impl Assigned {
    /// A value above zero with an uncertainty of at least zero.
    ///
    /// # Errors
    /// The column at fault with what was found and what was expected.
    pub fn new(
        value: Decimal,
        standard_uncertainty: Decimal,
    ) -> Result<Self, (&'static str, String)> {
        if value <= Decimal::ZERO {
            return Err(("value", format!("found {value}, expected a number above 0")));
        }
        if standard_uncertainty < Decimal::ZERO {
            return Err((
                "uncertainty",
                format!("found {standard_uncertainty}, expected 0 or more"),
            ));
        }
        Ok(Self {
            value,
            standard_uncertainty,
        })
    }
}

/// A bottle of reagent made in one go.
#[derive(Clone, Debug, PartialEq)]
pub struct Lot {
    /// The code on the bottle.
    pub code: String,
    /// What it holds, as the prep room writes it.
    pub reagent: String,
    /// mol/L.
    pub molarity: Assigned,
    /// Which version of the value this is, from 1.
    pub version: u32,
}

/// A bottle a student is given.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    /// The code on the bottle.
    pub code: String,
    /// In the experiment's result unit.
    pub truth: Sealed<Assigned>,
    /// Which version of the value this is, from 1.
    pub version: u32,
}

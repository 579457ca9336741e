//! Assigned values: titrant lots, and unknowns whose value is a secret.

use std::fmt;

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::measure::{plain, to_decimals, to_figures};

/// A secret. It prints as `[sealed]`, is serialised only where [`in_the_journal`] is named, and is opened only by name, so
/// that every place a true value leaves this type can be found by searching for [`Sealed::open`].
#[derive(Clone, PartialEq)]
pub struct Sealed<T>(T);

impl<T> Sealed<T> {
    pub fn new(value: T) -> Self {
        Self(value)
    }

    /// The value itself: for marking, for staff pages, for the coordinator's files. Never for a student's page before
    /// release, a log or an error.
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
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Unchecked")]
pub struct Assigned {
    pub value: Decimal,
    /// Its standard uncertainty, not negative.
    pub standard_uncertainty: Decimal,
}

impl Lot {
    /// Stands in for a lot with the molarity that its label states, taken as exact.
    pub fn nominal(molarity: Decimal) -> Self {
        Self {
            code: LotCode::new("nominal"),
            reagent: String::new(),
            molarity: Assigned {
                value: molarity,
                standard_uncertainty: Decimal::ZERO,
            },
            version: 1,
            standardised: None,
        }
    }
}

#[derive(Deserialize)]
struct Unchecked {
    value: Decimal,
    standard_uncertainty: Decimal,
}

impl TryFrom<Unchecked> for Assigned {
    type Error = String;

    fn try_from(read: Unchecked) -> Result<Self, String> {
        let checked = Self::new(read.value, read.standard_uncertainty);
        checked.map_err(|(what, why)| format!("{what}: {why}"))
    }
}

impl Assigned {
    /// A value above zero with an uncertainty of at least zero.
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

impl Assigned {
    /// The value to the last digit that its uncertainty to two figures has, and that uncertainty.
    pub fn rounded(&self) -> (String, String) {
        let u = self.standard_uncertainty;
        if u.is_zero() {
            return (plain(to_figures(self.value, 6)), "0".to_owned());
        }
        let u = to_figures(u, 2);
        let value = to_decimals(self.value, u.scale());
        (value.to_string(), u.to_string())
    }
}

/// The one way a true value is written down by itself: in the journal of the course, which nobody but its staff can read.
pub mod in_the_journal {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use super::{Assigned, Sealed};

    pub fn serialize<S: Serializer>(
        truth: &Sealed<Assigned>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        truth.open().serialize(serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Sealed<Assigned>, D::Error> {
        Assigned::deserialize(deserializer).map(Sealed::new)
    }
}

/// A bottle of reagent made in one go.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lot {
    /// The code on the bottle.
    pub code: LotCode,
    /// What it holds, as the prep room writes it.
    pub reagent: String,
    /// mol/L.
    pub molarity: Assigned,
    /// Which version of the value this is, from 1.
    pub version: u32,
    /// Of a titrant carried over from an earlier experiment: whose key its code is then. None for a bottle of the prep room.
    #[serde(skip)]
    pub standardised: Option<Standardised>,
}

/// How a molarity was found by those who titrate with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standardised {
    /// Of its standard uncertainty; infinite where nothing of it is estimated from data.
    pub degrees_of_freedom: f64,
}

/// A bottle a student is given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unknown {
    /// The code on the bottle.
    pub code: UnknownCode,
    /// In the experiment's result unit.
    #[serde(with = "in_the_journal")]
    pub truth: Sealed<Assigned>,
    /// Which version of the value this is, from 1.
    pub version: u32,
}

/// Something on the prep room's shelf.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bottle {
    /// The lot of that code.
    Lot(LotCode),
    Unknown {
        /// Key of its experiment.
        experiment: ExperimentKey,
        code: UnknownCode,
    },
}

/// When something was made and until when it keeps, as far as the prep room says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShelfLife {
    /// Day it was made.
    pub made: Option<Date>,
    /// Last day on which it should be used.
    pub expires: Option<Date>,
}

/// How something keeps, on some day. Nothing is marked otherwise for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeping {
    Good,
    /// It expires within [`WARNED_DAYS`]: in so many days.
    Soon(i32),
    /// It expired so many days ago.
    Expired(i32),
}

/// From how many days before something expires people are warned.
pub const WARNED_DAYS: i32 = 14;

impl Bottle {
    /// An unknown of an experiment.
    pub fn unknown(experiment: &ExperimentKey, code: &UnknownCode) -> Self {
        Self::Unknown {
            experiment: experiment.clone(),
            code: code.clone(),
        }
    }
}

impl ShelfLife {
    /// Whether nothing is said.
    pub fn is_empty(self) -> bool {
        self == Self::default()
    }

    /// How it keeps on a day.
    pub fn keeping(self, today: Date) -> Keeping {
        let Some(expires) = self.expires else {
            return Keeping::Good;
        };
        // between days of four-digit years there is always a number of days
        let left = today.until(expires).map_or(0, |span| span.get_days());
        match left {
            left if left < 0 => Keeping::Expired(left.saturating_neg()),
            left if left <= WARNED_DAYS => Keeping::Soon(left),
            _ => Keeping::Good,
        }
    }
}

impl Keeping {
    /// In words; none where there is nothing to say.
    pub fn words(self) -> Option<String> {
        match self {
            Self::Good => None,
            Self::Soon(0) => Some("expires today".into()),
            Self::Soon(1) => Some("expires tomorrow".into()),
            Self::Soon(days) => Some(format!("expires in {days} days")),
            Self::Expired(1) => Some("expired yesterday".into()),
            Self::Expired(days) => Some(format!("expired {days} days ago")),
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::{Keeping, ShelfLife};

    #[test]
    fn warnings_start_two_weeks_before_and_do_not_end() {
        let on = |expires| ShelfLife {
            made: None,
            expires: Some(expires),
        };
        let today = date(2026, 11, 25);
        let words = |expires| on(expires).keeping(today).words().unwrap_or_default();
        assert_eq!(words(date(2026, 12, 10)), "");
        assert_eq!(words(date(2026, 12, 9)), "expires in 14 days");
        assert_eq!(words(date(2026, 11, 25)), "expires today");
        assert_eq!(words(date(2026, 11, 24)), "expired yesterday");
        assert_eq!(words(date(2025, 11, 25)), "expired 365 days ago");
        assert_eq!(ShelfLife::default().keeping(today), Keeping::Good);
    }
}

//! Uncertainty components: what makes a step uncertain of itself. Two errors are one where cause, rows and scope are the
//! same.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;

use super::quantity::Of;
use super::role::Role;
use crate::ids::LotCode;

/// An uncertainty component of a step.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    pub cause: Cause,
    pub rows: Rows,
    pub scope: Scope,
    /// Standard uncertainty in the step's unit.
    pub standard: f64,
    /// Infinite where the standard uncertainty is not an estimate from data. Components of one cause with finite degrees
    /// of freedom share one estimate.
    pub degrees_of_freedom: f64,
}

/// What an error comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cause {
    BuretteReading,
    /// What deliveries of one burette share.
    BuretteCalibration,
    /// What each delivery has of its own.
    BuretteDelivery,
    Endpoint,
    /// By how much a person calls the endpoint too early or too late, every time.
    EndpointBias,
    BalanceDisplay,
    BalanceLinearity(Load),
    /// A graduated piece that measures the sample.
    SampleReading,
    SampleCalibration,
    /// The mark of the piece that holds a volume of that role.
    Mark(Role),
    /// A burette that delivers a volume of that role in a preparation.
    Calibration(Role),
    Reading(Role),
    /// Of a piece of that role to its mark, in a preparation.
    Filling(Role),
    /// The weighings that give a mass of that role in a preparation.
    Weighing(Role),
    Temperature,
    Repeatability,
    LotMolarity(LotCode),
    /// A molarity carried over from the experiment of that key.
    Standardisation(LotCode),
    /// Of an element, by its symbol.
    AtomicWeight(&'static str),
    /// Scatter about a line of one row, which is an estimate of its own.
    Fit(&'static str, Of),
    /// What only one scheme or preparation has.
    Own(&'static str),
}

/// What is on the balance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Load {
    Sample,
    Before,
    After,
    Full,
    Empty,
    Water,
}

/// Rows whose errors of one cause are others than those of other rows: were a blank's errors the trials', taking it off
/// would take theirs off too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rows {
    Trials,
    Blanks,
    Standards,
}

/// Whether an error is the same in all trials or drawn anew in each.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Scope {
    /// The same error wherever its cause stands: it does not average out.
    Shared,
    /// A new error at every step it stands at, and those steps are shared by all trials: a blank's reading, the standards
    /// of a line.
    Common,
    /// A new error every time it stands somewhere: it averages out.
    Each,
}

impl Component {
    pub fn shared(cause: impl Into<Cause>, standard: f64) -> Self {
        Self {
            cause: cause.into(),
            rows: Rows::Trials,
            scope: Scope::Shared,
            standard,
            degrees_of_freedom: f64::INFINITY,
        }
    }

    /// One error in all rows of that kind.
    pub fn shared_by(cause: impl Into<Cause>, standard: f64, of: Of) -> Self {
        Self {
            rows: Rows::of(of),
            ..Self::shared(cause, standard)
        }
    }

    /// An error that is drawn anew at each step: those of blanks and standards are shared by every trial.
    pub fn each(cause: impl Into<Cause>, standard: f64, of: Of) -> Self {
        let rows = Rows::of(of);
        let scope = match rows {
            Rows::Trials => Scope::Each,
            Rows::Blanks | Rows::Standards => Scope::Common,
        };
        Self {
            rows,
            scope,
            ..Self::shared(cause, standard)
        }
    }

    /// The same, estimated from data.
    pub fn estimated(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = degrees_of_freedom;
        self
    }

    pub(super) fn is_same_error(&self, other: &Self) -> bool {
        self.scope == other.scope && self.rows == other.rows && self.cause == other.cause
    }
}

impl Rows {
    fn of(of: Of) -> Self {
        match of {
            Of::All | Of::Trial(_) | Of::Rough => Self::Trials,
            Of::Blank(_) => Self::Blanks,
            Of::Standard(_) => Self::Standards,
        }
    }
}

impl From<&'static str> for Cause {
    fn from(words: &'static str) -> Self {
        Self::Own(words)
    }
}

/// As a budget calls it.
impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = |role: &Role| role.written().before;
        match self {
            Self::BuretteReading => f.write_str("burette reading"),
            Self::BuretteCalibration => f.write_str("burette calibration"),
            Self::BuretteDelivery => f.write_str("burette calibration, each delivery"),
            Self::EndpointBias => f.write_str("endpoint, the same in every titration"),
            Self::Endpoint => f.write_str("endpoint"),
            Self::BalanceDisplay => f.write_str("balance display"),
            Self::BalanceLinearity(load) => {
                f.write_str("balance linearity")?;
                f.write_str(match load {
                    Load::Sample => "",
                    Load::Before => ", before",
                    Load::After => ", after",
                    Load::Full => ", full",
                    Load::Empty => ", empty",
                    Load::Water => ", water",
                })
            }
            Self::SampleReading => f.write_str("sample volume reading"),
            Self::SampleCalibration => f.write_str("sample glassware calibration"),
            Self::Mark(role) | Self::Calibration(role) => write!(f, "calibration, {}", words(role)),
            Self::Reading(role) => write!(f, "reading, {}", words(role)),
            Self::Filling(role) => write!(f, "filling, {}", words(role)),
            Self::Weighing(role) => write!(f, "weighing, {}", words(role)),
            Self::Temperature => f.write_str("temperature"),
            Self::Repeatability => f.write_str("repeatability"),
            Self::LotMolarity(code) => write!(f, "molarity of lot {code}"),
            Self::Standardisation(key) => write!(f, "molarity found in {key}"),
            Self::AtomicWeight(symbol) => write!(f, "atomic weight of {symbol}"),
            Self::Fit(words, of) => write!(f, "{words}, {of}"),
            Self::Own(words) => f.write_str(words),
        }
    }
}

impl fmt::Display for Rows {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Trials => "",
            Self::Blanks => ", blank",
            Self::Standards => ", standards",
        })
    }
}

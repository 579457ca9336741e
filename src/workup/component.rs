//! Uncertainty components: what makes a step uncertain of itself. Two errors are one where cause, rows and scope are the
//! same.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;

use super::quantity::Of;
use super::role::Role;
use crate::ids::LotCode;
use crate::language::{Message, message};

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
    /// Scatter about a line of one row, which is an estimate of its own; with the key of its words.
    Fit(&'static str, Of),
    /// What only one scheme or preparation has, by the key of its words.
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

impl Cause {
    /// As a budget calls it.
    pub fn words(&self) -> Message {
        let of =
            |key: &'static str, role: &Role| Message::new(key).with("role", role.written().words);
        match self {
            Self::BuretteReading => message!("cause.burette-reading"),
            Self::BuretteCalibration => message!("cause.burette-calibration"),
            Self::BuretteDelivery => message!("cause.burette-delivery"),
            Self::Endpoint => message!("cause.endpoint"),
            Self::EndpointBias => message!("cause.endpoint-bias"),
            Self::BalanceDisplay => message!("cause.balance-display"),
            Self::BalanceLinearity(load) => Message::new(match load {
                Load::Sample => "cause.balance-linearity",
                Load::Before => "cause.balance-linearity-before",
                Load::After => "cause.balance-linearity-after",
                Load::Full => "cause.balance-linearity-full",
                Load::Empty => "cause.balance-linearity-empty",
                Load::Water => "cause.balance-linearity-water",
            }),
            Self::SampleReading => message!("cause.sample-reading"),
            Self::SampleCalibration => message!("cause.sample-calibration"),
            Self::Mark(role) | Self::Calibration(role) => of("cause.calibration", role),
            Self::Reading(role) => of("cause.reading", role),
            Self::Filling(role) => of("cause.filling", role),
            Self::Weighing(role) => of("cause.weighing", role),
            Self::Temperature => message!("cause.temperature"),
            Self::Repeatability => message!("cause.repeatability"),
            Self::LotMolarity(code) => message!("cause.lot", code = code.to_string()),
            Self::Standardisation(key) => message!("cause.standardisation", key = key.to_string()),
            Self::AtomicWeight(symbol) => message!("cause.atomic-weight", symbol = *symbol),
            Self::Fit(key, of) => of.after(key),
            Self::Own(key) => Message::new(*key),
        }
    }
}

/// In English.
impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.words().fmt(f)
    }
}

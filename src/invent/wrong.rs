//! What can be wrong with a rehearsed class.

use crate::judge::{AuditKind, GroupName};

/// What is wrong with a class, in percent of what is assigned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wrong {
    Nothing,
    /// The lot of that number holds so much more than its label says.
    Lot(usize, f64),
    /// The lot of excess reagent of that number holds so much more than its label says.
    Excess(usize, f64),
    /// The bottle of that number holds so much more than its label says.
    Unknown(usize, f64),
    /// The section of that number titrates so many mL too far.
    Section(usize, f64),
    /// A lot and a bottle.
    Both([(usize, f64); 2]),
}

impl Wrong {
    /// Percent by which what is in that bottle is more than it should be.
    pub(super) fn with(self, name: &GroupName) -> f64 {
        let is = |kind: AuditKind, letter: &str, number: usize| {
            *name == GroupName::new(kind, format!("{letter}{number}"))
        };
        let lot = |(number, percent)| {
            if is(AuditKind::Lot, "L", number) {
                percent
            } else {
                0.0
            }
        };
        let bottle = |(number, percent)| {
            if is(AuditKind::Unknown, "U", number) {
                percent
            } else {
                0.0
            }
        };
        match self {
            Self::Nothing | Self::Section(..) => 0.0,
            Self::Lot(number, percent) => lot((number, percent)),
            Self::Excess(number, percent) if is(AuditKind::ExcessLot, "X", number) => percent,
            Self::Excess(..) => 0.0,
            Self::Unknown(number, percent) => bottle((number, percent)),
            Self::Both([wrong_lot, wrong_bottle]) => lot(wrong_lot) + bottle(wrong_bottle),
        }
    }
}

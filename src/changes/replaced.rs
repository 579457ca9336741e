//! What people are told of a change: what it puts in place of what, and what became of a submission by it.

use jiff::Timestamp;

use crate::ids::UnknownCode;
use crate::term::Term;
use crate::truth::{Assigned, Bottle};

/// One value, before and after, each with its uncertainty.
pub struct Replaced {
    pub name: String,
    pub unit: &'static str,
    pub before: Option<(String, String)>,
    pub after: (String, String),
    /// The unknown whose value it is.
    pub unknown: Option<UnknownCode>,
}

/// A value that a change gives to a bottle.
pub struct GivenValue<'c> {
    pub bottle: Bottle,
    /// From 1: above, it replaces another.
    pub version: u32,
    pub source: Option<&'c String>,
}

/// Something that became of a submission.
pub struct SlotEvent {
    /// None if the files do not say when.
    pub at: Option<Timestamp>,
    pub what: String,
    /// Login of who did it; none: the student.
    pub by: Option<String>,
    /// Why; empty if nothing was said.
    pub why: String,
}

impl Replaced {
    /// Without a value: what it is of, before and after.
    pub fn plain(
        name: impl Into<String>,
        unit: &'static str,
        before: impl Into<String>,
        after: impl Into<String>,
    ) -> Self {
        Self {
            name: name.into(),
            unit,
            before: Some((before.into(), String::new())),
            after: (after.into(), String::new()),
            unknown: None,
        }
    }
}

/// Of a kind that puts nothing in the place of something.
pub(super) fn nothing<K>(_: &K, _: &Term) -> Vec<Replaced> {
    Vec::new()
}

/// What was typed stays as it was typed; what was computed is shown to the digits that mean something.
pub(super) fn written(value: &Assigned, source: Option<&String>) -> (String, String) {
    match source {
        Some(_) => value.rounded(),
        None => (
            value.value.to_string(),
            value.standard_uncertainty.to_string(),
        ),
    }
}

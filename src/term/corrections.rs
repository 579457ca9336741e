//! Corrected values as their students hear of them: that a value was corrected and what became of their points, and not
//! what the value is.
#![deny(clippy::wildcard_enum_match_arm)]

use jiff::Timestamp;
use rust_decimal::Decimal;

use super::Judged;
use crate::ids::LotCode;
use crate::judge::{Evaluation, UsedValue};

/// A corrected value that a submission rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Correction {
    pub at: Timestamp,
    pub of: Vec<Corrected>,
    pub before: Decimal,
    pub after: Decimal,
}

/// What has another value than before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Corrected {
    /// The bottle the submission is marked against.
    Bottle,
    /// A lot, by its code.
    Lot(LotCode),
    /// What was found for the titrant in an earlier experiment.
    Standardisation,
    /// Standards read in an earlier experiment.
    Line,
}

/// The corrections among the judgements of one submission, in order of time, that came after `since`.
pub fn corrections(history: &[(Timestamp, Option<Judged>)], since: Timestamp) -> Vec<Correction> {
    let mut found = Vec::new();
    let mut last: Option<&Evaluation> = None;
    for (at, judged) in history {
        let Some(judged) = judged else { continue };
        let now = &judged.evaluation;
        if let Some(before) = last.filter(|_| *at > since) {
            let of = corrected(before, now);
            if !of.is_empty() {
                found.push(Correction {
                    at: *at,
                    of,
                    before: before.marks.total,
                    after: now.marks.total,
                });
            }
        }
        last = Some(now);
    }
    found
}

/// Values that both judgements rest on, in different versions.
fn corrected(before: &Evaluation, after: &Evaluation) -> Vec<Corrected> {
    let mut of = Vec::new();
    for used in &after.versions {
        let old = before.versions.iter().find(|old| old.value == used.value);
        if old.is_none_or(|old| old.version == used.version) {
            continue;
        }
        of.push(match &used.value {
            UsedValue::TitrantLot(code) | UsedValue::ExcessLot(code) => {
                Corrected::Lot(code.clone())
            }
            UsedValue::Standardisation(_) => Corrected::Standardisation,
            UsedValue::Line(_) => Corrected::Line,
            UsedValue::Unknown(_) => Corrected::Bottle,
        });
    }
    of
}

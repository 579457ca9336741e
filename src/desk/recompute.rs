//! Judges everything anew and compares with what is stored.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::Timestamp;

use super::{Desk, FileTexts};
use crate::changes::{Made, Recomputed};
use crate::judge::RULES;
use crate::store::{StoreError, Stored, Writing, load_stored, write_changes};
use crate::term::{Judged, Slot};

/// A stored judgement that is not what judging now gives.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    pub slot: Slot,
    /// As stored; none if none is.
    pub stored: Option<Judged>,
    /// As judged now; none if nothing is handed in.
    pub fresh: Option<Judged>,
    /// Whether it was judged by the rules of this program, so that nothing should differ.
    pub same_rules: bool,
}

/// Every stored judgement that is not what judging now gives, read from the disk and not from the image. Changes
/// nothing.
pub async fn verify(desk: &Desk) -> Result<(usize, Vec<Difference>), StoreError> {
    let stored = load_stored(&mut *desk.store().read().await?, &FileTexts).await?;
    Ok(compare(stored))
}

/// Judges everything anew and stores what differs. Returns how many were judged and what differed.
pub async fn recompute(desk: &Desk, at: Timestamp) -> Result<(usize, Vec<Difference>), StoreError> {
    let mut transaction = desk.store().write().await?;
    let stored = load_stored(&mut transaction, &FileTexts).await?;
    let made = Made {
        seq: stored.newest.saturating_add(1),
        at,
        by: "command line".to_owned(),
    };
    let (count, differences) = compare(stored);
    if differences.is_empty() {
        transaction.abandon().await?;
        return Ok((count, differences));
    }
    let fresh = differences
        .iter()
        .map(|d| (d.slot.clone(), d.fresh.clone()));
    let writing = Writing {
        changes: vec![Recomputed {}.into()],
        made: vec![made],
        judged: fresh.collect(),
    };
    write_changes(&mut transaction, &Arc::new(writing)).await?;
    transaction.commit().await?;
    Ok((count, differences))
}

fn compare(stored: Stored) -> (usize, Vec<Difference>) {
    let (term, rules, mut stored) = (stored.term, stored.rules, stored.judged);
    let mut fresh: BTreeMap<Slot, Judged> = term.judge_all().into_iter().collect();
    let count = fresh.len();
    let slots: BTreeSet<Slot> = stored.keys().chain(fresh.keys()).cloned().collect();
    let differing = slots
        .into_iter()
        .filter(|slot| stored.get(slot) != fresh.get(slot))
        .collect::<Vec<_>>();
    let difference = |slot: Slot| {
        let (stored, fresh) = (stored.remove(&slot), fresh.remove(&slot));
        Difference {
            same_rules: rules
                .get(&slot)
                .is_none_or(|rules| *rules == i64::from(RULES)),
            slot,
            stored,
            fresh,
        }
    };
    (count, differing.into_iter().map(difference).collect())
}

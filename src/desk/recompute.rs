//! Judges everything anew and compares with what is stored.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::{Desk, FileTexts};
use crate::store::{StoreError, load_judged, load_term, save_judged};
use crate::term::{Judged, Slot};

/// A stored judgement that is not what judging now gives.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Whose, for what.
    pub slot: Slot,
    /// As stored; none if none is.
    pub stored: Option<Judged>,
    /// As judged now; none if nothing is handed in.
    pub fresh: Option<Judged>,
}

/// Every stored judgement that is not what judging now gives, read from the disk and not from the image. Changes
/// nothing.
///
/// # Errors
/// [`StoreError`] if the database cannot be read.
pub async fn verify(desk: &Desk) -> Result<(usize, Vec<Difference>), StoreError> {
    let mut reader = desk.store().read().await?;
    let term = load_term(&mut reader, &FileTexts).await?;
    let mut stored = load_judged(&mut reader).await?;
    drop(reader);
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
            slot,
            stored,
            fresh,
        }
    };
    Ok((count, differing.into_iter().map(difference).collect()))
}

/// Judges everything anew and stores what differs. Returns how many were judged and what differed.
///
/// # Errors
/// [`StoreError`] if it is not on disk; then nothing changed.
pub async fn recompute(desk: &Desk, at: Timestamp) -> Result<(usize, Vec<Difference>), StoreError> {
    let (count, differences) = verify(desk).await?;
    let fresh: BTreeMap<Slot, Judged> = differences
        .iter()
        .filter_map(|d| Some((d.slot.clone(), d.fresh.clone()?)))
        .collect();
    let mut transaction = desk.store().write().await?;
    save_judged(&mut transaction, &fresh, at).await?;
    transaction.commit().await?;
    let image = Desk::load(desk.store()).await?;
    *desk.image.write().await = image;
    Ok((count, differences))
}

//! Drafts of the bench form: kept for the student, shown on the assistant's board, handed in by nobody.

use jiff::Timestamp;

use super::Desk;
use crate::store::{BenchDraft, StoreError, draft_of, keep_draft};
use crate::term::Slot;

/// A bench form as it was sent, to be kept.
#[derive(Clone, Debug)]
pub struct TypedAtBench {
    /// Key of the form.
    pub form: String,
    /// The draft the form was filled with, by when it was kept, in milliseconds.
    pub from: Option<i64>,
    pub fields: Vec<(String, String)>,
    /// Whether the student raises a hand or takes it down.
    pub hand: Option<bool>,
}

/// What became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DraftKept {
    /// It is on disk.
    Kept(BenchDraft),
    /// Another form has gone on since: nothing was changed.
    Elsewhere,
}

/// Keeps what is typed, if it goes on from what is kept. When this returns, it is on disk.
pub async fn keep_typed(
    desk: &Desk,
    slot: &Slot,
    typed: TypedAtBench,
    at: Timestamp,
) -> Result<DraftKept, StoreError> {
    let held = draft_of(&mut *desk.store().read().await?, slot).await?;
    if let Some(kept) = unchanged(held.as_ref(), &typed) {
        return Ok(kept);
    }
    let mut transaction = desk.store().write().await?;
    let held = draft_of(&mut transaction, slot).await?;
    if let Some(kept) = unchanged(held.as_ref(), &typed) {
        transaction.abandon().await?;
        return Ok(kept);
    }
    let hand_at = match typed.hand {
        None => held.and_then(|held| held.hand_at),
        Some(false) => None,
        Some(true) => held.and_then(|held| held.hand_at).or(Some(at)),
    };
    let draft = BenchDraft {
        at,
        form: typed.form,
        fields: typed.fields,
        hand_at,
    };
    keep_draft(&mut transaction, slot, &draft).await?;
    transaction.commit().await?;
    Ok(DraftKept::Kept(draft))
}

/// What is said where nothing is to be written.
fn unchanged(held: Option<&BenchDraft>, typed: &TypedAtBench) -> Option<DraftKept> {
    let held = held?;
    let goes_on = held.form == typed.form || typed.from == Some(held.at.as_millisecond());
    if !goes_on {
        return Some(DraftKept::Elsewhere);
    }
    let same_hand = typed.hand.is_none_or(|up| up == held.hand_at.is_some());
    let same = same_hand && held.form == typed.form && held.fields == typed.fields;
    same.then(|| DraftKept::Kept(held.clone()))
}

/// Takes a student's hand down, once somebody has come.
pub async fn take_hand_down(desk: &Desk, slot: &Slot) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    match draft_of(&mut transaction, slot).await? {
        Some(draft) if draft.hand_at.is_some() => {
            let draft = BenchDraft {
                hand_at: None,
                ..draft
            };
            keep_draft(&mut transaction, slot, &draft).await?;
            transaction.commit().await
        }
        _ => transaction.abandon().await,
    }
}

//! Staff hand in for a student what was kept at the bench.

use jiff::Timestamp;

use super::Desk;
use crate::changes::{Change, HandInMade, HandedIn};
use crate::store::StoreError;
use crate::submission::HandIn;
use crate::term::{Revision, Slot};

/// What is handed in for somebody.
#[derive(Clone, Debug)]
pub struct OnBehalf {
    pub slot: Slot,
    pub hand_in: HandIn,
    /// When it was kept: the student is no later than that.
    pub kept_at: Timestamp,
    /// The same as people say it.
    pub kept_words: String,
    /// Why; the student reads it.
    pub note: String,
}

#[derive(Debug, thiserror::Error)]
pub enum OnBehalfError {
    #[error("the student has handed in meanwhile; nothing was changed")]
    HandedIn,
    #[error("the results are released; withdraw them before anything more is handed in")]
    Released,
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Hands it in as the student's first version, with who did it and why in the record.
pub async fn hand_in_for(
    desk: &Desk,
    request: OnBehalf,
    (login, at): (&str, Timestamp),
) -> Result<(), OnBehalfError> {
    let OnBehalf {
        slot,
        hand_in,
        kept_at,
        kept_words,
        note,
    } = request;
    let reason = format!(
        "handed in by {login} from what was kept at the bench at {kept_words}: {}",
        note.trim()
    );
    desk.apply_if(login, at, |image| {
        let image = image.ok_or(StoreError::NoCourse)?;
        if image.term.handed_in_by(&slot).is_some() {
            return Err(OnBehalfError::HandedIn);
        }
        if image.is_released_to(&slot) {
            return Err(OnBehalfError::Released);
        }
        let revision = Revision {
            hand_in: hand_in.into(),
            submitted_at: Some(kept_at),
            reason,
            receipt: None,
        };
        Ok(vec![Change::HandIn(HandInMade {
            slot,
            body: HandedIn {
                revision,
                key: None,
            },
        })])
    })
    .await?;
    Ok(())
}

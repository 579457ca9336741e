//! The keys by which this server shows a platform that it is itself.

use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::{Doing, KeptKey, note};
use crate::campus::{OwnKey, PublicKey, key_set};
use crate::desk::Desk;
use crate::store::StoreError;

/// For so long the public part of a key that signs no more is shown: platforms keep for a while what they fetched, and what
/// was signed last holds for some minutes.
pub const OLD_KEY_SHOWN: SignedDuration = SignedDuration::from_hours(7 * 24);

/// The key that signs; made if there is none.
pub async fn signing_key(desk: &Desk, at: Timestamp) -> Result<Arc<OwnKey>, StoreError> {
    let held = desk.store().read().await?.keys().signing().await?;
    if let Some(held) = held {
        return read(&held);
    }
    let (made, secret) = make().await?;
    let mut transaction = desk.store().write().await?;
    // somebody else may have made one in between
    if let Some(held) = transaction.keys().signing().await? {
        transaction.abandon().await?;
        return read(&held);
    }
    let kept = (made.public(), secret.as_str());
    transaction.keys().keep(kept, at, oldest(at)).await?;
    transaction.commit().await?;
    Ok(Arc::new(made))
}

/// Makes a new key that signs from now on, and writes that down. The one before is shown a while longer.
pub async fn make_key(desk: &Desk, doing: &Doing) -> Result<(), StoreError> {
    let (made, secret) = make().await?;
    let mut transaction = desk.store().write().await?;
    let kept = (made.public(), secret.as_str());
    let at = doing.at;
    transaction.keys().keep(kept, at, oldest(at)).await?;
    let subject = format!("a new key for platforms, {}", made.public().kid);
    note(transaction, &subject, doing).await
}

/// The keys that are shown, the newest first, and the same as they are published.
pub async fn published(desk: &Desk, at: Timestamp) -> Result<(Vec<KeptKey>, String), StoreError> {
    let mut keys = desk.store().read().await?.keys().all().await?;
    keys.retain(|key| key.retired_at.is_none_or(|retired| retired > oldest(at)));
    let public: Vec<PublicKey> = keys.iter().map(|key| key.public.clone()).collect();
    Ok((keys, key_set(&public)))
}

fn oldest(at: Timestamp) -> Timestamp {
    at.checked_sub(OLD_KEY_SHOWN).unwrap_or(Timestamp::MIN)
}

fn read(kept: &str) -> Result<Arc<OwnKey>, StoreError> {
    let read = OwnKey::read(kept);
    read.map(Arc::new)
        .map_err(|why| StoreError::damaged("lti_key.private", why))
}

/// Looks for large primes, on a thread that serves no pages.
async fn make() -> Result<(OwnKey, String), StoreError> {
    let made = tokio::task::spawn_blocking(OwnKey::make);
    let made = made.await.map_err(StoreError::broken_off)?;
    made.map_err(StoreError::broken_off)
}

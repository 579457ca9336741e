//! Calendars of due dates, each at an address that only its owner knows.

use jiff::Timestamp;

use super::Directory;
use crate::desk::accounts::AccountError;
use crate::desk::person::{Person, person};
use crate::desk::{Desk, accounts::Attempt, throttle};
use crate::store::StoreError;
use crate::store::accounts::{AccountId, Kind};
use crate::words::hexadecimal;

/// Whose calendar an address opens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CalendarOwner(pub Person);

/// Characters of a secret: 160 random bits in hexadecimal.
const SECRET_LENGTH: usize = 40;
/// What attempts with a wrong secret are counted under.
const COUNTED_AS: &str = "a calendar";

/// The secret in the address of somebody's calendar; none if they have none.
pub async fn calendar_of(desk: &Desk, id: &AccountId) -> Result<Option<String>, StoreError> {
    let mut reader = desk.store().read().await?;
    let directory = Directory::read(&mut reader).await?;
    match directory.of(id) {
        Some(of) => reader.mails().calendar_of(&of).await,
        None => Ok(None),
    }
}

/// Gives a calendar a new address, so that the one before opens nothing any more, or takes it away.
pub async fn set_calendar(
    desk: &Desk,
    id: &AccountId,
    kept: bool,
    at: Timestamp,
) -> Result<(), StoreError> {
    let secret = kept.then(secret).transpose()?;
    let mut transaction = desk.store().write().await?;
    let directory = Directory::read(&mut transaction).await?;
    let Some(of) = directory.of(id) else {
        return transaction.abandon().await;
    };
    transaction
        .mails()
        .set_calendar(&of, secret.as_deref(), at)
        .await?;
    transaction.commit().await
}

/// Whose calendar a secret opens; none for a wrong one, which counts as a sign-in that failed, and for one of somebody who
/// is on the course no more.
pub async fn opened_calendar(
    desk: &Desk,
    secret: &str,
    from: throttle::From<'_>,
    at: Timestamp,
) -> Result<Option<CalendarOwner>, AccountError> {
    let is_one = secret.len() == SECRET_LENGTH && secret.bytes().all(|b| b.is_ascii_hexdigit());
    if !is_one {
        return Ok(None);
    }
    let mut reader = desk.store().read().await?;
    let of = reader.mails().calendar(secret).await?;
    if let Some(of) = of {
        let directory = Directory::read(&mut reader).await?;
        let login = match of.kind {
            Kind::Staff => Some(of.key.clone()),
            Kind::Student => directory.number(&of).map(ToString::to_string),
        };
        let Some(login) = login else { return Ok(None) };
        let id = AccountId {
            kind: of.kind,
            login,
        };
        let closed = reader.accounts().account(&id).await?;
        drop(reader);
        if closed.is_some_and(|account| account.disabled) {
            return Ok(None);
        }
        return Ok(person(desk, &id).await?.map(CalendarOwner));
    }
    drop(reader);
    let attempt = Attempt {
        login: COUNTED_AS,
        from,
        at,
    };
    throttle::register(desk, attempt).await?;
    Ok(None)
}

fn secret() -> Result<String, StoreError> {
    let mut bytes = [0_u8; SECRET_LENGTH / 2];
    getrandom::fill(&mut bytes).map_err(|why| StoreError::damaged("random numbers", why))?;
    Ok(hexadecimal(&bytes))
}

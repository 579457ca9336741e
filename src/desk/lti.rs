//! Platforms that send people here, and who their people are. What somebody may do, the course alone says.

use jiff::Timestamp;

use super::Desk;
use super::accounts::{AccountId, By, Event, Person, What};
use super::campus::{MatchedBy, person_named};
use crate::lti::{NamedBy, Platform};
use crate::store::{StoreError, keep_platform, remove_platform};

/// Every platform that is registered.
pub async fn platforms(desk: &Desk) -> Result<Vec<Platform>, StoreError> {
    crate::store::platforms(&mut *desk.store().read().await?).await
}

/// Registers a platform, and writes down that it was.
pub async fn register_platform(
    desk: &Desk,
    platform: &Platform,
    (id, by): (&AccountId, By<'_>),
    at: Timestamp,
) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    keep_platform(&mut transaction, platform).await?;
    let subject = format!(
        "launches from {} are let in, named by {}",
        platform.issuer,
        platform.named_by.name()
    );
    let event = Event {
        at,
        what: What::RuleChanged,
        who: Some(id),
        by: "",
        subject: &subject,
        network: by.network,
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await
}

/// Lets nobody in from a deployment any more, and writes that down.
pub async fn forget_platform(
    desk: &Desk,
    (issuer, client, deployment): (&str, &str, &str),
    (id, by): (&AccountId, By<'_>),
    at: Timestamp,
) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    remove_platform(&mut transaction, (issuer, client, deployment)).await?;
    let subject = format!("launches from {issuer} are let in no more");
    let event = Event {
        at,
        what: What::RuleChanged,
        who: Some(id),
        by: "",
        subject: &subject,
        network: by.network,
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await
}

/// The person of the course whom a platform names; nobody, where more than one bears that name.
pub async fn person_launched(
    desk: &Desk,
    platform: &Platform,
    name: &str,
) -> Result<Option<Person>, StoreError> {
    let by = match platform.named_by {
        NamedBy::Email => MatchedBy::Email,
        NamedBy::SourcedId | NamedBy::Custom => MatchedBy::Login,
    };
    person_named(desk, name, by).await
}

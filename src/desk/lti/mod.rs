//! Platforms that send people here, who their people are, and what their services are asked. What somebody may do, the
//! course alone says.

mod courses;
pub mod grades;
mod keys;
mod members;

use jiff::Timestamp;

use super::Desk;
use super::accounts::{AccountId, Event, What};
use crate::campus::{Account, ServiceFault};
use crate::lti::{LineItemFault, MembersFault, Platform};
use crate::store::lti::{LinkedContext, keep_platform, remove_platform};
use crate::store::{StoreError, Transaction};

pub use crate::store::lti::{KeptKey, LinkedContext as PlatformCourse};
pub use courses::{Launched, courses_of, is_taken_for, launched, leave_course, open_to, untaken};
pub use keys::{OLD_KEY_SHOWN, make_key, published, signing_key};
pub use members::{Fetched, fetch, know_learners};

/// Who does something that is written down, where they are, and when.
#[derive(Clone, Debug)]
pub struct Doing {
    pub who: AccountId,
    pub network: String,
    pub at: Timestamp,
}

/// Why a platform was not asked, or what came of it.
#[derive(Debug, thiserror::Error)]
pub enum PlatformError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Service(#[from] ServiceFault),
    #[error("the platform\u{2019}s answer is not what the standard asks for: {0}")]
    Members(#[from] MembersFault),
    #[error("the platform\u{2019}s answer is not what the standard asks for: {0}")]
    LineItem(#[from] LineItemFault),
    #[error("{0}")]
    NotSetUp(&'static str),
}

/// Every platform that is registered.
pub async fn platforms(desk: &Desk) -> Result<Vec<Platform>, StoreError> {
    crate::store::lti::platforms(&mut *desk.store().read().await?).await
}

/// Registers a platform, and writes down that it was. From then on there is a key of this server's.
pub async fn register_platform(
    desk: &Desk,
    platform: &Platform,
    doing: &Doing,
) -> Result<(), StoreError> {
    signing_key(desk, doing.at).await?;
    let mut transaction = desk.store().write().await?;
    keep_platform(&mut transaction, platform).await?;
    let subject = format!(
        "launches from {} are let in, named by {}",
        platform.issuer,
        platform.named_by.name()
    );
    note(transaction, &subject, doing).await
}

/// Lets nobody in from a deployment any more, and writes that down.
pub async fn forget_platform(
    desk: &Desk,
    (issuer, client, deployment): (&str, &str, &str),
    doing: &Doing,
) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    remove_platform(&mut transaction, (issuer, client, deployment)).await?;
    let subject = format!("launches from {issuer} are let in no more");
    note(transaction, &subject, doing).await
}

/// Writes down what was chosen, with the choice.
async fn note(
    mut transaction: Transaction,
    subject: &str,
    doing: &Doing,
) -> Result<(), StoreError> {
    let event = Event {
        at: doing.at,
        what: What::RuleChanged,
        who: Some(&doing.who),
        by: "",
        subject,
        network: &doing.network,
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await
}

/// The platform of a course of it.
pub async fn platform_of(people: &Desk, course: &LinkedContext) -> Result<Platform, PlatformError> {
    let known = platforms(people).await?;
    let found = known.into_iter().find(|one| {
        (&one.issuer, &one.client, &one.deployment)
            == (&course.issuer, &course.client, &course.deployment)
    });
    found.ok_or(PlatformError::NotSetUp(
        "found a platform that is registered no more, expected one that is",
    ))
}

/// What we are at a platform.
fn account(platform: &Platform) -> Result<Account, PlatformError> {
    if !platform.has_services() {
        return Err(PlatformError::NotSetUp(
            "found no address of tokens in the platform\u{2019}s registration, expected one: whoever registered it can add it",
        ));
    }
    let audience = match platform.audience.as_str() {
        "" => &platform.token,
        audience => audience,
    };
    Ok(Account {
        client: platform.client.clone(),
        token: platform.token.clone(),
        audience: audience.to_owned(),
    })
}

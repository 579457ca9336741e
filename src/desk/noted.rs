//! The record of access as the use cases write it, and what people are told of it.

use std::sync::Arc;

use jiff::Timestamp;

use super::Desk;
use super::accounts::{Attempt, find};
use super::spare::{Spare, or_in_memory};
use crate::store::accounts::{AccountId, Event, What};
use crate::store::{Store, StoreError};

/// Who does something to somebody's account, and from where.
#[derive(Clone, Copy, Debug)]
pub struct By<'a> {
    pub login: &'a str,
    pub network: &'a str,
}

impl By<'_> {
    /// Whoever holds the database file.
    pub const COMMAND_LINE: Self = Self {
        login: "command line",
        network: "",
    };
}

impl<'a> Attempt<'a> {
    pub(super) fn event(self, what: What, who: &'a AccountId, subject: &'a str) -> Event<'a> {
        Event {
            at: self.at,
            what,
            who: Some(who),
            by: "",
            subject,
            network: self.from.network,
        }
    }
}

/// Writes down what failed for somebody on a list. What else is typed as a login may be anything, a password too. It is
/// not waited for, so that the time of the answer does not tell who is on a list.
pub(super) async fn note_failure(
    desk: &Desk,
    attempt: Attempt<'_>,
    what: What,
) -> Result<(), StoreError> {
    let Some(person) = find(desk, attempt.login).await? else {
        return Ok(());
    };
    let (spare, store) = (Arc::clone(&desk.spare), desk.store().clone());
    let (network, at) = (attempt.from.network.to_owned(), attempt.at);
    tokio::spawn(async move {
        let event = Event {
            at,
            what,
            who: Some(&person.account()),
            by: "",
            subject: "",
            network: &network,
        };
        if let Err(why) = write_down(&spare, &store, event).await {
            tracing::warn!(error = %why, "an attempt that failed is not in the record");
        }
    });
    Ok(())
}

/// Writes down what happened; while the disk takes nothing, it is kept in memory.
pub async fn note(desk: &Desk, event: Event<'_>) -> Result<(), StoreError> {
    write_down(&desk.spare, desk.store(), event).await
}

async fn write_down(spare: &Arc<Spare>, store: &Store, event: Event<'_>) -> Result<(), StoreError> {
    let written = async {
        let mut transaction = store.write().await?;
        transaction.accounts().note(event).await?;
        transaction.commit().await
    };
    or_in_memory(written.await, || spare.note(store, event))
}

/// Whether something was done to somebody's account that they have not been told of: a code printed or mailed, a password set with
/// one, a second step turned on or off. From now on they have. Just after a claim, that claim and its code are no news, unless there was one before.
pub async fn has_news(
    desk: &Desk,
    id: &AccountId,
    just_claimed: bool,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let mut reader = desk.store().read().await?;
    let untold = reader.accounts().events_of(id, true, 1_000).await?;
    drop(reader);
    let of = |what: What| untold.iter().filter(|e| e.what == what.name()).count();
    let (printed, claimed) = (
        of(What::CodePrinted) + of(What::CodeMailed),
        of(What::Claimed),
    );
    let set_for_them = untold
        .iter()
        .any(|e| e.what == What::PasswordSet.name() && !e.by.is_empty());
    let steps = of(What::SecondStepOn) + of(What::SecondStepOff);
    if printed + claimed + steps == 0 && !set_for_them {
        return Ok(false);
    }
    let event = Event {
        at,
        what: What::Told,
        who: Some(id),
        by: "",
        subject: "",
        network: "",
    };
    note(desk, event).await?;
    Ok(if just_claimed {
        claimed > 1
    } else {
        printed + claimed + steps > 0
    })
}

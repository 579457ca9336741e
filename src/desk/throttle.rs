//! Throttling of those who try to be let in: slowed everywhere, and held up only where they failed.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use super::Desk;
use super::accounts::{AccountError, Attempt, What, note_failure};
use super::spare::or_in_memory;
use crate::store::{StoreError, Transaction, hash};

/// Failures of a login from one place within [`MEMORY`] after which it has to wait there.
const FAILURES_HERE: usize = 5;
/// Failures of a login from anywhere within [`MEMORY`] after which it is looked at slowly, wherever it is not known.
const FAILURES_ANYWHERE: i64 = 20;
/// Failures from a network within [`MEMORY`] after which it is looked at slowly: many, because a laboratory may share one.
const FAILURES_OF_A_NETWORK: i64 = 100;
/// How long whoever is looked at slowly waits for it.
pub const SLOWLY: Duration = Duration::from_secs(2);
/// A browser is known this long after it was last signed in from.
const BROWSER_KNOWN: SignedDuration = SignedDuration::from_hours(400 * 24);
/// How long a failure counts.
const MEMORY: SignedDuration = SignedDuration::from_mins(15);
/// Where an attempt comes from.
#[derive(Clone, Copy, Debug)]
pub struct From<'a> {
    /// The address, or what stands for all those that one subscriber has.
    pub network: &'a str,
    /// What the browser's own cookie holds.
    pub browser: &'a str,
}

/// What an attempt is counted under.
pub(super) struct Counted {
    /// Names the login.
    pub login: String,
    /// The network, or the browser where the login is known from it.
    pub place: String,
    /// Of the browser.
    browser: String,
}

/// Whether attempts from there are looked at slowly, and few at once.
pub async fn is_slowed(desk: &Desk, from: From<'_>, at: Timestamp) -> Result<bool, StoreError> {
    let mut reader = desk.store().read().await?;
    let mut accounts = reader.accounts();
    let since = at.saturating_sub(MEMORY).unwrap_or(Timestamp::MIN);
    if accounts.failures_of(from.network, since).await? < FAILURES_OF_A_NETWORK {
        return Ok(false);
    }
    Ok(!accounts.knows_browser(&hash(from.browser), None).await?)
}

/// Counts an attempt as failed before it is looked at, so that many at once cannot slip through together; a success
/// takes it back. Nobody is shut out by what others try: a login waits only where it failed, and is only slowed elsewhere.
pub(super) async fn register(desk: &Desk, attempt: Attempt<'_>) -> Result<Counted, AccountError> {
    let login = hash(&counted_as(desk, attempt.login).await?.to_lowercase());
    let browser = hash(attempt.from.browser);
    let since = attempt.at.saturating_sub(MEMORY).unwrap_or(Timestamp::MIN);
    // what is kept in memory counts where the disk is asked, too
    desk.spare.write_out(desk.store()).await;
    let mut transaction = desk.store().write().await?;
    let mut accounts = transaction.accounts();
    let known = accounts.knows_browser(&browser, Some(&login)).await?;
    let place = if known {
        browser.clone()
    } else {
        attempt.from.network.to_owned()
    };
    let mut failures = accounts.failures_since(&login, &place, since).await?;
    let spare = &desk.spare;
    spare.add_failures(&login, &place, since, &mut failures);
    if let Some(until) = free_at(&failures.of_login_here, FAILURES_HERE) {
        transaction.abandon().await?;
        return Err(AccountError::Wait(until));
    }
    let counted = async {
        let mut accounts = transaction.accounts();
        accounts
            .insert_failure(&login, &place, attempt.at, since)
            .await?;
        transaction.commit().await
    };
    let (mut is_free, at) = (true, attempt.at);
    or_in_memory(counted.await, || {
        let (whose, limit) = ((login.as_str(), place.as_str()), (since, FAILURES_HERE));
        is_free = spare.count(desk.store(), whose, at, limit);
    })?;
    if !is_free {
        let until = at.saturating_add(MEMORY).unwrap_or(Timestamp::MAX);
        return Err(AccountError::Wait(until));
    }
    if failures.of_login_here.len() + 1 == FAILURES_HERE {
        note_failure(desk, attempt, What::Waits).await?;
    }
    if !known && failures.of_login >= FAILURES_ANYWHERE {
        tokio::time::sleep(SLOWLY).await;
    }
    Ok(Counted {
        login,
        place,
        browser,
    })
}

/// Whoever has two names has as many tries as with one.
async fn counted_as(desk: &Desk, typed: &str) -> Result<String, StoreError> {
    let image = desk.look().await?;
    let mut joined = image.term.one_person.iter();
    let own = joined.find(|(number, _)| number.eq_ignore_ascii_case(typed));
    Ok(own.map_or(typed, |(_, login)| login).to_owned())
}

/// Takes back what was counted, and knows the browser from now on.
pub(super) async fn let_in(
    transaction: &mut Transaction,
    counted: &Counted,
    at: Timestamp,
) -> Result<(), StoreError> {
    let since = at.saturating_sub(BROWSER_KNOWN).unwrap_or(Timestamp::MIN);
    let mut accounts = transaction.accounts();
    accounts
        .forget_failures(&counted.login, &counted.place)
        .await?;
    accounts
        .keep_browser(&counted.browser, &counted.login, at, since)
        .await
}

/// When fewer than `most` failures will count, if that is not now.
fn free_at(failures: &[Timestamp], most: usize) -> Option<Timestamp> {
    let oldest_that_counts = failures.len().checked_sub(most)?;
    let at = failures.get(oldest_that_counts)?;
    Some(at.saturating_add(MEMORY).unwrap_or(Timestamp::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_ends_when_the_oldest_that_counts_is_forgotten() {
        let at = |minute: i64| Timestamp::from_second(minute * 60).expect("in range");
        let failures: Vec<_> = (0..6).map(at).collect();
        assert_eq!(free_at(&failures[..4], 5), None);
        assert_eq!(free_at(&failures[..5], 5), Some(at(15)));
        assert_eq!(free_at(&failures, 5), Some(at(16)));
    }
}

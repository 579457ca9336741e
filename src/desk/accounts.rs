//! Signing in, claiming an account, changing a password; throttling of all three.

use std::collections::BTreeSet;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use super::Desk;
use super::passwords;
use super::person::people_called;
pub use super::person::{Person, Role};
use super::sessions::{Token, begin_session};
use crate::store::accounts::ClaimCode;
pub use crate::store::accounts::{AccessEvent, AccountId, Event, Kind, What};
use crate::store::{Store, StoreError, Transaction, hash};

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
/// How long a claim code can be used.
const CODE_LASTS: SignedDuration = SignedDuration::from_hours(14 * 24);
/// Characters of a code: 32 of them, 5 bits each. I, L and O are read as the digits they look like, U is not used.
const CODE_ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Characters in a code, 80 bits.
const CODE_LENGTH: usize = 16;

/// Why somebody was not let in, or a password not set.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// No such login, or not its password. Which of the two is not said.
    #[error("the login and password do not match")]
    Wrong,
    /// No such login, or not its code.
    #[error("the login and code do not match")]
    WrongCode,
    /// The code was used, or replaced by a newer one.
    #[error("the code has been used")]
    UsedCode,
    /// The code is too old.
    #[error("the code has expired")]
    ExpiredCode,
    /// The password cannot be taken, with a sentence for the person.
    #[error("the password is refused")]
    Password(String),
    /// Too many failures; when the next attempt is looked at.
    #[error("throttled until {0}")]
    Wait(Timestamp),
    /// These logins are on no list, or on both, so nothing was issued.
    #[error("found {}, expected logins on the roster or the staff list, and not on both", .0.join(", "))]
    Logins(Vec<String>),
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Hasher or random source.
    #[error("passwords: {0}")]
    Machine(String),
}

/// An attempt to be let in: who says so, from where, when.
#[derive(Clone, Copy, Debug)]
pub struct Attempt<'a> {
    pub login: &'a str,
    pub from: From<'a>,
    pub at: Timestamp,
}

/// Where an attempt comes from.
#[derive(Clone, Copy, Debug)]
pub struct From<'a> {
    /// The address, or what stands for all those that one subscriber has.
    pub network: &'a str,
    /// What the browser's own cookie holds.
    pub browser: &'a str,
}

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

/// What an attempt is counted under.
struct Counted {
    /// Names the login.
    login: String,
    /// The network, or the browser where the login is known from it.
    place: String,
    /// Of the browser.
    browser: String,
}

/// A code for a printed slip. It is nowhere else: the database keeps a hash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IssuedCode {
    pub person: Person,
    /// In groups of four.
    pub code: String,
    pub expires_at: Timestamp,
}

/// Lets somebody in with a password.
pub async fn sign_in(
    desk: &Desk,
    attempt: Attempt<'_>,
    password: &str,
) -> Result<(Person, Token), AccountError> {
    let counted = register(desk, attempt).await?;
    let person = find(desk, attempt.login).await?;
    let mut stored = None;
    if let Some(person) = &person {
        let mut reader = desk.store().read().await?;
        let held = reader.accounts().account(&person.account()).await?;
        stored = held.filter(|a| !a.disabled).and_then(|a| a.password_hash);
    }
    let right = passwords::matches(password.to_owned(), stored)
        .await
        .map_err(AccountError::Machine)?;
    let Some(person) = person.filter(|_| right) else {
        note_failure(desk, attempt, What::Failed).await?;
        return Err(AccountError::Wrong);
    };
    let mut transaction = desk.store().write().await?;
    let_in(&mut transaction, &counted, attempt.at).await?;
    let id = person.account();
    let event = attempt.event(What::SignedIn, &id, "");
    transaction.accounts().note(event).await?;
    let token = begin_session(&mut transaction, &person.account(), attempt.at).await?;
    transaction.commit().await?;
    Ok((person, token))
}

/// Sets a password with a claim code and lets its owner in. The code can then not be used again.
pub async fn claim(
    desk: &Desk,
    attempt: Attempt<'_>,
    code: &str,
    password: &str,
) -> Result<(Person, Token), AccountError> {
    let counted = register(desk, attempt).await?;
    let code_hash = hash(&read_code(code));
    let person = find(desk, attempt.login)
        .await?
        .ok_or(AccountError::WrongCode)?;
    let id = person.account();
    let mut reader = desk.store().read().await?;
    let held = reader.accounts().claim_code(&id, &code_hash).await?;
    drop(reader);
    if let Err(why) = usable(held, attempt.at) {
        note_failure(desk, attempt, What::Failed).await?;
        return Err(why);
    }
    passwords::check(password, &person.login).map_err(AccountError::Password)?;
    let hashed = passwords::hash(password.to_owned())
        .await
        .map_err(AccountError::Machine)?;
    let mut transaction = desk.store().write().await?;
    // again, now that nobody else is writing: a code is used once
    let still = usable(
        transaction.accounts().claim_code(&id, &code_hash).await?,
        attempt.at,
    );
    if let Err(why) = still {
        transaction.commit().await?;
        return Err(why);
    }
    transaction
        .accounts()
        .use_claim_codes(&id, attempt.at)
        .await?;
    transaction
        .accounts()
        .forget_browsers(&counted.login)
        .await?;
    let_in(&mut transaction, &counted, attempt.at).await?;
    let token = renew(&mut transaction, &id, &hashed, attempt.at).await?;
    let digest = hash(&hashed);
    let event = attempt.event(What::Claimed, &id, &digest);
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    Ok((person, token))
}

/// Changes a password, ends every session of the account and begins a new one.
pub async fn change_password(
    desk: &Desk,
    attempt: Attempt<'_>,
    id: &AccountId,
    current: &str,
    password: &str,
) -> Result<Token, AccountError> {
    passwords::check(password, &id.login).map_err(AccountError::Password)?;
    let counted = register(desk, attempt).await?;
    let mut reader = desk.store().read().await?;
    let held = reader.accounts().account(id).await?;
    drop(reader);
    let stored = held.and_then(|a| a.password_hash);
    let right = passwords::matches(current.to_owned(), stored)
        .await
        .map_err(AccountError::Machine)?;
    if !right {
        note_failure(desk, attempt, What::Failed).await?;
        return Err(AccountError::Wrong);
    }
    let hashed = passwords::hash(password.to_owned())
        .await
        .map_err(AccountError::Machine)?;
    let mut transaction = desk.store().write().await?;
    let_in(&mut transaction, &counted, attempt.at).await?;
    let token = renew(&mut transaction, id, &hashed, attempt.at).await?;
    let digest = hash(&hashed);
    let event = attempt.event(What::PasswordSet, id, &digest);
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    Ok(token)
}

/// Sets the password of somebody on a list without a code, as the command line may.
pub async fn set_password(
    desk: &Desk,
    login: &str,
    password: &str,
    at: Timestamp,
) -> Result<Person, AccountError> {
    let unknown = || AccountError::Logins(vec![login.to_owned()]);
    let person = find(desk, login).await?.ok_or_else(unknown)?;
    passwords::check(password, &person.login).map_err(AccountError::Password)?;
    let hashed = passwords::hash(password.to_owned())
        .await
        .map_err(AccountError::Machine)?;
    let mut transaction = desk.store().write().await?;
    transaction
        .accounts()
        .set_password_hash(&person.account(), &hashed, at)
        .await?;
    transaction
        .accounts()
        .delete_sessions_of(&person.account())
        .await?;
    let event = Event {
        at,
        what: What::PasswordSet,
        who: Some(&person.account()),
        by: By::COMMAND_LINE.login,
        subject: &hash(&hashed),
        network: "",
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    Ok(person)
}

/// Issues a claim code to each login; codes issued to them before stop working. All or none.
pub async fn issue_claim_codes(
    desk: &Desk,
    logins: &[String],
    by: By<'_>,
    at: Timestamp,
) -> Result<Vec<IssuedCode>, AccountError> {
    let mut people = Vec::new();
    let mut strangers = Vec::new();
    for login in logins {
        match people_called(desk, login).await?.as_slice() {
            [one] => people.push(one.clone()),
            _ => strangers.push(login.clone()),
        }
    }
    if !strangers.is_empty() {
        return Err(AccountError::Logins(strangers));
    }
    let expires_at = at.saturating_add(CODE_LASTS).unwrap_or(Timestamp::MAX);
    let mut issued = Vec::new();
    let mut transaction = desk.store().write().await?;
    for person in people {
        let code = new_code()?;
        let id = person.account();
        transaction.accounts().keep_account(&id, at).await?;
        let hashed = hash(&read_code(&code));
        transaction
            .accounts()
            .insert_claim_code(&id, &hashed, at, expires_at)
            .await?;
        let event = Event {
            at,
            what: What::CodePrinted,
            who: Some(&id),
            by: by.login,
            subject: "",
            network: by.network,
        };
        transaction.accounts().note(event).await?;
        issued.push(IssuedCode {
            person,
            code,
            expires_at,
        });
    }
    transaction.commit().await?;
    Ok(issued)
}

/// Logins of that kind whose owners have set a password.
pub async fn claimed(desk: &Desk, kind: Kind) -> Result<BTreeSet<String>, StoreError> {
    let mut reader = desk.store().read().await?;
    reader.accounts().with_password(kind).await
}

/// Closes an account and ends its sessions, or opens it again.
pub async fn close_account(
    desk: &Desk,
    login: &str,
    closed: bool,
    at: Timestamp,
) -> Result<(), AccountError> {
    let unknown = || AccountError::Logins(vec![login.to_owned()]);
    let id = find(desk, login).await?.ok_or_else(unknown)?.account();
    let mut transaction = desk.store().write().await?;
    transaction.accounts().keep_account(&id, at).await?;
    transaction
        .accounts()
        .set_disabled(&id, closed.then_some(at))
        .await?;
    transaction.accounts().delete_sessions_of(&id).await?;
    transaction.commit().await?;
    Ok(())
}

/// The person a typed login means; staff come first.
async fn find(desk: &Desk, typed: &str) -> Result<Option<Person>, StoreError> {
    let people = people_called(desk, typed).await?;
    Ok(people.into_iter().next())
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
async fn register(desk: &Desk, attempt: Attempt<'_>) -> Result<Counted, AccountError> {
    let login = hash(&attempt.login.to_lowercase());
    let browser = hash(attempt.from.browser);
    let since = attempt.at.saturating_sub(MEMORY).unwrap_or(Timestamp::MIN);
    let mut transaction = desk.store().write().await?;
    let mut accounts = transaction.accounts();
    let known = accounts.knows_browser(&browser, Some(&login)).await?;
    let place = if known {
        browser.clone()
    } else {
        attempt.from.network.to_owned()
    };
    let failures = accounts.failures_since(&login, &place, since).await?;
    let until = free_at(&failures.of_login_here, FAILURES_HERE);
    if until.is_none() {
        accounts
            .insert_failure(&login, &place, attempt.at, since)
            .await?;
    }
    transaction.commit().await?;
    if let Some(until) = until {
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

impl<'a> Attempt<'a> {
    fn event(self, what: What, who: &'a AccountId, subject: &'a str) -> Event<'a> {
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
async fn note_failure(desk: &Desk, attempt: Attempt<'_>, what: What) -> Result<(), StoreError> {
    let Some(person) = find(desk, attempt.login).await? else {
        return Ok(());
    };
    let (store, network, at) = (
        desk.store().clone(),
        attempt.from.network.to_owned(),
        attempt.at,
    );
    tokio::spawn(async move {
        let event = Event {
            at,
            what,
            who: Some(&person.account()),
            by: "",
            subject: "",
            network: &network,
        };
        if let Err(why) = write_down(&store, event).await {
            tracing::warn!(error = %why, "an attempt that failed is not in the record");
        }
    });
    Ok(())
}

/// Writes down what happened.
pub async fn note(desk: &Desk, event: Event<'_>) -> Result<(), StoreError> {
    write_down(desk.store(), event).await
}

async fn write_down(store: &Store, event: Event<'_>) -> Result<(), StoreError> {
    let mut transaction = store.write().await?;
    transaction.accounts().note(event).await?;
    transaction.commit().await
}

/// Whether something was done to somebody's account that they have not been told of: a code printed, a password set with
/// one. From now on they have. Just after a claim, that claim and its code are no news, unless there was one before.
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
    let (printed, claimed) = (of(What::CodePrinted), of(What::Claimed));
    let set_for_them = untold
        .iter()
        .any(|e| e.what == What::PasswordSet.name() && !e.by.is_empty());
    if printed + claimed == 0 && !set_for_them {
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
        printed + claimed > 0
    })
}

/// Takes back what was counted, and knows the browser from now on.
async fn let_in(
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

async fn renew(
    transaction: &mut Transaction,
    id: &AccountId,
    hashed: &str,
    at: Timestamp,
) -> Result<Token, AccountError> {
    transaction
        .accounts()
        .set_password_hash(id, hashed, at)
        .await?;
    transaction.accounts().delete_sessions_of(id).await?;
    begin_session(transaction, id, at).await
}

fn usable(code: Option<ClaimCode>, at: Timestamp) -> Result<(), AccountError> {
    match code {
        None => Err(AccountError::WrongCode),
        Some(code) if code.used => Err(AccountError::UsedCode),
        Some(code) if code.expires_at <= at => Err(AccountError::ExpiredCode),
        Some(_) => Ok(()),
    }
}

fn new_code() -> Result<String, AccountError> {
    let mut bytes = [0_u8; CODE_LENGTH];
    getrandom::fill(&mut bytes).map_err(|why| AccountError::Machine(why.to_string()))?;
    // 256 is a multiple of 32, so every character is as likely
    let letters = bytes.map(|byte| char::from(CODE_ALPHABET[usize::from(byte % 32)]));
    let groups: Vec<String> = letters
        .chunks(4)
        .map(|group| group.iter().collect())
        .collect();
    Ok(groups.join("-"))
}

/// A code as it was meant: without case and spaces, and with look-alikes put right.
fn read_code(typed: &str) -> String {
    typed
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_read_however_it_is_typed() {
        assert_eq!(read_code(" 10ab-cdef "), "10ABCDEF");
        assert_eq!(read_code("lOab cd ef"), "10ABCDEF");
    }

    #[test]
    fn codes_are_four_groups_of_four_and_differ() {
        let (a, b) = (new_code().expect("random"), new_code().expect("random"));
        assert_ne!(a, b);
        assert_eq!(a.split('-').map(str::len).collect::<Vec<_>>(), [4, 4, 4, 4]);
        assert_eq!(read_code(&a), a.replace('-', ""));
    }

    #[test]
    fn the_wait_ends_when_the_oldest_that_counts_is_forgotten() {
        let at = |minute: i64| Timestamp::from_second(minute * 60).expect("in range");
        let failures: Vec<_> = (0..6).map(at).collect();
        assert_eq!(free_at(&failures[..4], 5), None);
        assert_eq!(free_at(&failures[..5], 5), Some(at(15)));
        assert_eq!(free_at(&failures, 5), Some(at(16)));
    }
}

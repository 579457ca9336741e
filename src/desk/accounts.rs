//! Signing in, claiming an account, changing a password; throttling of all three.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};

use super::passwords;
use super::sessions::{Token, begin_session};
pub use crate::store::accounts::{AccountId, Kind, Person, Role};
use crate::store::accounts::{
    account, keep_account, people_called, set_disabled, set_password_hash, with_password,
};
use crate::store::claims::{
    claim_code, failures_since, forget_failures, insert_claim_code, insert_failure, use_claim_codes,
};
use crate::store::sessions::delete_sessions_of;
use crate::store::{Store, StoreError, Transaction, hash};

/// Failures of a login within [`MEMORY`] after which it has to wait.
const FAILURES_OF_A_LOGIN: usize = 5;
/// Failures from an address within [`MEMORY`]: many, because a laboratory may share one.
const FAILURES_OF_AN_ADDRESS: usize = 100;
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
    pub address: &'a str,
    pub at: Timestamp,
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
    store: &Store,
    attempt: Attempt<'_>,
    password: &str,
) -> Result<(Person, Token), AccountError> {
    let login = register(store, attempt).await?;
    let person = find(store, attempt.login).await?;
    let mut stored = None;
    if let Some(person) = &person {
        let mut reader = store.read().await?;
        let held = account(&mut reader, &person.account()).await?;
        stored = held.filter(|a| !a.disabled).and_then(|a| a.password_hash);
    }
    let right = passwords::matches(password.to_owned(), stored)
        .await
        .map_err(AccountError::Machine)?;
    let Some(person) = person.filter(|_| right) else {
        return Err(AccountError::Wrong);
    };
    let mut transaction = store.write().await?;
    forget_failures(&mut transaction, &login).await?;
    let token = begin_session(&mut transaction, &person.account(), attempt.at).await?;
    transaction.commit().await?;
    Ok((person, token))
}

/// Sets a password with a claim code and lets its owner in. The code can then not be used again.
pub async fn claim(
    store: &Store,
    attempt: Attempt<'_>,
    code: &str,
    password: &str,
) -> Result<(Person, Token), AccountError> {
    let login = register(store, attempt).await?;
    let code_hash = hash(&read_code(code));
    let person = find(store, attempt.login)
        .await?
        .ok_or(AccountError::WrongCode)?;
    let id = person.account();
    let mut reader = store.read().await?;
    usable(claim_code(&mut reader, &id, &code_hash).await?, attempt.at)?;
    drop(reader);
    passwords::check(password, &person.login).map_err(AccountError::Password)?;
    let hashed = passwords::hash(password.to_owned())
        .await
        .map_err(AccountError::Machine)?;
    let mut transaction = store.write().await?;
    // again, now that nobody else is writing: a code is used once
    let still = usable(
        claim_code(&mut transaction, &id, &code_hash).await?,
        attempt.at,
    );
    if let Err(why) = still {
        transaction.commit().await?;
        return Err(why);
    }
    use_claim_codes(&mut transaction, &id, attempt.at).await?;
    forget_failures(&mut transaction, &login).await?;
    let token = renew(&mut transaction, &id, &hashed, attempt.at).await?;
    transaction.commit().await?;
    Ok((person, token))
}

/// Changes a password, ends every session of the account and begins a new one.
pub async fn change_password(
    store: &Store,
    attempt: Attempt<'_>,
    id: &AccountId,
    current: &str,
    password: &str,
) -> Result<Token, AccountError> {
    passwords::check(password, &id.login).map_err(AccountError::Password)?;
    let login = register(store, attempt).await?;
    let mut reader = store.read().await?;
    let held = account(&mut reader, id).await?;
    drop(reader);
    let stored = held.and_then(|a| a.password_hash);
    let right = passwords::matches(current.to_owned(), stored)
        .await
        .map_err(AccountError::Machine)?;
    if !right {
        return Err(AccountError::Wrong);
    }
    let hashed = passwords::hash(password.to_owned())
        .await
        .map_err(AccountError::Machine)?;
    let mut transaction = store.write().await?;
    forget_failures(&mut transaction, &login).await?;
    let token = renew(&mut transaction, id, &hashed, attempt.at).await?;
    transaction.commit().await?;
    Ok(token)
}

/// Sets the password of somebody on a list without a code, as the command line may.
pub async fn set_password(
    store: &Store,
    login: &str,
    password: &str,
    at: Timestamp,
) -> Result<Person, AccountError> {
    let unknown = || AccountError::Logins(vec![login.to_owned()]);
    let person = find(store, login).await?.ok_or_else(unknown)?;
    passwords::check(password, &person.login).map_err(AccountError::Password)?;
    let hashed = passwords::hash(password.to_owned())
        .await
        .map_err(AccountError::Machine)?;
    let mut transaction = store.write().await?;
    set_password_hash(&mut transaction, &person.account(), &hashed, at).await?;
    delete_sessions_of(&mut transaction, &person.account()).await?;
    transaction.commit().await?;
    Ok(person)
}

/// Issues a claim code to each login; codes issued to them before stop working. All or none.
pub async fn issue_claim_codes(
    store: &Store,
    logins: &[String],
    at: Timestamp,
) -> Result<Vec<IssuedCode>, AccountError> {
    let mut people = Vec::new();
    let mut strangers = Vec::new();
    let mut reader = store.read().await?;
    for login in logins {
        match people_called(&mut reader, login).await?.as_slice() {
            [one] => people.push(one.clone()),
            _ => strangers.push(login.clone()),
        }
    }
    drop(reader);
    if !strangers.is_empty() {
        return Err(AccountError::Logins(strangers));
    }
    let expires_at = at.saturating_add(CODE_LASTS).unwrap_or(Timestamp::MAX);
    let mut issued = Vec::new();
    let mut transaction = store.write().await?;
    for person in people {
        let code = new_code()?;
        let id = person.account();
        keep_account(&mut transaction, &id, at).await?;
        let hashed = hash(&read_code(&code));
        insert_claim_code(&mut transaction, &id, &hashed, at, expires_at).await?;
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
pub async fn claimed(store: &Store, kind: Kind) -> Result<BTreeSet<String>, StoreError> {
    with_password(&mut *store.read().await?, kind).await
}

/// Closes an account and ends its sessions, or opens it again.
pub async fn close_account(
    store: &Store,
    login: &str,
    closed: bool,
    at: Timestamp,
) -> Result<(), AccountError> {
    let unknown = || AccountError::Logins(vec![login.to_owned()]);
    let id = find(store, login).await?.ok_or_else(unknown)?.account();
    let mut transaction = store.write().await?;
    keep_account(&mut transaction, &id, at).await?;
    set_disabled(&mut transaction, &id, closed.then_some(at)).await?;
    delete_sessions_of(&mut transaction, &id).await?;
    transaction.commit().await?;
    Ok(())
}

/// The person a typed login means; staff come first.
async fn find(store: &Store, typed: &str) -> Result<Option<Person>, StoreError> {
    let mut reader = store.read().await?;
    let people = people_called(&mut reader, typed).await?;
    Ok(people.into_iter().next())
}

/// Counts an attempt as failed before it is looked at, so that many at once cannot slip through together; a success
/// takes it back. Returns what names the login in the table of failures.
async fn register(store: &Store, attempt: Attempt<'_>) -> Result<String, AccountError> {
    let login = hash(&attempt.login.to_lowercase());
    let since = attempt.at.saturating_sub(MEMORY).unwrap_or(Timestamp::MIN);
    let mut transaction = store.write().await?;
    let (of_login, of_address) =
        failures_since(&mut transaction, &login, attempt.address, since).await?;
    let until = [
        free_at(&of_login, FAILURES_OF_A_LOGIN),
        free_at(&of_address, FAILURES_OF_AN_ADDRESS),
    ];
    let until = until.into_iter().flatten().max();
    if until.is_none() {
        insert_failure(&mut transaction, &login, attempt.address, attempt.at, since).await?;
    }
    transaction.commit().await?;
    until.map_or(Ok(login), |until| Err(AccountError::Wait(until)))
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
    set_password_hash(transaction, id, hashed, at).await?;
    delete_sessions_of(transaction, id).await?;
    begin_session(transaction, id, at).await
}

fn usable(
    code: Option<crate::store::accounts::ClaimCode>,
    at: Timestamp,
) -> Result<(), AccountError> {
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

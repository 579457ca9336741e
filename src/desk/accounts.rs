//! Signing in, claiming an account, changing a password; throttling of all three.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};

use super::Desk;
pub(super) use super::noted::note_failure;
pub use super::noted::{By, has_news, note};
use super::passwords;
pub use super::person::{Person, Role, number_beside, people_called, person, person_here};
use super::second_step;
use super::sessions::{Coming, Token, begin_session, come_in};
pub use super::throttle::{From, SLOWLY, is_slowed};
pub(super) use super::throttle::{let_in, register};
use crate::store::accounts::ClaimCode;
pub use crate::store::accounts::{AccessEvent, AccountId, Event, Kind, What};
use crate::store::{StoreError, Transaction, hash};

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
    Password(crate::language::Message),
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

/// A code for a printed slip. It is nowhere else: the database keeps a hash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IssuedCode {
    pub person: Person,
    /// In groups of four.
    pub code: String,
    pub expires_at: Timestamp,
}

/// What a right password leads to.
#[derive(Debug)]
pub enum Entry {
    In(Person, Token),
    /// A second step is asked for; the ticket is what somebody comes back with.
    SecondStep(String),
}

/// Lets somebody in with a password, or to the second step.
pub async fn sign_in(
    desk: &Desk,
    attempt: Attempt<'_>,
    password: &str,
) -> Result<Entry, AccountError> {
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
    let id = person.account();
    let step = transaction.accounts().second_step(&id).await?;
    if step.is_some_and(|step| step.confirmed) {
        // what failed before still counts, or whoever has the password could try codes without end
        let ticket = second_step::ticket(desk, transaction, &id, attempt.at).await?;
        return Ok(Entry::SecondStep(ticket));
    }
    let coming = Coming {
        id: &id,
        counted: Some(&counted),
        second_step: None,
        event: attempt.event(What::SignedIn, &id, ""),
    };
    let token = come_in(desk, transaction, coming).await?;
    Ok(Entry::In(person, token))
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
    let hashed = passwords::checked(desk, &person, password).await?;
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
        .forget_browsers(&counted.login)
        .await?;
    let_in(&mut transaction, &counted, attempt.at).await?;
    let token = renew(&mut transaction, &id, &hashed, attempt.at).await?;
    let digest = hash(&hashed);
    let step = transaction.accounts().second_step(&id).await?;
    if step.is_some_and(|step| step.confirmed) {
        // the way in for whoever has lost the device; they and the coordinator see that it was taken
        let event = attempt.event(What::SecondStepOff, &id, "with a one-time code");
        transaction.accounts().note(event).await?;
    }
    transaction.accounts().end_second_step(&id).await?;
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
    let person = person(desk, id).await?.ok_or(AccountError::Wrong)?;
    let hashed = passwords::checked(desk, &person, password).await?;
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
    let hashed = passwords::checked(desk, &person, password).await?;
    let mut transaction = desk.store().write().await?;
    transaction
        .accounts()
        .set_password_hash(&person.account(), &hashed, at)
        .await?;
    let id = person.account();
    transaction.accounts().use_claim_codes(&id, at).await?;
    transaction.accounts().delete_sessions_of(&id).await?;
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
        let id = person.account();
        let code = issue(&mut transaction, person, at, expires_at).await?;
        let event = Event {
            at,
            what: What::CodePrinted,
            who: Some(&id),
            by: by.login,
            subject: "",
            network: by.network,
        };
        transaction.accounts().note(event).await?;
        issued.push(code);
    }
    transaction.commit().await?;
    Ok(issued)
}

/// A claim code for a mail that was asked for, which is noted already; codes issued before stop working.
pub(super) async fn mailed_code(
    desk: &Desk,
    person: Person,
    at: Timestamp,
) -> Result<IssuedCode, AccountError> {
    let expires_at = at.saturating_add(CODE_LASTS).unwrap_or(Timestamp::MAX);
    let mut transaction = desk.store().write().await?;
    let issued = issue(&mut transaction, person, at, expires_at).await?;
    transaction.commit().await?;
    Ok(issued)
}

async fn issue(
    transaction: &mut Transaction,
    person: Person,
    at: Timestamp,
    expires_at: Timestamp,
) -> Result<IssuedCode, AccountError> {
    let code = new_code(CODE_LENGTH)?;
    let id = person.account();
    let mut accounts = transaction.accounts();
    accounts.keep_account(&id, at).await?;
    let hashed = hash(&read_code(&code));
    accounts
        .insert_claim_code(&id, &hashed, at, expires_at)
        .await?;
    Ok(IssuedCode {
        person,
        code,
        expires_at,
    })
}

/// Logins of that kind whose owners have set a password.
pub async fn claimed(desk: &Desk, kind: Kind) -> Result<BTreeSet<String>, StoreError> {
    let logins = desk
        .store()
        .read()
        .await?
        .accounts()
        .with_password(kind)
        .await?;
    let of_staff = match kind {
        Kind::Staff => return Ok(logins),
        Kind::Student => Kind::Staff,
    };
    let of_staff = desk
        .store()
        .read()
        .await?
        .accounts()
        .with_password(of_staff)
        .await?;
    by_numbers(desk, logins, &of_staff).await
}

/// Logins of that kind whose owners have come in, or can without a slip: by a password, the institution's sign-in or a
/// platform.
pub async fn have_a_way_in(desk: &Desk, kind: Kind) -> Result<BTreeSet<String>, StoreError> {
    let mut reader = desk.store().read().await?;
    let mut accounts = reader.accounts();
    let mut logins = accounts.with_password(kind).await?;
    logins.append(&mut accounts.have_signed_in(kind).await?);
    if kind == Kind::Staff {
        return Ok(logins);
    }
    let mut of_staff = accounts.with_password(Kind::Staff).await?;
    of_staff.append(&mut accounts.have_signed_in(Kind::Staff).await?);
    drop(reader);
    by_numbers(desk, logins, &of_staff).await
}

/// Numbers of students, with those who sign in by a login of staff if that is among `of_staff`, and not otherwise.
async fn by_numbers(
    desk: &Desk,
    mut numbers: BTreeSet<String>,
    of_staff: &BTreeSet<String>,
) -> Result<BTreeSet<String>, StoreError> {
    for (number, login) in &desk.look().await?.term.one_person {
        match of_staff.iter().any(|one| one.eq_ignore_ascii_case(login)) {
            true => numbers.insert(number.to_string()),
            false => numbers.remove(number.as_str()),
        };
    }
    Ok(numbers)
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
pub(super) async fn find(desk: &Desk, typed: &str) -> Result<Option<Person>, StoreError> {
    let people = people_called(desk, typed).await?;
    Ok(people.into_iter().next())
}

async fn renew(
    transaction: &mut Transaction,
    id: &AccountId,
    hashed: &str,
    at: Timestamp,
) -> Result<Token, AccountError> {
    let mut accounts = transaction.accounts();
    accounts.set_password_hash(id, hashed, at).await?;
    // a slip that nobody used is no way past the new password
    accounts.use_claim_codes(id, at).await?;
    accounts.delete_sessions_of(id).await?;
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

pub(super) fn new_code(length: usize) -> Result<String, AccountError> {
    let mut bytes = vec![0_u8; length];
    getrandom::fill(&mut bytes).map_err(|why| AccountError::Machine(why.to_string()))?;
    // 256 is a multiple of 32, so every character is as likely
    let letter = |byte: &u8| char::from(CODE_ALPHABET[usize::from(byte % 32)]);
    let groups: Vec<String> = bytes
        .chunks(4)
        .map(|group| group.iter().map(letter).collect())
        .collect();
    Ok(groups.join("-"))
}

/// A code as it was meant: without case and spaces, and with look-alikes put right.
pub(super) fn read_code(typed: &str) -> String {
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
        let code = || new_code(CODE_LENGTH).expect("random");
        let (a, b) = (code(), code());
        assert_ne!(a, b);
        assert_eq!(a.split('-').map(str::len).collect::<Vec<_>>(), [4, 4, 4, 4]);
        assert_eq!(read_code(&a), a.replace('-', ""));
    }
}

//! The second step of signing in: codes of a device by RFC 6238, and codes on paper that work once each.

use hmac::{Hmac, KeyInit, Mac};
use jiff::{SignedDuration, Timestamp};
use sha1::Sha1;

use super::Desk;
use super::accounts::{
    AccountError, AccountId, Attempt, Event, From, Kind, Person, What, let_in, new_code, note,
    read_code, register,
};
use super::person::person;
use super::sessions::{Coming, Token, come_in};
use super::spare::or_in_memory;
use crate::store::accounts::{Accounts, SecondStep};
use crate::store::{StoreError, Transaction, hash};
use crate::words::hexadecimal;

/// Seconds that a code is shown for.
const PERIOD: i64 = 30;
/// Digits of a code.
const DIGITS: usize = 6;
/// So many codes before and after the present one are taken: clocks differ.
const STEPS_OFF: i64 = 1;
/// Characters of a code on paper, 120 bits: its hash needs no salt (OWASP ASVS 5.0, V6.5.2).
const RECOVERY_LENGTH: usize = 24;
/// Codes on paper.
const RECOVERY_CODES: usize = 10;
/// How long somebody whose password was right may take for the second step.
const TICKET_LASTS: SignedDuration = SignedDuration::from_mins(10);

/// In place of a network, where tries count together wherever they come from.
const ANYWHERE: &str = "second step";

/// A second step as its owner sees it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    Off,
    /// The secret, in Base32 as devices take it.
    ToConfirm(String),
    On,
}

/// A code that is right, and is used up when it is spent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum TakenCode {
    /// Of the device: the number of its period.
    Device(i64),
    /// The hash of one on paper.
    OnPaper(String),
}

impl TakenCode {
    pub async fn spend(
        &self,
        accounts: &mut Accounts<'_>,
        id: &AccountId,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        match self {
            Self::Device(step) => accounts.take_step(id, *step, at).await,
            Self::OnPaper(hash) => accounts.delete_recovery_code(id, hash).await,
        }
    }

    /// Whether it is no code any more once `spent` was: of the device, none of an earlier period is either.
    pub fn is_spent_by(&self, spent: &Self) -> bool {
        match (self, spent) {
            (Self::Device(step), Self::Device(spent)) => step <= spent,
            (Self::OnPaper(hash), Self::OnPaper(spent)) => hash == spent,
            _ => false,
        }
    }

    fn words(&self) -> &'static str {
        match self {
            Self::Device(_) => "with a second step",
            Self::OnPaper(_) => "with a recovery code",
        }
    }
}

pub async fn state(desk: &Desk, id: &AccountId) -> Result<State, StoreError> {
    let mut reader = desk.store().read().await?;
    let held = reader.accounts().second_step(id).await?;
    Ok(match held {
        None => State::Off,
        Some(held) if held.confirmed => State::On,
        Some(held) => State::ToConfirm(base32(&secret_bytes(&held.secret))),
    })
}

/// Makes a secret, to be confirmed with a first code. One that is in use stays.
pub async fn begin(desk: &Desk, id: &AccountId) -> Result<(), AccountError> {
    let mut secret = [0_u8; 20];
    getrandom::fill(&mut secret).map_err(|why| AccountError::Machine(why.to_string()))?;
    let mut transaction = desk.store().write().await?;
    let held = transaction.accounts().second_step(id).await?;
    if held.is_none_or(|held| !held.confirmed) {
        let secret = hexadecimal(&secret);
        transaction
            .accounts()
            .begin_second_step(id, &secret)
            .await?;
    }
    transaction.commit().await?;
    Ok(())
}

/// Turns it on, if the code is right, and returns the codes on paper, which are nowhere else.
pub async fn confirm(
    desk: &Desk,
    attempt: Attempt<'_>,
    id: &AccountId,
    code: &str,
) -> Result<Vec<String>, AccountError> {
    let counted = register(desk, attempt).await?;
    let mut transaction = desk.store().write().await?;
    let held = transaction.accounts().second_step(id).await?;
    let held = held.filter(|held| !held.confirmed);
    let code = held.and_then(|held| device_code(&held, code, attempt.at));
    let Some(code) = code else {
        return wrong(desk, transaction, attempt, id).await;
    };
    let mut accounts = transaction.accounts();
    code.spend(&mut accounts, id, attempt.at).await?;
    let mut codes = Vec::new();
    for _ in 0..RECOVERY_CODES {
        let code = new_code(RECOVERY_LENGTH)?;
        let hashed = hash(&read_code(&code));
        transaction
            .accounts()
            .insert_recovery_code(id, &hashed)
            .await?;
        codes.push(code);
    }
    let_in(&mut transaction, &counted, attempt.at).await?;
    let event = attempt.event(What::SecondStepOn, id, "");
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    Ok(codes)
}

/// Turns it off, if a code of the device or a code on paper is right.
pub async fn end(
    desk: &Desk,
    attempt: Attempt<'_>,
    id: &AccountId,
    code: &str,
) -> Result<(), AccountError> {
    let counted = register(desk, attempt).await?;
    let mut transaction = desk.store().write().await?;
    if right_code(desk, &mut transaction.accounts(), id, code, attempt.at)
        .await?
        .is_none()
    {
        return wrong(desk, transaction, attempt, id).await;
    }
    transaction.accounts().end_second_step(id).await?;
    let_in(&mut transaction, &counted, attempt.at).await?;
    let event = attempt.event(What::SecondStepOff, id, "");
    transaction.accounts().note(event).await?;
    transaction.commit().await?;
    Ok(())
}

/// What somebody whose password was right comes back with. The write ends here.
pub(super) async fn ticket(
    desk: &Desk,
    mut transaction: Transaction,
    id: &AccountId,
    at: Timestamp,
) -> Result<String, AccountError> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|why| AccountError::Machine(why.to_string()))?;
    let ticket = hexadecimal(&bytes);
    let since = at.saturating_sub(TICKET_LASTS).unwrap_or(Timestamp::MIN);
    let hashed = hash(&ticket);
    let kept = async {
        let mut accounts = transaction.accounts();
        accounts.insert_ticket(&hashed, id, at, since).await?;
        transaction.commit().await
    };
    or_in_memory(kept.await, || {
        desk.spare
            .keep_ticket(desk.store(), hashed.clone(), (id, at), since);
    })?;
    Ok(ticket)
}

/// Lets somebody in whose password was right before. A ticket that is not known any more is
/// [`AccountError::ExpiredCode`].
pub async fn sign_in_with(
    desk: &Desk,
    ticket: &str,
    code: &str,
    from: From<'_>,
    at: Timestamp,
) -> Result<(Person, Token), AccountError> {
    let ticket = hash(ticket);
    let since = at.saturating_sub(TICKET_LASTS).unwrap_or(Timestamp::MIN);
    let mut reader = desk.store().read().await?;
    let id = whose(desk, &mut reader.accounts(), &ticket, since).await?;
    let account = match &id {
        Some(id) => reader.accounts().account(id).await?,
        None => None,
    };
    drop(reader);
    let id = id.filter(|_| account.is_some_and(|account| !account.disabled));
    let id = id.ok_or(AccountError::ExpiredCode)?;
    let person = person(desk, &id).await?.ok_or(AccountError::ExpiredCode)?;
    let attempt = Attempt {
        login: &id.login,
        from,
        at,
    };
    // whoever comes here has the password: codes count together, wherever they are tried from
    let anywhere = Attempt {
        from: From {
            network: ANYWHERE,
            ..from
        },
        ..attempt
    };
    let counted = register(desk, anywhere).await?;
    let mut transaction = desk.store().write().await?;
    let mut accounts = transaction.accounts();
    let right = match whose(desk, &mut accounts, &ticket, since).await? {
        Some(_) => right_code(desk, &mut accounts, &id, code, at).await?,
        None => None,
    };
    let Some(code) = right else {
        return wrong(desk, transaction, attempt, &id).await;
    };
    let coming = Coming {
        id: &id,
        counted: Some(&counted),
        event: attempt.event(What::SignedIn, &id, code.words()),
        second_step: Some((&ticket, code)),
    };
    let token = come_in(desk, transaction, coming).await?;
    Ok((person, token))
}

/// Whose ticket it is, if it was given out after `since` and is not used up.
async fn whose(
    desk: &Desk,
    accounts: &mut Accounts<'_>,
    ticket_hash: &str,
    since: Timestamp,
) -> Result<Option<AccountId>, StoreError> {
    match desk.spare.ticket(ticket_hash, since) {
        None if !desk.spare.has_ended(ticket_hash) => accounts.ticket(ticket_hash, since).await,
        id => Ok(id),
    }
}

/// Writes down that a code was wrong, and nothing else.
async fn wrong<T>(
    desk: &Desk,
    transaction: Transaction,
    attempt: Attempt<'_>,
    id: &AccountId,
) -> Result<T, AccountError> {
    transaction.abandon().await?;
    note(desk, attempt.event(What::Failed, id, "second step")).await?;
    Err(AccountError::WrongCode)
}

/// Whether staff need a second step.
pub async fn is_required(desk: &Desk) -> Result<bool, StoreError> {
    let mut reader = desk.store().read().await?;
    reader.accounts().is_second_step_required().await
}

/// Asks staff for a second step, or no longer.
pub async fn require(
    desk: &Desk,
    required: bool,
    by: &AccountId,
    network: &str,
    at: Timestamp,
) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    transaction.accounts().require_second_step(required).await?;
    let event = Event {
        at,
        what: What::RuleChanged,
        who: Some(by),
        by: "",
        subject: if required {
            "a second step for staff"
        } else {
            "no second step for staff"
        },
        network,
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await
}

/// Whether somebody has to set up a second step before anything else.
pub(super) async fn is_missing(desk: &Desk, id: &AccountId) -> Result<bool, StoreError> {
    if id.kind != Kind::Staff {
        return Ok(false);
    }
    let mut reader = desk.store().read().await?;
    let mut accounts = reader.accounts();
    if !accounts.is_second_step_required().await? {
        return Ok(false);
    }
    let held = accounts.second_step(id).await?;
    Ok(held.is_none_or(|held| !held.confirmed))
}

/// A code of either sort, if it is right.
async fn right_code(
    desk: &Desk,
    accounts: &mut Accounts<'_>,
    id: &AccountId,
    code: &str,
    at: Timestamp,
) -> Result<Option<TakenCode>, StoreError> {
    let held = accounts.second_step(id).await?;
    let on_paper = hash(&read_code(code));
    let right = match held.and_then(|held| device_code(&held, code, at)) {
        None if accounts.has_recovery_code(id, &on_paper).await? => {
            Some(TakenCode::OnPaper(on_paper))
        }
        of_device => of_device,
    };
    Ok(right.filter(|code| !desk.spare.has_spent(id, code)))
}

/// A code of the device: of the present period or one beside it, and never of one that was taken before.
fn device_code(held: &SecondStep, code: &str, at: Timestamp) -> Option<TakenCode> {
    let secret = secret_bytes(&held.secret);
    let typed: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    let now = at.as_second().div_euclid(PERIOD);
    let step = (now - STEPS_OFF..=now + STEPS_OFF)
        .filter(|step| *step > held.last_step)
        // by their hashes, in a time that does not tell how much of it was right
        .find(|step| hash(&code_of(&secret, *step)) == hash(&typed));
    step.map(TakenCode::Device)
}

/// The code of a step (RFC 6238, RFC 4226).
fn code_of(secret: &[u8], step: i64) -> String {
    let mut mac = <Hmac<Sha1> as KeyInit>::new_from_slice(secret)
        .expect("a message authentication code takes keys of every length");
    mac.update(&step.to_be_bytes());
    let digest = mac.finalize().into_bytes();
    let at = usize::from(digest[19] & 0xf);
    let part = [
        digest[at] & 0x7f,
        digest[at + 1],
        digest[at + 2],
        digest[at + 3],
    ];
    let number = u32::from_be_bytes(part) % 10_u32.pow(6);
    format!("{number:0DIGITS$}")
}

fn secret_bytes(hexadecimal: &str) -> Vec<u8> {
    let pairs = hexadecimal.as_bytes().chunks(2);
    let read = pairs.map(|pair| {
        let text = std::str::from_utf8(pair).unwrap_or_default();
        u8::from_str_radix(text, 16).unwrap_or_default()
    });
    read.collect()
}

/// RFC 4648, without padding.
fn base32(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 32] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
    let mut text = String::new();
    for group in bytes.chunks(5) {
        let mut all = [0_u8; 8];
        all[3..3 + group.len()].copy_from_slice(group);
        let number = u64::from_be_bytes(all);
        let letters = (group.len() * 8).div_ceil(5);
        for place in 0..letters {
            let shift = 35 - 5 * place;
            let five = usize::try_from((number >> shift) & 31).unwrap_or_default();
            text.push(char::from(ALPHABET[five]));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238, appendix B; the last six of its eight digits.
    #[test]
    fn codes_are_those_of_the_standard() {
        let secret = b"12345678901234567890";
        for (seconds, code) in [
            (59, "287082"),
            (1_111_111_109, "081804"),
            (1_111_111_111, "050471"),
            (1_234_567_890, "005924"),
            (2_000_000_000, "279037"),
            (20_000_000_000, "353130"),
        ] {
            assert_eq!(code_of(secret, seconds / PERIOD), code, "{seconds}");
        }
    }

    /// RFC 4648, section 10.
    #[test]
    fn secrets_are_written_as_the_standard_says() {
        for (text, written) in [
            ("", ""),
            ("f", "MY"),
            ("fo", "MZXQ"),
            ("foo", "MZXW6"),
            ("foob", "MZXW6YQ"),
            ("fooba", "MZXW6YTB"),
            ("foobar", "MZXW6YTBOI"),
        ] {
            assert_eq!(base32(text.as_bytes()), written);
        }
        assert_eq!(secret_bytes("00ff10"), [0, 255, 16]);
    }
}

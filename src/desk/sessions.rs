//! Sessions: begun, found, ended.

use std::fmt;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use sha2::{Digest, Sha256};

use super::Desk;
use super::accounts::{AccountError, AccountId, By, Event, Person, What};
use super::person::{number_beside, person};
use super::second_step::{self, TakenCode};
use super::throttle::{Counted, let_in};
use crate::ids::StudentId;
use crate::store::accounts::StoredSession;
use crate::store::{Store, StoreError, Transaction, hash};
use crate::words::hexadecimal;

/// A session not used for this long has ended.
pub const IDLE: SignedDuration = SignedDuration::from_hours(2);
/// A session that began this long ago has ended.
pub const LONGEST: SignedDuration = SignedDuration::from_hours(12);
/// A session of so far ahead is of a clock that was wrong, and would last too long by one that is right.
const CLOCK_SET_BACK: SignedDuration = SignedDuration::from_mins(5);
/// Use is written down at most this often: each time costs a write to disk.
const NOTED_EVERY: SignedDuration = SignedDuration::from_mins(1);
/// How long a page waits for that.
const LONGEST_NOTE: Duration = Duration::from_millis(20);

/// What names a session to its owner. The database keeps only its hash.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

#[derive(Clone, Debug)]
pub struct Session {
    /// Who they are where they are asking.
    pub person: Person,
    /// What they signed in with.
    pub account: AccountId,
    /// The number by which somebody with an account of staff is a student of other courses.
    pub number: Option<StudentId>,
    pub token: Token,
    /// Whether a second step has to be set up before anything else.
    pub lacks_second_step: bool,
}

impl Token {
    /// A token as a cookie brought it.
    pub fn from_cookie(text: &str) -> Self {
        Self(text.to_owned())
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What every form of the session carries, so that no other site can have made it. It does not lead back to the
    /// token, and it is another at each time, so that the length of compressed pages tells nothing of it.
    pub fn form_token(&self) -> String {
        let mut salt = [0_u8; 8];
        // without randomness it is the same each time, and as good otherwise
        let _filled = getrandom::fill(&mut salt);
        let salt = hexadecimal(&salt);
        self.salted(&salt)
    }

    /// Whether `given` is a form token, in a time that does not tell how much of it was right.
    pub fn is_form_token(&self, given: &str) -> bool {
        let salt = given.split('.').next().unwrap_or_default();
        Sha256::digest(given) == Sha256::digest(self.salted(salt))
    }

    fn salted(&self, salt: &str) -> String {
        let hashed = hash(&format!("form\u{1f}{salt}\u{1f}{}", self.0));
        format!("{salt}.{hashed}")
    }

    fn new() -> Result<Self, AccountError> {
        let mut bytes = [0_u8; 32];
        getrandom::fill(&mut bytes).map_err(|why| AccountError::Machine(why.to_string()))?;
        Ok(Self(hexadecimal(&bytes)))
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token")
    }
}

/// Begins a session within a write.
pub async fn begin_session(
    transaction: &mut Transaction,
    id: &AccountId,
    at: Timestamp,
) -> Result<Token, AccountError> {
    let token = Token::new()?;
    let ended = at.saturating_sub(LONGEST).unwrap_or(Timestamp::MIN);
    transaction
        .accounts()
        .insert_session(&hash(token.as_str()), id, at, ended)
        .await?;
    Ok(token)
}

/// Somebody who is let in.
pub(super) struct Coming<'a> {
    pub id: &'a AccountId,
    /// What is taken back of the attempt.
    pub counted: Option<&'a Counted>,
    /// Hash of the ticket and the code that are used up.
    pub second_step: Option<(&'a str, TakenCode)>,
    pub event: Event<'a>,
}

/// Lets somebody in with a write, which ends here; in memory, if the disk does not take it.
pub(super) async fn come_in(
    desk: &Desk,
    transaction: Transaction,
    coming: Coming<'_>,
) -> Result<Token, AccountError> {
    match coming.on_disk(transaction).await {
        Err(AccountError::Store(why)) if why.is_of_disk() => coming.in_memory(desk, why).await,
        other => other,
    }
}

impl Coming<'_> {
    async fn on_disk(&self, mut transaction: Transaction) -> Result<Token, AccountError> {
        let (id, at) = (self.id, self.event.at);
        let mut accounts = transaction.accounts();
        if let Some((ticket, code)) = &self.second_step {
            code.spend(&mut accounts, id, at).await?;
            accounts.delete_ticket(ticket).await?;
        }
        accounts.note(self.event).await?;
        if let Some(counted) = self.counted {
            let_in(&mut transaction, counted, at).await?;
        }
        let token = begin_session(&mut transaction, id, at).await?;
        transaction.commit().await?;
        Ok(token)
    }

    /// Whoever has no account yet is refused for the reason that the disk gave.
    async fn in_memory(&self, desk: &Desk, why: StoreError) -> Result<Token, AccountError> {
        let (id, at) = (self.id, self.event.at);
        let (spare, store) = (&desk.spare, desk.store());
        let account = store.read().await?.accounts().account(id).await?;
        let account = account.ok_or(why)?;
        if let Some((ticket, code)) = &self.second_step
            && !spare.take(store, ticket, (id, code, at))
        {
            return Err(AccountError::WrongCode);
        }
        if let Some(counted) = self.counted {
            spare.forget_failures(&counted.login, &counted.place);
        }
        let token = Token::new()?;
        let session = StoredSession {
            account: id.clone(),
            created_at: at,
            last_seen_at: at,
        };
        spare.note(store, self.event);
        let key = hash(token.as_str());
        spare.begin(store, key, session, account.password_hash);
        Ok(token)
    }
}

/// The session of a token, if it has not ended and its owner is still on a list.
pub async fn find_session(
    desk: &Desk,
    token: Token,
    at: Timestamp,
) -> Result<Option<Session>, StoreError> {
    let key = hash(token.as_str());
    let mut reader = desk.store().read().await?;
    let mut accounts = reader.accounts();
    // memory first: what is on its way to the disk is in one of the two
    let in_memory = desk.spare.session(&mut accounts, &key).await?;
    let is_in_memory = in_memory.is_some();
    let held = match in_memory {
        None if !desk.spare.has_ended(&key) => accounts.session(&key).await?,
        held => held,
    };
    let Some(held) = held else { return Ok(None) };
    drop(reader);
    let idle = at.duration_since(held.last_seen_at);
    if idle >= IDLE || at.duration_since(held.created_at) >= LONGEST || idle < -CLOCK_SET_BACK {
        // for good: a clock that is set back does not bring it back
        end_session(desk, &token).await?;
        return Ok(None);
    }
    let Some(person) = person(desk, &held.account).await? else {
        return Ok(None);
    };
    let number = number_beside(desk, &held.account).await?;
    desk.spare.touch(&key, at);
    if idle >= NOTED_EVERY && !is_in_memory {
        let store = desk.store().clone();
        let noted = tokio::spawn(async move {
            if let Err(why) = note_use(&store, &key, at).await {
                // a full disk must not keep anybody from reading
                tracing::warn!(error = %why, "use of a session not noted");
            }
        });
        // nor must somebody who writes much; it is noted all the same
        let _later = tokio::time::timeout(LONGEST_NOTE, noted).await;
    }
    Ok(Some(Session {
        lacks_second_step: second_step::is_missing(desk, &held.account).await?,
        person,
        number,
        account: held.account,
        token,
    }))
}

pub async fn end_session(desk: &Desk, token: &Token) -> Result<(), StoreError> {
    let key = hash(token.as_str());
    let on_disk = async {
        let mut transaction = desk.store().write().await?;
        transaction.accounts().delete_session(&key).await?;
        transaction.commit().await
    };
    desk.spare.end(desk.store(), &key, on_disk).await
}

/// Ends every session of an account, by its owner or (`by`) a coordinator.
pub async fn end_sessions_of(
    desk: &Desk,
    id: &AccountId,
    by: By<'_>,
    at: Timestamp,
) -> Result<(), StoreError> {
    let on_disk = async {
        let mut transaction = desk.store().write().await?;
        let mut accounts = transaction.accounts();
        accounts.delete_sessions_of(id).await?;
        let event = Event {
            at,
            what: What::SessionsEnded,
            who: Some(id),
            by: if by.login == id.login { "" } else { by.login },
            subject: "",
            network: by.network,
        };
        accounts.note(event).await?;
        transaction.commit().await
    };
    desk.spare.end_all_of(id, on_disk).await
}

async fn note_use(store: &Store, key: &str, at: Timestamp) -> Result<(), StoreError> {
    let mut transaction = store.write().await?;
    transaction.accounts().touch_session(key, at).await?;
    transaction.commit().await
}

//! What the disk did not take of people coming in: kept in memory, seen from there, and written as soon as there is room.
//!
//! Whoever runs a course has to come in while its disk is full, if only to take copies away. What is kept so is lost with
//! the process; until it is written, the log says that it happened.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::Timestamp;

use super::accounts::{AccountId, Event, What};
use super::second_step::TakenCode;
use crate::store::accounts::{Accounts, Failures, StoredSession};
use crate::store::{Store, StoreError};

/// How long after a write that failed the next is tried.
const AGAIN: Duration = Duration::from_secs(5);
/// Most of each sort that are kept: memory is not for ever either.
const MOST: usize = 10_000;
/// What the record of access says of what it was told late.
const LATE: &str = "while the disk was full";

/// Lies in the desk.
#[derive(Default)]
pub(super) struct Spare {
    kept: Mutex<Kept>,
    /// Held by whoever writes it out, or ends what may be on its way to the disk.
    writing: tokio::sync::Mutex<()>,
}

#[derive(Clone, Default)]
struct Kept {
    /// By the hash of their tokens.
    sessions: BTreeMap<String, SpareSession>,
    /// Sign-ins that wait for their second step, by the hash of their tickets.
    tickets: BTreeMap<String, (AccountId, Timestamp)>,
    /// Hashes of tokens and tickets that are used up.
    ended: BTreeSet<String>,
    codes: Vec<(AccountId, TakenCode, Timestamp)>,
    failures: Vec<SpareFailure>,
    events: Vec<SpareEvent>,
}

#[derive(Clone)]
struct SpareSession {
    session: StoredSession,
    /// Of the account when it was begun: with another password, or none, it is over.
    password_hash: Option<String>,
}

#[derive(Clone)]
struct SpareFailure {
    login: String,
    place: String,
    at: Timestamp,
}

#[derive(Clone)]
struct SpareEvent {
    at: Timestamp,
    what: What,
    who: Option<AccountId>,
    by: String,
    subject: String,
    network: String,
}

impl Spare {
    /// Keeps that something happened.
    pub fn note(self: &Arc<Self>, store: &Store, event: Event<'_>) {
        tracing::warn!(
            what = event.what.name(),
            who = event.who.map(|who| who.login.as_str()),
            "kept in memory, since the disk is full or broken"
        );
        let subject = match event.subject {
            "" => LATE.to_owned(),
            subject => format!("{subject}, {LATE}"),
        };
        let event = SpareEvent {
            at: event.at,
            what: event.what,
            who: event.who.cloned(),
            by: event.by.to_owned(),
            subject,
            network: event.network.to_owned(),
        };
        // whoever guesses without end takes no room from those who came in
        let is_failure = [What::Failed, What::Waits].contains(&event.what);
        let most = if is_failure { MOST / 2 } else { MOST };
        self.keep(store, |kept| {
            if kept.events.len() < most {
                kept.events.push(event);
            }
        });
    }

    /// Keeps a session, of an account as it stands.
    pub fn begin(
        self: &Arc<Self>,
        store: &Store,
        token_hash: String,
        session: StoredSession,
        password_hash: Option<String>,
    ) {
        self.keep(store, |kept| {
            if kept.sessions.len() >= MOST {
                kept.sessions.pop_first();
            }
            let session = SpareSession {
                session,
                password_hash,
            };
            kept.sessions.insert(token_hash, session);
        });
    }

    /// A session that lies here.
    pub async fn session(
        &self,
        accounts: &mut Accounts<'_>,
        token_hash: &str,
    ) -> Result<Option<StoredSession>, StoreError> {
        let found = self.lock().sessions.get(token_hash).cloned();
        match found {
            Some(found) if found.is_open(accounts).await? => Ok(Some(found.session)),
            _ => Ok(None),
        }
    }

    /// Notes that a session was used.
    pub fn touch(&self, token_hash: &str, at: Timestamp) {
        if let Some(held) = self.lock().sessions.get_mut(token_hash) {
            held.session.last_seen_at = at;
        }
    }

    /// Whether a session was ended, or a ticket used, and the disk did not hear of it.
    pub fn has_ended(&self, hash: &str) -> bool {
        self.lock().ended.contains(hash)
    }

    /// Ends a session, here and on its way to the disk; `on_disk` does so there.
    pub async fn end(
        self: &Arc<Self>,
        store: &Store,
        token_hash: &str,
        on_disk: impl Future<Output = Result<(), StoreError>>,
    ) -> Result<(), StoreError> {
        let _one = self.writing.lock().await;
        self.lock().sessions.remove(token_hash);
        or_in_memory(on_disk.await, || {
            self.keep(store, |kept| kept.end(token_hash));
        })
    }

    /// Ends every session of an account, if they could be ended on disk.
    pub async fn end_all_of(
        &self,
        id: &AccountId,
        on_disk: impl Future<Output = Result<(), StoreError>>,
    ) -> Result<(), StoreError> {
        let _one = self.writing.lock().await;
        on_disk.await?;
        let mut kept = self.lock();
        kept.sessions.retain(|_, held| held.session.account != *id);
        kept.tickets.retain(|_, (account, _)| account != id);
        Ok(())
    }

    /// Keeps a ticket for the second step, and lets go of those from before `since`.
    pub fn keep_ticket(
        self: &Arc<Self>,
        store: &Store,
        ticket_hash: String,
        (id, at): (&AccountId, Timestamp),
        since: Timestamp,
    ) {
        self.keep(store, |kept| {
            kept.tickets.retain(|_, (_, at)| *at > since);
            if kept.tickets.len() < MOST {
                kept.tickets.insert(ticket_hash, (id.clone(), at));
            }
        });
    }

    /// Whose ticket it is, if it lies here and was given out after `since`.
    pub fn ticket(&self, ticket_hash: &str, since: Timestamp) -> Option<AccountId> {
        let kept = self.lock();
        let (id, at) = kept.tickets.get(ticket_hash)?;
        (*at > since).then(|| id.clone())
    }

    /// Uses up a ticket with a code; false if either was used up before.
    pub fn take(
        self: &Arc<Self>,
        store: &Store,
        ticket_hash: &str,
        (id, code, at): (&AccountId, &TakenCode, Timestamp),
    ) -> bool {
        self.keep(store, |kept| {
            let used = kept.ended.contains(ticket_hash) || kept.has_spent(id, code);
            if !used {
                kept.tickets.remove(ticket_hash);
                kept.end(ticket_hash);
                kept.codes.push((id.clone(), code.clone(), at));
            }
            !used
        })
    }

    /// Whether a code was used up, and the disk did not hear of it.
    pub fn has_spent(&self, id: &AccountId, code: &TakenCode) -> bool {
        self.lock().has_spent(id, code)
    }

    /// Adds the failures that lie here.
    pub fn add_failures(&self, login: &str, place: &str, since: Timestamp, to: &mut Failures) {
        for failure in &self.lock().failures {
            if failure.at <= since {
                continue;
            }
            if failure.login == login {
                to.of_login = to.of_login.saturating_add(1);
                if failure.place == place {
                    to.of_login_here.push(failure.at);
                }
            }
        }
    }

    /// Counts a failure, unless `most` of that login from that place lie here already.
    pub fn count(
        self: &Arc<Self>,
        store: &Store,
        (login, place): (&str, &str),
        at: Timestamp,
        (since, most): (Timestamp, usize),
    ) -> bool {
        self.keep(store, |kept| {
            kept.failures.retain(|failure| failure.at > since);
            let same = kept.failures.iter();
            let same = same.filter(|f| f.login == login && f.place == place);
            let counts = same.count() < most;
            if counts {
                if kept.failures.len() >= MOST {
                    kept.failures.remove(0);
                }
                kept.failures.push(SpareFailure {
                    login: login.to_owned(),
                    place: place.to_owned(),
                    at,
                });
            }
            counts
        })
    }

    /// Takes back what was counted here.
    pub fn forget_failures(&self, login: &str, place: &str) {
        let mut kept = self.lock();
        kept.failures
            .retain(|failure| failure.login != login || failure.place != place);
    }

    /// Writes what lies here, all or nothing; whether nothing is left.
    pub async fn write_out(&self, store: &Store) -> bool {
        if self.lock().is_empty() {
            return true;
        }
        let _one = self.writing.lock().await;
        let kept = self.lock().clone();
        match kept.write(store).await {
            Ok(()) => {
                tracing::warn!("what was kept in memory of people coming in is on disk now");
                self.lock().take_away(&kept);
                true
            }
            Err(why) => {
                tracing::debug!(error = %why, "what is kept in memory stays there");
                false
            }
        }
    }

    /// Alters what lies here; the first that comes to lie here is what somebody begins to wait for.
    fn keep<T>(self: &Arc<Self>, store: &Store, alter: impl FnOnce(&mut Kept) -> T) -> T {
        let mut kept = self.lock();
        let was_empty = kept.is_empty();
        let altered = alter(&mut kept);
        if was_empty && !kept.is_empty() {
            let (spare, store) = (Arc::clone(self), store.clone());
            tokio::spawn(async move {
                while !spare.write_out(&store).await {
                    tokio::time::sleep(AGAIN).await;
                }
            });
        }
        altered
    }

    fn lock(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What the disk said, unless it took nothing and memory does.
pub(super) fn or_in_memory(
    written: Result<(), StoreError>,
    in_memory: impl FnOnce(),
) -> Result<(), StoreError> {
    match written {
        Err(why) if why.is_of_disk() => {
            in_memory();
            Ok(())
        }
        other => other,
    }
}

impl SpareSession {
    /// Whether its account is open and has the password it had.
    async fn is_open(&self, accounts: &mut Accounts<'_>) -> Result<bool, StoreError> {
        let account = accounts.account(&self.session.account).await?;
        Ok(account.is_some_and(|a| !a.disabled && a.password_hash == self.password_hash))
    }
}

impl Kept {
    fn is_empty(&self) -> bool {
        self.sessions.is_empty()
            && self.tickets.is_empty()
            && self.ended.is_empty()
            && self.codes.is_empty()
            && self.failures.is_empty()
            && self.events.is_empty()
    }

    fn end(&mut self, hash: &str) {
        if self.ended.len() < MOST {
            self.ended.insert(hash.to_owned());
        }
    }

    fn has_spent(&self, id: &AccountId, code: &TakenCode) -> bool {
        let mut spent = self.codes.iter();
        spent.any(|(account, spent, _)| account == id && code.is_spent_by(spent))
    }

    async fn write(&self, store: &Store) -> Result<(), StoreError> {
        let mut transaction = store.write().await?;
        let mut accounts = transaction.accounts();
        for event in &self.events {
            accounts.note(event.borrowed()).await?;
        }
        for failure in &self.failures {
            let SpareFailure { login, place, at } = failure;
            accounts
                .insert_failure(login, place, *at, Timestamp::MIN)
                .await?;
        }
        for (id, code, at) in &self.codes {
            code.spend(&mut accounts, id, *at).await?;
        }
        for hash in &self.ended {
            accounts.delete_session(hash).await?;
            accounts.delete_ticket(hash).await?;
        }
        for (hash, held) in &self.sessions {
            if held.is_open(&mut accounts).await? {
                let (id, begun) = (&held.session.account, held.session.created_at);
                accounts
                    .insert_session(hash, id, begun, Timestamp::MIN)
                    .await?;
                let used = held.session.last_seen_at;
                accounts.touch_session(hash, used).await?;
            }
        }
        transaction.commit().await
    }

    /// Lets go of what was written; tickets are written nowhere, since whoever waits for one signs in anew.
    fn take_away(&mut self, written: &Self) {
        self.events.drain(..written.events.len());
        self.failures.clear();
        self.codes.drain(..written.codes.len());
        self.ended.retain(|hash| !written.ended.contains(hash));
        self.sessions
            .retain(|hash, _| !written.sessions.contains_key(hash));
        self.tickets.clear();
    }
}

impl SpareEvent {
    fn borrowed(&self) -> Event<'_> {
        Event {
            at: self.at,
            what: self.what,
            who: self.who.as_ref(),
            by: &self.by,
            subject: &self.subject,
            network: &self.network,
        }
    }
}

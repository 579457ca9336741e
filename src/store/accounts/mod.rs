//! Accounts: password hashes, claim codes, sessions, failed attempts. Nothing of it is a change of the course, and nothing
//! in its tables points into the course: who is on which list, the course says.

mod claims;
mod events;
mod moved;
mod second_steps;
mod sessions;
mod settings;
mod throttle;

use std::collections::BTreeSet;

use jiff::Timestamp;

use super::StoreError;
use super::sql::{Connection, Query, query, query_scalar};

pub use events::{AccessEvent, Event, What, newest_event};
pub(super) use events::{Removed, altered_events};
pub use moved::MovedAccount;
pub use second_steps::SecondStep;
pub use sessions::StoredSession;
pub use settings::Setting;
pub use throttle::Failures;

/// The accounts of a database.
pub struct Accounts<'c>(pub &'c mut Connection);

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct AccountId {
    /// Which list the person is on.
    pub kind: Kind,
    /// As that list spells it.
    pub login: String,
}

/// The list a person is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Staff,
    Student,
}

/// An account as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// PHC string; none until it is claimed.
    pub password_hash: Option<String>,
    /// Whether it may be used.
    pub disabled: bool,
}

/// A statement about an account, whose kind and login are its first two parameters.
fn of_account(sql: &'static str, id: &AccountId) -> Query {
    query(sql).bind(id.kind.name()).bind(&id.login)
}

/// A claim code as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClaimCode {
    pub id: i64,
    /// Until when it may be used.
    pub expires_at: Timestamp,
    /// Whether it, or one issued with it, has been used.
    pub used: bool,
}

impl Kind {
    /// As it is stored.
    pub fn name(self) -> &'static str {
        match self {
            Self::Staff => "staff",
            Self::Student => "student",
        }
    }

    pub(super) fn from_name(name: &str) -> Option<Self> {
        [Self::Staff, Self::Student]
            .into_iter()
            .find(|kind| kind.name() == name)
    }
}

impl Accounts<'_> {
    /// Takes the account of a member of staff away: on the list again, they set a password anew, and a platform has to name
    /// them anew.
    pub(super) async fn remove_staff(&mut self, login: &str) -> Result<(), StoreError> {
        for statement in [
            "DELETE FROM session WHERE kind = 'staff' AND lower(login) = lower($1)",
            "DELETE FROM claim_code WHERE kind = 'staff' AND lower(login) = lower($1)",
            "DELETE FROM account WHERE kind = 'staff' AND lower(login) = lower($1)",
            "UPDATE mail SET address = '' WHERE kind = 'staff' AND lower(who) = lower($1)",
            "DELETE FROM mail_choice WHERE kind = 'staff' AND lower(who) = lower($1)",
            "DELETE FROM calendar WHERE kind = 'staff' AND lower(who) = lower($1)",
            "DELETE FROM lti_member WHERE (issuer, sub) IN
                 (SELECT issuer, sub FROM lti_person WHERE kind = 'staff' AND lower(login) = lower($1))",
            "DELETE FROM lti_person WHERE kind = 'staff' AND lower(login) = lower($1)",
        ] {
            let statement = query(statement).bind(login);
            statement.execute(&mut *self.0).await?;
        }
        Ok(())
    }

    /// Takes the account of a student away who signs in by a login of staff from now on. Whom platforms call by it stays
    /// known, since grades go there; it lets nobody in.
    pub(super) async fn remove_student(&mut self, number: &str) -> Result<(), StoreError> {
        for statement in [
            "DELETE FROM session WHERE kind = 'student' AND login = $1",
            "DELETE FROM claim_code WHERE kind = 'student' AND login = $1",
            "DELETE FROM account WHERE kind = 'student' AND login = $1",
        ] {
            let statement = query(statement).bind(number);
            statement.execute(&mut *self.0).await?;
        }
        Ok(())
    }

    /// Logins of that kind whose owners have set a password.
    pub async fn with_password(&mut self, kind: Kind) -> Result<BTreeSet<String>, StoreError> {
        let logins: Vec<String> =
            query_scalar("SELECT login FROM account WHERE kind = $1 AND password_hash IS NOT NULL")
                .bind(kind.name())
                .fetch_all(&mut *self.0)
                .await?;
        Ok(logins.into_iter().collect())
    }

    /// The account, if there is one.
    pub async fn account(&mut self, id: &AccountId) -> Result<Option<Account>, StoreError> {
        let row = of_account(
            "SELECT password_hash, disabled_at FROM account WHERE kind = $1 AND login = $2",
            id,
        )
        .fetch_optional(&mut *self.0)
        .await?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(Account {
            password_hash: row.try_get("password_hash")?,
            disabled: row.try_get::<Option<i64>>("disabled_at")?.is_some(),
        }))
    }

    /// Makes sure there is an account.
    pub async fn keep_account(&mut self, id: &AccountId, at: Timestamp) -> Result<(), StoreError> {
        of_account(
            "INSERT INTO account (kind, login, created_at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING",
            id,
        )
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The name under which somebody's drafts are kept in browsers; nobody can be told by it.
    pub async fn draft_owner(&mut self, id: &AccountId) -> Result<String, StoreError> {
        let name = query_scalar("SELECT name FROM draft_owner WHERE kind = $1 AND login = $2")
            .bind(id.kind.name())
            .bind(&id.login)
            .fetch_optional(&mut *self.0)
            .await?;
        Ok(name.unwrap_or_default())
    }

    /// Sets the password hash of an account, which is made if there is none.
    pub async fn set_password_hash(
        &mut self,
        id: &AccountId,
        hash: &str,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        self.keep_account(id, at).await?;
        of_account(
            "UPDATE account SET password_hash = $3 WHERE kind = $1 AND login = $2",
            id,
        )
        .bind(hash)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Closes an account from an instant on, or (none) opens it again.
    pub async fn set_disabled(
        &mut self,
        id: &AccountId,
        disabled_at: Option<Timestamp>,
    ) -> Result<(), StoreError> {
        of_account(
            "UPDATE account SET disabled_at = $3 WHERE kind = $1 AND login = $2",
            id,
        )
        .bind(disabled_at.map(Timestamp::as_millisecond))
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }
}

//! Sessions, known by the hash of their token.

use jiff::Timestamp;

use super::Accounts;
use super::{AccountId, Kind, of_account};
use crate::store::StoreError;
use crate::store::journal::instant;
use crate::store::sql::query;

/// A session as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredSession {
    pub account: AccountId,
    pub created_at: Timestamp,
    /// When it was last used, to within a minute.
    pub last_seen_at: Timestamp,
}

impl Accounts<'_> {
    /// Keeps a new session, and lets go of those that began at or before `ended_before`.
    pub async fn insert_session(
        &mut self,
        token_hash: &str,
        id: &AccountId,
        at: Timestamp,
        ended_before: Timestamp,
    ) -> Result<(), StoreError> {
        query("DELETE FROM session WHERE created_at <= $1")
            .bind(ended_before.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        of_account(
            "INSERT INTO session (kind, login, token_hash, created_at, last_seen_at) VALUES ($1, $2, $3, $4, $4)",
            id,
        )
        .bind(token_hash)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The session of that token, if its account may be used.
    pub async fn session(&mut self, token_hash: &str) -> Result<Option<StoredSession>, StoreError> {
        let row = query(
            "SELECT session.* FROM session JOIN account USING (kind, login)
             WHERE token_hash = $1 AND disabled_at IS NULL",
        )
        .bind(token_hash)
        .fetch_optional(&mut *self.0)
        .await?;
        let Some(row) = row else { return Ok(None) };
        let kind: String = row.try_get("kind")?;
        let kind =
            Kind::from_name(&kind).ok_or_else(|| StoreError::damaged("session.kind", kind))?;
        Ok(Some(StoredSession {
            account: AccountId {
                kind,
                login: row.try_get("login")?,
            },
            created_at: instant(row.try_get("created_at")?, "session.created_at")?,
            last_seen_at: instant(row.try_get("last_seen_at")?, "session.last_seen_at")?,
        }))
    }

    /// Notes that a session was used.
    pub async fn touch_session(
        &mut self,
        token_hash: &str,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        query("UPDATE session SET last_seen_at = $1 WHERE token_hash = $2")
            .bind(at.as_millisecond())
            .bind(token_hash)
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }

    pub async fn delete_session(&mut self, token_hash: &str) -> Result<(), StoreError> {
        query("DELETE FROM session WHERE token_hash = $1")
            .bind(token_hash)
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }

    /// Ends every session of an account, and every sign-in that waits for its second step.
    pub async fn delete_sessions_of(&mut self, id: &AccountId) -> Result<(), StoreError> {
        for delete in [
            "DELETE FROM session WHERE kind = $1 AND login = $2",
            "DELETE FROM half_sign_in WHERE kind = $1 AND login = $2",
        ] {
            of_account(delete, id).execute(&mut *self.0).await?;
        }
        Ok(())
    }
}

//! Claim codes, and attempts to sign in or claim that failed.

use jiff::Timestamp;
use sqlx::Row;

use super::Accounts;
use super::{AccountId, ClaimCode};
use crate::store::StoreError;
use crate::store::journal::instant;

impl Accounts<'_> {
    /// Keeps a claim code; those issued before it to the same account can no longer be used.
    pub async fn insert_claim_code(
        &mut self,
        id: &AccountId,
        code_hash: &str,
        at: Timestamp,
        expires_at: Timestamp,
    ) -> Result<(), StoreError> {
        self.use_claim_codes(id, at).await?;
        sqlx::query(
            "INSERT INTO claim_code (kind, login, code_hash, issued_at, expires_at) VALUES (?, ?, ?, ?, ?)",
        )
        .bind(id.kind.name())
        .bind(&id.login)
        .bind(code_hash)
        .bind(at.as_millisecond())
        .bind(expires_at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The claim code of an account by its hash.
    pub async fn claim_code(
        &mut self,
        id: &AccountId,
        code_hash: &str,
    ) -> Result<Option<ClaimCode>, StoreError> {
        let row = sqlx::query(
            "SELECT id, expires_at, used_at FROM claim_code WHERE kind = ? AND login = ? AND code_hash = ?",
        )
        .bind(id.kind.name())
        .bind(&id.login)
        .bind(code_hash)
        .fetch_optional(&mut *self.0)
        .await?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(ClaimCode {
            id: row.try_get("id")?,
            expires_at: instant(row.try_get("expires_at")?, "claim_code.expires_at")?,
            used: row.try_get::<Option<i64>, _>("used_at")?.is_some(),
        }))
    }

    /// Marks every claim code of an account as used.
    pub async fn use_claim_codes(
        &mut self,
        id: &AccountId,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "UPDATE claim_code SET used_at = ? WHERE kind = ? AND login = ? AND used_at IS NULL",
        )
        .bind(at.as_millisecond())
        .bind(id.kind.name())
        .bind(&id.login)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Instants of failures since `since`, oldest first: of a login, and of an address.
    pub async fn failures_since(
        &mut self,
        login_hash: &str,
        address: &str,
        since: Timestamp,
    ) -> Result<(Vec<Timestamp>, Vec<Timestamp>), StoreError> {
        let mut of = async |column: &str, key: &str| -> Result<Vec<Timestamp>, StoreError> {
            let query =
                format!("SELECT at FROM sign_in_failure WHERE {column} = ? AND at > ? ORDER BY at");
            let found: Vec<i64> = sqlx::query_scalar(sqlx::AssertSqlSafe(query))
                .bind(key)
                .bind(since.as_millisecond())
                .fetch_all(&mut *self.0)
                .await?;
            found
                .into_iter()
                .map(|at| instant(at, "sign_in_failure.at"))
                .collect()
        };
        Ok((
            of("login_hash", login_hash).await?,
            of("address", address).await?,
        ))
    }

    /// Keeps a failure, and lets go of those before `since`.
    pub async fn insert_failure(
        &mut self,
        login_hash: &str,
        address: &str,
        at: Timestamp,
        since: Timestamp,
    ) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM sign_in_failure WHERE at <= ?")
            .bind(since.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        sqlx::query("INSERT INTO sign_in_failure (login_hash, address, at) VALUES (?, ?, ?)")
            .bind(login_hash)
            .bind(address)
            .bind(at.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }

    /// Forgets the failures of a login.
    pub async fn forget_failures(&mut self, login_hash: &str) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM sign_in_failure WHERE login_hash = ?")
            .bind(login_hash)
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }
}

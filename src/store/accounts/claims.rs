//! Claim codes, and attempts to sign in or claim that failed.

use jiff::Timestamp;

use super::Accounts;
use super::{AccountId, ClaimCode, of_account};
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
        of_account("INSERT INTO claim_code (kind, login, code_hash, issued_at, expires_at) VALUES ($1, $2, $3, $4, $5)", id)
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
        let row = of_account("SELECT id, expires_at, used_at FROM claim_code WHERE kind = $1 AND login = $2 AND code_hash = $3", id)
        .bind(code_hash)
        .fetch_optional(&mut *self.0)
        .await?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(ClaimCode {
            id: row.try_get("id")?,
            expires_at: instant(row.try_get("expires_at")?, "claim_code.expires_at")?,
            used: row.try_get::<Option<i64>>("used_at")?.is_some(),
        }))
    }

    /// Marks every claim code of an account as used.
    pub async fn use_claim_codes(
        &mut self,
        id: &AccountId,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        of_account(
            "UPDATE claim_code SET used_at = $3 WHERE kind = $1 AND login = $2 AND used_at IS NULL",
            id,
        )
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }
}

//! The second step of signing in.

use jiff::Timestamp;

use super::{AccountId, Accounts, Kind, of_account};
use crate::store::StoreError;
use crate::store::sql::{query, query_scalar};

/// A second step as it is kept.
#[derive(Clone, PartialEq, Eq)]
pub struct SecondStep {
    /// Hexadecimal.
    pub secret: String,
    pub confirmed: bool,
    /// Of the newest code that was taken.
    pub last_step: i64,
}

const REQUIRED: &str = "second-step-of-staff";

impl Accounts<'_> {
    pub async fn second_step(&mut self, id: &AccountId) -> Result<Option<SecondStep>, StoreError> {
        let row = of_account(
            "SELECT * FROM second_step WHERE kind = $1 AND login = $2",
            id,
        )
        .fetch_optional(&mut *self.0)
        .await?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(SecondStep {
            secret: row.try_get("secret")?,
            confirmed: row.try_get::<Option<i64>>("confirmed_at")?.is_some(),
            last_step: row.try_get("last_step")?,
        }))
    }

    /// Keeps a secret that is still to be confirmed.
    pub async fn begin_second_step(
        &mut self,
        id: &AccountId,
        secret: &str,
    ) -> Result<(), StoreError> {
        of_account("INSERT INTO second_step (kind, login, secret, last_step) VALUES ($1, $2, $3, 0)
             ON CONFLICT (kind, login) DO UPDATE SET secret = excluded.secret, last_step = 0, confirmed_at = NULL", id)
        .bind(secret)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Notes that the code of a step was taken; with the first, the second step is confirmed.
    pub async fn take_step(
        &mut self,
        id: &AccountId,
        step: i64,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        of_account(
            "UPDATE second_step SET last_step = $3, confirmed_at = coalesce(confirmed_at, $4) WHERE kind = $1 AND login = $2",
            id,
        )
        .bind(step)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Takes the second step away, and its recovery codes.
    pub async fn end_second_step(&mut self, id: &AccountId) -> Result<(), StoreError> {
        for statement in [
            "DELETE FROM second_step WHERE kind = $1 AND login = $2",
            "DELETE FROM recovery_code WHERE kind = $1 AND login = $2",
        ] {
            of_account(statement, id).execute(&mut *self.0).await?;
        }
        Ok(())
    }

    pub async fn insert_recovery_code(
        &mut self,
        id: &AccountId,
        code_hash: &str,
    ) -> Result<(), StoreError> {
        of_account(
            "INSERT INTO recovery_code (kind, login, code_hash) VALUES ($1, $2, $3)",
            id,
        )
        .bind(code_hash)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    pub async fn has_recovery_code(
        &mut self,
        id: &AccountId,
        code_hash: &str,
    ) -> Result<bool, StoreError> {
        let held = query_scalar(
            "SELECT EXISTS (SELECT 1 FROM recovery_code WHERE kind = $1 AND login = $2 AND code_hash = $3)",
        );
        let held = held.bind(id.kind.name()).bind(&id.login).bind(code_hash);
        Ok(held.fetch_one(&mut *self.0).await?)
    }

    pub async fn delete_recovery_code(
        &mut self,
        id: &AccountId,
        code_hash: &str,
    ) -> Result<(), StoreError> {
        of_account(
            "DELETE FROM recovery_code WHERE kind = $1 AND login = $2 AND code_hash = $3",
            id,
        )
        .bind(code_hash)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Keeps a ticket for the second step, and lets go of those from before `since`.
    pub async fn insert_ticket(
        &mut self,
        ticket_hash: &str,
        id: &AccountId,
        at: Timestamp,
        since: Timestamp,
    ) -> Result<(), StoreError> {
        query("DELETE FROM half_sign_in WHERE at <= $1")
            .bind(since.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        of_account(
            "INSERT INTO half_sign_in (kind, login, ticket_hash, at) VALUES ($1, $2, $3, $4)",
            id,
        )
        .bind(ticket_hash)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Whose ticket it is, if it was given out after `since`.
    pub async fn ticket(
        &mut self,
        ticket_hash: &str,
        since: Timestamp,
    ) -> Result<Option<AccountId>, StoreError> {
        let row = query("SELECT kind, login FROM half_sign_in WHERE ticket_hash = $1 AND at > $2")
            .bind(ticket_hash)
            .bind(since.as_millisecond())
            .fetch_optional(&mut *self.0)
            .await?;
        let Some(row) = row else { return Ok(None) };
        let kind: String = row.try_get("kind")?;
        let kind = Kind::from_name(&kind);
        let kind = kind.ok_or_else(|| StoreError::damaged("half_sign_in.kind", "no such kind"))?;
        let login = row.try_get("login")?;
        Ok(Some(AccountId { kind, login }))
    }

    pub async fn delete_ticket(&mut self, ticket_hash: &str) -> Result<(), StoreError> {
        query("DELETE FROM half_sign_in WHERE ticket_hash = $1")
            .bind(ticket_hash)
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }

    /// Whether staff need a second step.
    pub async fn is_second_step_required(&mut self) -> Result<bool, StoreError> {
        let asked = query_scalar("SELECT EXISTS (SELECT 1 FROM sign_in_rule WHERE name = $1)");
        Ok(asked.bind(REQUIRED).fetch_one(&mut *self.0).await?)
    }

    pub async fn require_second_step(&mut self, required: bool) -> Result<(), StoreError> {
        let statement = if required {
            "INSERT INTO sign_in_rule (name) VALUES ($1) ON CONFLICT DO NOTHING"
        } else {
            "DELETE FROM sign_in_rule WHERE name = $1"
        };
        let statement = query(statement).bind(REQUIRED);
        statement.execute(&mut *self.0).await?;
        Ok(())
    }
}

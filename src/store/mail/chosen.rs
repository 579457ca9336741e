//! What people chose of their mail, and the addresses of their calendars.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{MailFor, Mails};
use crate::store::StoreError;
use crate::store::accounts::Kind;
use crate::store::sql::{query, query_scalar};

/// What somebody chose of their mail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Whether they want more than codes.
    pub wanted: bool,
    /// Of staff; empty for students.
    pub address: String,
}

impl Mails<'_> {
    /// What everybody chose who did.
    pub async fn choices(&mut self) -> Result<BTreeMap<MailFor, Choice>, StoreError> {
        let rows = query("SELECT * FROM mail_choice").fetch_all(&mut *self.0);
        let rows = rows.await?;
        let read = rows.iter().map(|row| {
            let kind: String = row.try_get("kind")?;
            let kind = Kind::from_name(&kind);
            let wanted: i64 = row.try_get("wanted")?;
            let to = MailFor {
                kind: kind
                    .ok_or_else(|| StoreError::damaged("mail_choice.kind", "no such kind"))?,
                key: row.try_get("who")?,
            };
            let choice = Choice {
                wanted: wanted != 0,
                address: row.try_get("address")?,
            };
            Ok((to, choice))
        });
        read.collect()
    }

    pub async fn choose(&mut self, of: &MailFor, choice: &Choice) -> Result<(), StoreError> {
        query(
            "INSERT INTO mail_choice (kind, who, wanted, address) VALUES ($1, $2, $3, $4)
             ON CONFLICT (kind, who) DO UPDATE SET wanted = excluded.wanted, address = excluded.address",
        )
        .bind(of.kind.name())
        .bind(&of.key)
        .bind(i64::from(choice.wanted))
        .bind(&choice.address)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// The secret in the address of somebody's calendar.
    pub async fn calendar_of(&mut self, of: &MailFor) -> Result<Option<String>, StoreError> {
        let secret = query_scalar("SELECT secret FROM calendar WHERE kind = $1 AND who = $2");
        let secret = secret.bind(of.kind.name()).bind(&of.key);
        Ok(secret.fetch_optional(&mut *self.0).await?)
    }

    /// Gives somebody's calendar an address in the place of the one before, or (none) takes it away.
    pub async fn set_calendar(
        &mut self,
        of: &MailFor,
        secret: Option<&str>,
        at: Timestamp,
    ) -> Result<(), StoreError> {
        query("DELETE FROM calendar WHERE kind = $1 AND who = $2")
            .bind(of.kind.name())
            .bind(&of.key)
            .execute(&mut *self.0)
            .await?;
        if let Some(secret) = secret {
            query("INSERT INTO calendar (kind, who, secret, made_at) VALUES ($1, $2, $3, $4)")
                .bind(of.kind.name())
                .bind(&of.key)
                .bind(secret)
                .bind(at.as_millisecond())
                .execute(&mut *self.0)
                .await?;
        }
        Ok(())
    }

    /// Whose calendar a secret opens.
    pub async fn calendar(&mut self, secret: &str) -> Result<Option<MailFor>, StoreError> {
        let row = query("SELECT kind, who FROM calendar WHERE secret = $1").bind(secret);
        let Some(row) = row.fetch_optional(&mut *self.0).await? else {
            return Ok(None);
        };
        let kind: String = row.try_get("kind")?;
        let kind = Kind::from_name(&kind);
        Ok(Some(MailFor {
            kind: kind.ok_or_else(|| StoreError::damaged("calendar.kind", "no such kind"))?,
            key: row.try_get("who")?,
        }))
    }
}

//! Keys by which this server signs.

use jiff::Timestamp;

use crate::campus::PublicKey;
use crate::store::StoreError;
use crate::store::journal::instant;
use crate::store::sql::{Connection, query, query_scalar};

/// The keys of a database.
pub struct Keys<'c>(pub &'c mut Connection);

/// A key without its secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptKey {
    pub public: PublicKey,
    pub made_at: Timestamp,
    pub retired_at: Option<Timestamp>,
}

impl Keys<'_> {
    /// All of them, the newest first.
    pub async fn all(&mut self) -> Result<Vec<KeptKey>, StoreError> {
        let rows = query("SELECT * FROM lti_key ORDER BY made_at DESC, kid");
        let rows = rows.fetch_all(&mut *self.0).await?;
        let read = rows.iter().map(|row| {
            let retired: Option<i64> = row.try_get("retired_at")?;
            Ok(KeptKey {
                public: PublicKey {
                    kid: row.try_get("kid")?,
                    n: row.try_get("n")?,
                    e: row.try_get("e")?,
                },
                made_at: instant(row.try_get("made_at")?, "lti_key.made_at")?,
                retired_at: retired
                    .map(|at| instant(at, "lti_key.retired_at"))
                    .transpose()?,
            })
        });
        read.collect()
    }

    /// The secret of the one that signs; none where no key was made yet.
    pub async fn signing(&mut self) -> Result<Option<String>, StoreError> {
        let secret = query_scalar(
            "SELECT private FROM lti_key WHERE retired_at IS NULL ORDER BY made_at DESC, kid LIMIT 1",
        );
        Ok(secret.fetch_optional(&mut *self.0).await?)
    }

    /// Knows none any more: what they stood for is known by others now.
    pub async fn forget_all(&mut self) -> Result<(), StoreError> {
        query("DELETE FROM lti_key").execute(&mut *self.0).await?;
        Ok(())
    }

    /// Keeps a new one that signs from now on. Of those before, the public part alone stays, and of those retired before
    /// `old` nothing.
    pub async fn keep(
        &mut self,
        (public, secret): (&PublicKey, &str),
        at: Timestamp,
        old: Timestamp,
    ) -> Result<(), StoreError> {
        query("UPDATE lti_key SET private = '', retired_at = $1 WHERE retired_at IS NULL")
            .bind(at.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        query("DELETE FROM lti_key WHERE retired_at < $1")
            .bind(old.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        query("INSERT INTO lti_key (kid, n, e, private, made_at) VALUES ($1, $2, $3, $4, $5)")
            .bind(&public.kid)
            .bind(&public.n)
            .bind(&public.e)
            .bind(secret)
            .bind(at.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }
}

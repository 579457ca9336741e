//! Attempts that failed, and browsers that have been let in before.

use jiff::Timestamp;

use super::Accounts;
use crate::store::StoreError;
use crate::store::journal::instant;
use crate::store::sql::{query, query_scalar};

/// What has failed lately.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Failures {
    /// Of a login from one place, oldest first.
    pub of_login_here: Vec<Timestamp>,
    /// Of a login from anywhere.
    pub of_login: i64,
    /// Of whatever login from one network.
    pub of_network: i64,
}

impl Accounts<'_> {
    /// Failures since `since`: of a login, the place being a network or a known browser, and of a network.
    pub async fn failures_since(
        &mut self,
        login_hash: &str,
        place: &str,
        since: Timestamp,
    ) -> Result<Failures, StoreError> {
        let rows = query(
            "SELECT address, at FROM sign_in_failure WHERE login_hash = $1 AND at > $2 ORDER BY at",
        )
        .bind(login_hash)
        .bind(since.as_millisecond())
        .fetch_all(&mut *self.0)
        .await?;
        let mut failures = Failures {
            of_network: self.failures_of(place, since).await?,
            ..Failures::default()
        };
        for row in rows {
            failures.of_login = failures.of_login.saturating_add(1);
            if row.try_get::<String>("address")? == place {
                let at = instant(row.try_get("at")?, "sign_in_failure.at")?;
                failures.of_login_here.push(at);
            }
        }
        Ok(failures)
    }

    /// How many failures there were from a network since `since`.
    pub async fn failures_of(
        &mut self,
        network: &str,
        since: Timestamp,
    ) -> Result<i64, StoreError> {
        let count =
            query_scalar("SELECT count(*) FROM sign_in_failure WHERE address = $1 AND at > $2");
        let count = count.bind(network).bind(since.as_millisecond());
        Ok(count.fetch_one(&mut *self.0).await?)
    }

    /// Keeps a failure, and lets go of those before `since`.
    pub async fn insert_failure(
        &mut self,
        login_hash: &str,
        place: &str,
        at: Timestamp,
        since: Timestamp,
    ) -> Result<(), StoreError> {
        query("DELETE FROM sign_in_failure WHERE at <= $1")
            .bind(since.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        query("INSERT INTO sign_in_failure (login_hash, address, at) VALUES ($1, $2, $3)")
            .bind(login_hash)
            .bind(place)
            .bind(at.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }

    /// Forgets the failures of a login from one place, so that nobody else's count begins anew.
    pub async fn forget_failures(
        &mut self,
        login_hash: &str,
        place: &str,
    ) -> Result<(), StoreError> {
        query("DELETE FROM sign_in_failure WHERE login_hash = $1 AND address = $2")
            .bind(login_hash)
            .bind(place)
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }

    /// Whether that login, or (none) anybody, was let in before from this browser.
    pub async fn knows_browser(
        &mut self,
        browser_hash: &str,
        login_hash: Option<&str>,
    ) -> Result<bool, StoreError> {
        let known = query_scalar(
            "SELECT EXISTS (SELECT 1 FROM known_browser WHERE browser_hash = $1 AND login_hash = coalesce($2, login_hash))",
        );
        let known = known.bind(browser_hash).bind(login_hash);
        Ok(known.fetch_one(&mut *self.0).await?)
    }

    /// Knows a browser from which that login was let in, and forgets those not used since `since`.
    pub async fn keep_browser(
        &mut self,
        browser_hash: &str,
        login_hash: &str,
        at: Timestamp,
        since: Timestamp,
    ) -> Result<(), StoreError> {
        query("DELETE FROM known_browser WHERE used_at <= $1")
            .bind(since.as_millisecond())
            .execute(&mut *self.0)
            .await?;
        query(
            "INSERT INTO known_browser (browser_hash, login_hash, used_at) VALUES ($1, $2, $3)
             ON CONFLICT (browser_hash, login_hash) DO UPDATE SET used_at = excluded.used_at",
        )
        .bind(browser_hash)
        .bind(login_hash)
        .bind(at.as_millisecond())
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }

    /// Knows no browser of that login any more.
    pub async fn forget_browsers(&mut self, login_hash: &str) -> Result<(), StoreError> {
        query("DELETE FROM known_browser WHERE login_hash = $1")
            .bind(login_hash)
            .execute(&mut *self.0)
            .await?;
        Ok(())
    }
}

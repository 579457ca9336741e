//! Platforms that send people here, keys of our own, courses and people of platforms, and grades that go back.

mod contexts;
mod grades;
mod keys;

use sqlx::{Row, SqliteConnection};

use super::StoreError;
use crate::lti::{NamedBy, Platform};

pub use contexts::{Contexts, LinkedContext};
pub use grades::{Grade, GradeState, Grades, Wanted};
pub use keys::{KeptKey, Keys};

/// Every platform that is registered.
pub async fn platforms(connection: &mut SqliteConnection) -> Result<Vec<Platform>, StoreError> {
    let rows = sqlx::query("SELECT * FROM lti_platform ORDER BY issuer, client, deployment");
    let rows = rows.fetch_all(connection).await?;
    let read = rows.iter().map(|row| {
        let named_by: String = row.try_get("named_by")?;
        let named_by = NamedBy::from_name(&named_by);
        Ok(Platform {
            issuer: row.try_get("issuer")?,
            client: row.try_get("client")?,
            deployment: row.try_get("deployment")?,
            authorize: row.try_get("authorize")?,
            keys: row.try_get("keys")?,
            token: row.try_get("token")?,
            audience: row.try_get("audience")?,
            named_by: named_by
                .ok_or_else(|| StoreError::damaged("lti_platform.named_by", "no such way"))?,
        })
    });
    read.collect()
}

/// Registers a platform, in the place of the same deployment if there is one.
pub async fn keep_platform(
    connection: &mut SqliteConnection,
    platform: &Platform,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT OR REPLACE INTO lti_platform (issuer, client, deployment, authorize, keys, named_by, token, audience)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(&platform.issuer)
    .bind(&platform.client)
    .bind(&platform.deployment)
    .bind(&platform.authorize)
    .bind(&platform.keys)
    .bind(platform.named_by.name())
    .bind(&platform.token)
    .bind(&platform.audience)
    .execute(connection)
    .await?;
    Ok(())
}

/// Knows a deployment no more.
pub async fn remove_platform(
    connection: &mut SqliteConnection,
    (issuer, client, deployment): (&str, &str, &str),
) -> Result<(), StoreError> {
    let gone =
        sqlx::query("DELETE FROM lti_platform WHERE issuer = ? AND client = ? AND deployment = ?");
    let gone = gone.bind(issuer).bind(client).bind(deployment);
    gone.execute(connection).await?;
    Ok(())
}

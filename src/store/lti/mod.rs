//! Platforms that send people here, keys of our own, courses and people of platforms, and grades that go back.

mod contexts;
mod grades;
mod keys;

use super::StoreError;
use super::sql::{Connection, query};
use crate::lti::{NamedBy, Platform};

pub use contexts::{Contexts, LinkedContext};
pub use grades::{Grade, Grades, Wanted};
pub use keys::{KeptKey, Keys};

/// Every platform that is registered.
pub async fn platforms(connection: &mut Connection) -> Result<Vec<Platform>, StoreError> {
    let rows = query("SELECT * FROM lti_platform ORDER BY issuer, client, deployment");
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
    connection: &mut Connection,
    platform: &Platform,
) -> Result<(), StoreError> {
    query(
        "INSERT INTO lti_platform (issuer, client, deployment, authorize, keys, named_by, token, audience)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT (issuer, client, deployment) DO UPDATE
         SET authorize = excluded.authorize, keys = excluded.keys, named_by = excluded.named_by,
             token = excluded.token, audience = excluded.audience",
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
    connection: &mut Connection,
    (issuer, client, deployment): (&str, &str, &str),
) -> Result<(), StoreError> {
    let gone =
        query("DELETE FROM lti_platform WHERE issuer = $1 AND client = $2 AND deployment = $3");
    let gone = gone.bind(issuer).bind(client).bind(deployment);
    gone.execute(connection).await?;
    Ok(())
}

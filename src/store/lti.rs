//! Platforms that send people here.

use super::StoreError;
use super::sql::{Connection, query};
use crate::lti::{NamedBy, Platform};

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
        "INSERT INTO lti_platform (issuer, client, deployment, authorize, keys, named_by)
         VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (issuer, client, deployment) DO UPDATE
         SET authorize = excluded.authorize, keys = excluded.keys, named_by = excluded.named_by",
    )
    .bind(&platform.issuer)
    .bind(&platform.client)
    .bind(&platform.deployment)
    .bind(&platform.authorize)
    .bind(&platform.keys)
    .bind(platform.named_by.name())
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

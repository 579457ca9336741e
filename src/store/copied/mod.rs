//! A whole course from one engine to another, row by row as it stands: the hashes of its chains are over these very texts.

mod tables;

use super::batch::{self, Table};
use super::sql::{Bound, Connection, query_made};
use super::{Store, StoreError};

use tables::Holds::{self, Number, Text};
use tables::{Copied, TABLES};

/// So many rows are read at once: judgements of a large course are many megabytes.
const AT_ONCE: i64 = 500;

/// Copies everything that is kept into a course that is still empty. Whoever is half signed in begins anew.
pub(super) async fn copy(from: &Store, to: &Store) -> Result<(), StoreError> {
    let mut reader = from.read().await?;
    let mut transaction = to.write().await?;
    let end = reader.begin_snapshot().await?;
    let copied = copy_all(&mut reader, &mut transaction).await;
    reader.end_snapshot(end).await?;
    copied?;
    transaction.commit().await
}

async fn copy_all(from: &mut Connection, to: &mut Connection) -> Result<(), StoreError> {
    for (table, key) in TABLES {
        // what an empty course begins with, and what a trigger has made meanwhile
        if ["mail_course", "lti_course", "draft_owner"].contains(&table.name) {
            query_made(format!("DELETE FROM {}", table.name))
                .execute(to)
                .await?;
        }
        copy_table(from, to, table, *key).await?;
        if table.columns.first().is_some_and(|(name, _)| *name == "id")
            && table.name != "access_event"
        {
            go_on_after(to, table.name).await?;
        }
    }
    Ok(())
}

async fn copy_table(
    from: &mut Connection,
    to: &mut Connection,
    table: &Copied,
    key: usize,
) -> Result<(), StoreError> {
    let names: Vec<String> = table
        .columns
        .iter()
        .map(|(name, _)| format!("\"{name}\""))
        .collect();
    let columns: Vec<&str> = table.columns.iter().map(|(name, _)| *name).collect();
    let into = Table {
        name: table.name,
        columns: &columns,
    };
    let order: Vec<&str> = names.iter().take(key).map(String::as_str).collect();
    let (columns, order) = (names.join(", "), order.join(", "));
    let mut done = 0_i64;
    loop {
        let read = format!(
            "SELECT {columns} FROM {} ORDER BY {order} LIMIT $1 OFFSET $2",
            table.name
        );
        let rows = query_made(read).bind(AT_ONCE).bind(done);
        let rows = rows.fetch_all(from).await?;
        if rows.is_empty() {
            return Ok(());
        }
        let mut written = Vec::with_capacity(rows.len());
        for row in &rows {
            let value = |(name, holds): &(&str, Holds)| match holds {
                Number => row.try_get(name).map(Bound::Number),
                Text => row.try_get(name).map(Bound::Text),
            };
            let values: Result<Vec<Bound>, _> = table.columns.iter().map(value).collect();
            written.push(values?);
        }
        batch::insert(to, &into, written).await?;
        done = done.saturating_add(i64::try_from(rows.len()).unwrap_or(AT_ONCE));
    }
}

/// Numbers that the database gives go on after those that were brought.
async fn go_on_after(to: &mut Connection, table: &str) -> Result<(), StoreError> {
    if !to.is_shared() {
        // SQLite takes the next after the highest by itself
        return Ok(());
    }
    let next = format!(
        "SELECT setval(pg_get_serial_sequence('{table}', 'id'), coalesce(max(id), 0) + 1, false) FROM {table}"
    );
    query_made(next).fetch_one(to).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::sql::query;
    use super::*;

    /// What a step of the tables adds is copied as well.
    #[tokio::test]
    async fn every_table_and_column_is_copied() {
        let store = Store::passing().await.expect("a store");
        let mut reader = store.read().await.expect("a reader");
        let rows = query(
            "SELECT m.name AS name, c.name AS part FROM sqlite_schema m, pragma_table_info(m.name) c
             WHERE m.type = 'table' AND m.name NOT LIKE '\\_sqlx%' ESCAPE '\\' AND m.name NOT LIKE 'sqlite%'
               AND m.name <> 'half_sign_in' ORDER BY 1, 2",
        );
        let rows = rows.fetch_all(&mut reader).await.expect("tables");
        let made: Vec<(String, String)> = rows
            .iter()
            .map(|row| {
                (
                    row.try_get("name").expect("text"),
                    row.try_get("part").expect("text"),
                )
            })
            .collect();
        let mut copied: Vec<(String, String)> = TABLES
            .iter()
            .flat_map(|(table, _)| {
                table
                    .columns
                    .iter()
                    .map(|(part, _)| (table.name.to_owned(), (*part).to_owned()))
            })
            .collect();
        copied.sort();
        assert_eq!(made, copied);
    }
}

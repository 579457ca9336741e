//! A whole course from one engine to another, row by row as it stands: the hashes of its chains are over these very texts.

use serde_json::{Map, Value};

use super::batch::{self, Holds, Table};
use super::sql::{Connection, query_made};
use super::{Store, StoreError};

use Holds::{Number, Text};

/// So many rows are read at once: judgements of a large course are many megabytes.
const AT_ONCE: i64 = 500;

/// Every table, those that others point to first, with all of its columns; the first of them are its key, by which it is
/// gone through.
const TABLES: &[(Table, usize)] = &[
    (
        of(
            "journal",
            &[
                ("seq", Number),
                ("at", Number),
                ("by_login", Text),
                ("kind", Text),
                ("body", Text),
                ("judgements", Text),
                ("previous", Text),
                ("hash", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "person",
            &[
                ("id", Number),
                ("key", Text),
                ("number", Text),
                ("family_name", Text),
                ("given_name", Text),
                ("email", Text),
                ("salt", Text),
                ("commitment", Text),
                ("sourced_id", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "judgement",
            &[
                ("id", Number),
                ("seq", Number),
                ("experiment", Text),
                ("student", Text),
                ("schema", Number),
                ("document", Text),
                ("rules", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "free_text",
            &[("commitment", Text), ("salt", Text), ("text", Text)],
        ),
        1,
    ),
    (
        of(
            "bench_draft",
            &[
                ("experiment", Text),
                ("student", Text),
                ("at", Number),
                ("change", Number),
                ("form", Text),
                ("fields", Text),
                ("hand_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "account",
            &[
                ("kind", Text),
                ("login", Text),
                ("password_hash", Text),
                ("created_at", Number),
                ("disabled_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "draft_owner",
            &[("kind", Text), ("login", Text), ("name", Text)],
        ),
        2,
    ),
    (
        of(
            "claim_code",
            &[
                ("id", Number),
                ("kind", Text),
                ("login", Text),
                ("code_hash", Text),
                ("issued_at", Number),
                ("expires_at", Number),
                ("used_at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "session",
            &[
                ("token_hash", Text),
                ("kind", Text),
                ("login", Text),
                ("created_at", Number),
                ("last_seen_at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "sign_in_failure",
            &[
                ("id", Number),
                ("login_hash", Text),
                ("address", Text),
                ("at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "known_browser",
            &[
                ("browser_hash", Text),
                ("login_hash", Text),
                ("used_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "second_step",
            &[
                ("kind", Text),
                ("login", Text),
                ("secret", Text),
                ("confirmed_at", Number),
                ("last_step", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "recovery_code",
            &[("kind", Text), ("login", Text), ("code_hash", Text)],
        ),
        3,
    ),
    (of("sign_in_rule", &[("name", Text)]), 1),
    (of("setting", &[("name", Text), ("value", Text)]), 1),
    (
        of(
            "access_event",
            &[
                ("id", Number),
                ("at", Number),
                ("what", Text),
                ("kind", Text),
                ("who", Text),
                ("by_login", Text),
                ("subject", Text),
                ("head", Text),
                ("place", Text),
                ("previous", Text),
                ("hash", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "access_place",
            &[("event", Number), ("salt", Text), ("address", Text)],
        ),
        1,
    ),
    (
        of(
            "mail_course",
            &[("one", Number), ("wanted", Number), ("seq", Number)],
        ),
        1,
    ),
    (
        of(
            "mail",
            &[
                ("id", Number),
                ("event", Text),
                ("what", Text),
                ("kind", Text),
                ("who", Text),
                ("experiment", Text),
                ("queued_at", Number),
                ("state", Text),
                ("tries", Number),
                ("next_at", Number),
                ("ended_at", Number),
                ("why", Text),
                ("address", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "mail_choice",
            &[
                ("kind", Text),
                ("who", Text),
                ("wanted", Number),
                ("address", Text),
            ],
        ),
        2,
    ),
    (
        of(
            "calendar",
            &[
                ("kind", Text),
                ("who", Text),
                ("secret", Text),
                ("made_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "lti_platform",
            &[
                ("issuer", Text),
                ("client", Text),
                ("deployment", Text),
                ("authorize", Text),
                ("keys", Text),
                ("named_by", Text),
                ("token", Text),
                ("audience", Text),
            ],
        ),
        3,
    ),
    (
        of(
            "lti_key",
            &[
                ("kid", Text),
                ("n", Text),
                ("e", Text),
                ("private", Text),
                ("made_at", Number),
                ("retired_at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "lti_context",
            &[
                ("name", Text),
                ("issuer", Text),
                ("client", Text),
                ("deployment", Text),
                ("id", Text),
                ("title", Text),
                ("memberships", Text),
                ("line_items", Text),
                ("scopes", Text),
                ("groups", Text),
                ("link", Text),
                ("seen_at", Number),
                ("course", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "lti_person",
            &[
                ("issuer", Text),
                ("sub", Text),
                ("kind", Text),
                ("login", Text),
                ("linked_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "lti_member",
            &[
                ("context", Text),
                ("issuer", Text),
                ("sub", Text),
                ("teaches", Number),
                ("named", Text),
            ],
        ),
        3,
    ),
    (
        of(
            "lti_course",
            &[("one", Number), ("wanted", Number), ("seq", Number)],
        ),
        1,
    ),
    (
        of(
            "lti_line_item",
            &[
                ("context", Text),
                ("experiment", Text),
                ("address", Text),
                ("taken_until", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "lti_grade",
            &[
                ("id", Number),
                ("context", Text),
                ("experiment", Text),
                ("student", Text),
                ("points", Text),
                ("possible", Text),
                ("settled", Number),
                ("version", Number),
                ("changed_at", Number),
                ("state", Text),
                ("tries", Number),
                ("next_at", Number),
                ("taken_until", Number),
                ("stamped_at", Number),
                ("sent_at", Number),
                ("sent_points", Text),
                ("why", Text),
            ],
        ),
        1,
    ),
];

const fn of(name: &'static str, columns: &'static [(&'static str, Holds)]) -> Table {
    Table { name, columns }
}

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
    table: &Table,
    key: usize,
) -> Result<(), StoreError> {
    let names: Vec<String> = table
        .columns
        .iter()
        .map(|(name, _)| format!("\"{name}\""))
        .collect();
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
            let mut object = Map::new();
            for (name, holds) in table.columns {
                let value = match holds {
                    Number => row.try_get::<Option<i64>>(name)?.map(Value::from),
                    Text => row.try_get::<Option<String>>(name)?.map(Value::from),
                };
                object.insert((*name).to_owned(), value.unwrap_or_default());
            }
            written.push(object);
        }
        batch::insert(to, table, &written).await?;
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
        let store = Store::in_memory().await.expect("a store");
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

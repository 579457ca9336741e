//! The database itself refuses to change what was kept.

use concordant::desk::{Desk, bring_in};
use concordant::store::Store;
use sqlx::Connection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

async fn database() -> (tempfile::TempDir, SqliteConnection) {
    let directory = tempfile::tempdir().expect("a directory");
    let file = directory.path().join("c.db");
    let desk = Desk::open(Store::open(&file).await.expect("a store"))
        .await
        .expect("a desk");
    let now = "2026-10-01T12:00:00Z".parse().expect("an instant");
    bring_in(&desk, &crate::arrangements::arranged(), "test", now)
        .await
        .expect("imported");
    desk.close().await;
    let options = SqliteConnectOptions::new()
        .filename(&file)
        .pragma("recursive_triggers", "ON");
    (
        directory,
        SqliteConnection::connect_with(&options)
            .await
            .expect("a connection"),
    )
}

/// One changed byte of a stored reading, a removal, a replacement: each refused, in every table of raw data.
#[tokio::test]
async fn a_changed_byte_is_refused() {
    let (_directory, mut connection) = database().await;
    let changed =
        "UPDATE journal SET body = replace(body, '10.02', '10.03') WHERE kind = 'hand-in'";
    let why = sqlx::query(changed)
        .execute(&mut connection)
        .await
        .expect_err("refused");
    assert!(why.to_string().contains("journal is append-only"), "{why}");
    for table in ["journal", "judgement", "person"] {
        let count: i64 =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table}")))
                .fetch_one(&mut connection)
                .await
                .expect("a count");
        assert!(count > 0, "{table} is empty, so nothing is shown");
        for statement in [
            format!("UPDATE {table} SET rowid = rowid"),
            format!("DELETE FROM {table}"),
            format!("REPLACE INTO {table} SELECT * FROM {table} LIMIT 1"),
        ] {
            // who somebody is can be removed, and cannot be changed
            if table == "person" && !statement.starts_with("UPDATE") {
                continue;
            }
            let done = sqlx::query(sqlx::AssertSqlSafe(statement.clone()))
                .execute(&mut connection)
                .await;
            let why = done.expect_err(&statement).to_string();
            assert!(why.contains("append-only"), "{statement}: {why}");
        }
    }
}

/// WAL, FULL, foreign keys: in force on the connection that writes.
#[tokio::test]
async fn writes_are_durable() {
    let directory = tempfile::tempdir().expect("a directory");
    let store = Store::open(&directory.path().join("c.db"))
        .await
        .expect("a store");
    let mut transaction = store.write().await.expect("a write");
    for (pragma, expected) in [
        ("synchronous", 2_i64),
        ("foreign_keys", 1),
        ("recursive_triggers", 1),
    ] {
        let found: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(format!("PRAGMA {pragma}")))
            .fetch_one(transaction.sqlite().expect("a file"))
            .await
            .expect("a pragma");
        assert_eq!(found, expected, "{pragma}");
    }
    let mode: String = sqlx::query_scalar("PRAGMA journal_mode")
        .fetch_one(transaction.sqlite().expect("a file"))
        .await
        .expect("a mode");
    assert_eq!(mode, "wal");
    drop(transaction);
    // a write that was dropped leaves nothing, and the next one works
    let mut transaction = store
        .write()
        .await
        .expect("a write after one that was dropped");
    sqlx::query("INSERT INTO account (kind, login, created_at) VALUES ('staff', 'a', 1)")
        .execute(transaction.sqlite().expect("a file"))
        .await
        .expect("written");
    drop(transaction);
    let mut reader = store.read().await.expect("a reader");
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM account")
        .fetch_one(reader.sqlite().expect("a file"))
        .await
        .expect("a count");
    assert_eq!(count, 0);
}

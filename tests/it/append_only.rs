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
    let changed = "UPDATE submission SET document = replace(document, '10.02', '10.03')";
    let why = sqlx::query(changed)
        .execute(&mut connection)
        .await
        .expect_err("refused");
    assert!(
        why.to_string().contains("submission is append-only"),
        "{why}"
    );
    for table in [
        "procedure",
        "lot_value",
        "unknown_value",
        "issue",
        "shelf_life",
        "submission",
        "by_hand",
        "decision",
        "release",
        "note",
        "evaluation",
        "event",
        "extension",
        "amendment",
    ] {
        let count: i64 =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table}")))
                .fetch_one(&mut connection)
                .await
                .expect("a count");
        assert!(count > 0, "{table} is empty, so nothing is shown");
        for statement in [
            format!("UPDATE {table} SET id = id"),
            format!("DELETE FROM {table}"),
            format!("REPLACE INTO {table} SELECT * FROM {table} LIMIT 1"),
        ] {
            let done = sqlx::query(sqlx::AssertSqlSafe(statement.clone()))
                .execute(&mut connection)
                .await;
            let why = done.expect_err(&statement).to_string();
            assert!(why.contains("append-only"), "{statement}: {why}");
        }
    }
}

/// Each event's hash covers the one before it, so a row changed with the triggers gone is still found.
#[tokio::test]
async fn the_event_log_is_a_chain() {
    let (_directory, mut connection) = database().await;
    let broken = concordant::store::first_broken_event(&mut connection)
        .await
        .expect("read");
    assert_eq!(broken, None);
    sqlx::query("DROP TRIGGER event_kept")
        .execute(&mut connection)
        .await
        .expect("dropped");
    sqlx::query("UPDATE event SET by_login = 'somebody else' WHERE id = 3")
        .execute(&mut connection)
        .await
        .expect("changed");
    let broken = concordant::store::first_broken_event(&mut connection)
        .await
        .expect("read");
    assert_eq!(broken, Some(3));
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
            .fetch_one(&mut *transaction)
            .await
            .expect("a pragma");
        assert_eq!(found, expected, "{pragma}");
    }
    let mode: String = sqlx::query_scalar("PRAGMA journal_mode")
        .fetch_one(&mut *transaction)
        .await
        .expect("a mode");
    assert_eq!(mode, "wal");
    drop(transaction);
    // a write that was dropped leaves nothing, and the next one works
    let mut transaction = store
        .write()
        .await
        .expect("a write after one that was dropped");
    sqlx::query("INSERT INTO course (id, title, term, time_zone) VALUES (1, 'a', 'b', 'c')")
        .execute(&mut *transaction)
        .await
        .expect("written");
    drop(transaction);
    let mut reader = store.read().await.expect("a reader");
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM course")
        .fetch_one(&mut *reader)
        .await
        .expect("a count");
    assert_eq!(count, 0);
}

//! Whatever is changed in a file behind the program's back is found, with the triggers dropped and put back.

mod forgeries;
mod retention;

use std::path::Path;

use concordant::changes::LotValue;
use concordant::desk::{Desk, accounts, bring_in, recompute};
use concordant::store::{Store, first_difference};
use sha2::{Digest, Sha256};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{AssertSqlSafe, Connection};
use tempfile::TempDir;

fn now() -> jiff::Timestamp {
    "2026-10-01T12:00:00Z".parse().expect("an instant")
}

/// A course with something of everything.
async fn course(directory: &TempDir) -> std::path::PathBuf {
    let file = directory.path().join("sound.db");
    let desk = Desk::open(Store::open(&file).await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let folder = crate::arrangements::arranged();
    let brought = bring_in(&desk, &folder, "test", now()).await;
    brought.expect("imported");
    let view = desk.view().await.expect("a course");
    let staff = view.term.staff[0].login.clone();
    drop(view);
    for login in [&staff, "0017"] {
        let set = accounts::set_password(&desk, login, crate::app::PASSWORD, now()).await;
        set.expect("a password");
    }
    desk.close().await;
    file
}

async fn raw(file: &Path) -> SqliteConnection {
    // whoever forges minds no keys
    let options = SqliteConnectOptions::new()
        .filename(file)
        .foreign_keys(false);
    let connection = SqliteConnection::connect_with(&options).await;
    connection.expect("a connection")
}

/// What the check says of a file as it is, without anything being brought up to date.
async fn found_in(file: &Path) -> Option<String> {
    let mut connection = concordant::store::Connection::Sqlite(raw(file).await);
    first_difference(&mut connection).await.expect("read")
}

async fn all(connection: &mut SqliteConnection, query: &str) -> Vec<String> {
    let found = sqlx::query_scalar(AssertSqlSafe(query.to_owned()));
    found.fetch_all(connection).await.expect("rows")
}

async fn run(connection: &mut SqliteConnection, statement: &str) -> u64 {
    let done = sqlx::query(AssertSqlSafe(statement.to_owned()));
    let done = done.execute(connection).await;
    done.unwrap_or_else(|why| panic!("{statement}: {why}"))
        .rows_affected()
}

/// Runs statements on a copy with its triggers out of the way; each has to change something.
async fn forged(sound: &Path, statements: &[String]) -> std::path::PathBuf {
    let copy = sound.with_file_name("forged.db");
    std::fs::copy(sound, &copy).expect("a copy");
    let mut connection = raw(&copy).await;
    let triggers = "SELECT name FROM sqlite_master WHERE type = 'trigger' ORDER BY name";
    let texts = "SELECT sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name";
    let (names, texts) = (
        all(&mut connection, triggers).await,
        all(&mut connection, texts).await,
    );
    assert!(names.len() >= 5, "{names:?}");
    for name in names {
        run(&mut connection, &format!("DROP TRIGGER {name}")).await;
    }
    for statement in statements {
        let changed = run(&mut connection, statement).await;
        assert!(
            changed > 0,
            "{statement} changed nothing, so nothing is shown"
        );
    }
    for text in texts {
        run(&mut connection, &text).await;
    }
    connection.close().await.expect("closed");
    copy
}

/// What the check says of a file, and what it says after everything was judged anew, if the file can still be opened.
async fn difference(file: &Path) -> (Option<String>, Option<String>) {
    let before = found_in(file).await;
    let store = Store::open(file).await.expect("a store");
    let after = match Desk::open(store).await {
        Ok(desk) => {
            if let Err(why) = recompute(&desk, now()).await {
                return (before, Some(why.to_string()));
            }
            let mut reader = desk.store().read().await.expect("a reader");
            let after = first_difference(&mut reader).await.expect("read");
            drop(reader);
            desk.close().await;
            after
        }
        Err(why) => Some(why.to_string()),
    };
    (before, after)
}

/// Each is found, its place is named, and judging everything anew does not hide it.
async fn each_is_found(forgeries: &[(&str, &str)]) {
    let directory = tempfile::tempdir().expect("a directory");
    let sound = course(&directory).await;
    assert_eq!(difference(&forged(&sound, &[]).await).await, (None, None));
    for (statement, place) in forgeries {
        let copy = forged(&sound, &[(*statement).to_owned()]).await;
        let (before, after) = difference(&copy).await;
        let before = before.unwrap_or_else(|| panic!("{statement}: not found"));
        assert!(before.contains(place), "{statement}: {before}");
        assert!(after.is_some(), "{statement}: hidden by judging anew");
    }
}

#[tokio::test]
async fn what_people_did_cannot_be_rewritten() {
    each_is_found(&[
        (
            "UPDATE journal SET body = replace(body, '10.02', '10.03') WHERE kind = 'hand-in' AND body LIKE '%10.02%'",
            "journal",
        ),
        (
            "UPDATE journal SET body = json_set(body, '$.points', '1.9') WHERE kind = 'by-hand'",
            "journal",
        ),
        ("UPDATE journal SET by_login = 'somebody' WHERE kind = 'by-hand'", "journal"),
        (
            "UPDATE journal SET body = json_set(body, '$.truth.value', '7') WHERE kind = 'unknown'",
            "journal",
        ),
        (
            "UPDATE journal SET body = json_set(body, '$.reason', 'none') WHERE kind = 'decision'",
            "journal",
        ),
        (
            "UPDATE journal SET body = json_set(body, '$.by', 'somebody') WHERE kind = 'decision'",
            "journal",
        ),
        ("UPDATE journal SET at = at + 60000 WHERE kind = 'hand-in'", "journal"),
        (
            "UPDATE journal SET body = json_set(body, '$.submitted_at', '2026-09-14T10:00:00Z') WHERE kind = 'hand-in'",
            "journal",
        ),
        (
            "UPDATE journal SET body = json_set(body, '$.text', 'all is well') WHERE kind = 'note'",
            "journal",
        ),
        (
            "UPDATE journal SET body = json_set(body, '$.reason', 'none') WHERE kind = 'extension'",
            "journal",
        ),
        ("UPDATE journal SET kind = 'answer-key' WHERE kind = 'note'", "journal"),
    ])
    .await;
}

#[tokio::test]
async fn judgements_and_names_cannot_be_rewritten() {
    each_is_found(&[
        (
            "UPDATE judgement SET document = json_set(document, '$.evaluation.marks.total', '99')
             WHERE id = (SELECT min(id) FROM judgement)",
            "judgements",
        ),
        (
            "DELETE FROM judgement WHERE id = (SELECT max(id) FROM judgement)",
            "judgements",
        ),
        (
            "INSERT INTO judgement (seq, experiment, student, schema, document)
             SELECT seq, experiment, student, schema, document FROM judgement LIMIT 1",
            "judgements",
        ),
        (
            "UPDATE judgement SET student = (SELECT max(student) FROM judgement)
             WHERE id = (SELECT id FROM judgement ORDER BY student LIMIT 1)",
            "judgements",
        ),
        (
            "UPDATE person SET family_name = 'Somebody' WHERE number = '0017'",
            "person",
        ),
        (
            "UPDATE person SET number = '0099' WHERE number = '0017'",
            "person",
        ),
        (
            "INSERT INTO person (key, number, family_name, given_name, email, salt, commitment)
             SELECT key, '0098', family_name, given_name, email, salt, 'a' FROM person LIMIT 1",
            "person",
        ),
    ])
    .await;
}

/// One byte more in each column of a row in the middle.
#[tokio::test]
async fn no_column_can_be_altered() {
    let directory = tempfile::tempdir().expect("a directory");
    let sound = course(&directory).await;
    for table in ["journal", "judgement", "person"] {
        let mut connection = raw(&sound).await;
        let columns = format!(
            "SELECT name FROM pragma_table_info('{table}') WHERE name NOT IN ('id', 'seq')"
        );
        let columns = all(&mut connection, &columns).await;
        connection.close().await.expect("closed");
        assert!(columns.len() >= 4, "{columns:?}");
        for column in columns {
            let value = match column.as_str() {
                "at" | "schema" | "rules" => format!("{column} + 1"),
                "body" | "document" => format!("{column} || ' '"),
                _ => format!("{column} || 'a'"),
            };
            let statement = format!(
                "UPDATE {table} SET {column} = {value} WHERE rowid = (SELECT max(rowid) / 2 + 1 FROM {table})"
            );
            let copy = forged(&sound, std::slice::from_ref(&statement)).await;
            let (before, after) = difference(&copy).await;
            assert!(
                before.is_some() && after.is_some(),
                "{statement}: not found"
            );
        }
    }
}

#[tokio::test]
async fn rows_cannot_be_taken_out_or_exchanged() {
    each_is_found(&[
        ("DELETE FROM journal WHERE kind = 'note'", "found row"),
        (
            "DELETE FROM journal WHERE seq = 1",
            "found row 2, expected row 1",
        ),
        (
            "UPDATE journal SET seq = CASE seq WHEN 5 THEN -6 ELSE -5 END WHERE seq IN (5, 6)",
            "journal",
        ),
    ])
    .await;
}

/// An older judgement put behind a newer one would count.
#[tokio::test]
async fn the_order_of_judgements_cannot_be_altered() {
    let directory = tempfile::tempdir().expect("a directory");
    let file = course(&directory).await;
    let desk = Desk::open(Store::open(&file).await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let mut lot = desk.view().await.expect("a course").term.lots["E-1"].clone();
    lot.molarity.value += crate::reference::dec("0.00002");
    lot.version += 1;
    let again = LotValue {
        lot,
        source: None,
        reason: "standardised again".into(),
    };
    let made = desk.apply(vec![again.into()], "test", now()).await;
    assert_eq!(made.expect("entered").len(), 1);
    desk.close().await;
    let oldest_last =
        "UPDATE judgement SET id = 1000000 WHERE id = (SELECT min(id) FROM judgement)";
    let copy = forged(&file, &[oldest_last.to_owned()]).await;
    let (before, after) = difference(&copy).await;
    assert!(before.is_some_and(|what| what.contains("judgements")));
    assert!(after.is_some());
}

/// Whoever makes the hash of an altered row anew breaks the next.
#[tokio::test]
async fn a_hash_made_anew_does_not_help() {
    let directory = tempfile::tempdir().expect("a directory");
    let sound = course(&directory).await;
    let mut connection = raw(&sound).await;
    let columns = "SELECT json_array(previous, seq, at, 'somebody else', kind, body, judgements) FROM journal WHERE seq = 9";
    let fields = all(&mut connection, columns).await.remove(0);
    connection.close().await.expect("closed");
    let hash: String = Sha256::digest(fields)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    let forgery =
        format!("UPDATE journal SET by_login = 'somebody else', hash = '{hash}' WHERE seq = 9");
    let (before, after) = difference(&forged(&sound, &[forgery]).await).await;
    assert!(
        before.is_some_and(|what| what.contains("row 10")),
        "row 9 is sound by itself"
    );
    assert!(after.is_some());
}

#[tokio::test]
async fn a_trigger_that_is_gone_is_missed() {
    let directory = tempfile::tempdir().expect("a directory");
    let file = course(&directory).await;
    let mut connection = raw(&file).await;
    run(&mut connection, "DROP TRIGGER judgement_kept_whole").await;
    connection.close().await.expect("closed");
    let found = found_in(&file).await;
    assert!(found.is_some_and(|what| what.contains("judgement_kept_whole")));
}

/// Who a student is can be taken out, and the record stays whole.
#[tokio::test]
async fn names_removed_leave_the_record_whole() {
    let directory = tempfile::tempdir().expect("a directory");
    let file = course(&directory).await;
    let mut connection = raw(&file).await;
    let journal = "SELECT body FROM journal UNION ALL SELECT by_login FROM journal";
    let text = all(&mut connection, journal).await.join("\n");
    for said in ["0017", "Almeida", "Rita", "rita@example.org"] {
        assert!(!text.contains(said), "{said} is in the journal");
    }
    run(&mut connection, "DELETE FROM person WHERE number = '0017'").await;
    connection.close().await.expect("closed");
    assert_eq!(difference(&file).await, (None, None));
    let desk = Desk::open(Store::open(&file).await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let view = desk.view().await.expect("a course");
    assert_eq!(view.term.students.len(), 3);
    assert!(view.term.students[0].family_name.is_empty());
    let revisions = view.term.submissions.values().map(Vec::len).sum::<usize>();
    assert_eq!(
        revisions,
        crate::course::term()
            .submissions
            .values()
            .map(Vec::len)
            .sum::<usize>()
    );
}

/// Litestream 0.3.11 was run over a live file: these are the tables that it left, as it made them.
#[tokio::test]
async fn what_a_tool_for_replication_puts_beside_the_tables_is_no_difference() {
    let directory = tempfile::tempdir().expect("a directory");
    let file = course(&directory).await;
    let mut connection = raw(&file).await;
    for statement in [
        "CREATE TABLE _litestream_seq (id INTEGER PRIMARY KEY, seq INTEGER)",
        "CREATE TABLE _litestream_lock (id INTEGER)",
        "INSERT INTO _litestream_seq VALUES (1, 7)",
    ] {
        run(&mut connection, statement).await;
    }
    assert_eq!(difference(&file).await, (None, None));
    // a table of that name that is made otherwise, or a trigger under it, is one
    run(&mut connection, "DROP TABLE _litestream_lock").await;
    run(
        &mut connection,
        "CREATE TABLE _litestream_lock (id INTEGER, note TEXT)",
    )
    .await;
    let found = difference(&file).await.0.expect("another table");
    assert!(found.contains("_litestream_lock"), "{found}");
    run(&mut connection, "DROP TABLE _litestream_lock").await;
    run(
        &mut connection,
        "CREATE TRIGGER _litestream_lock BEFORE INSERT ON journal BEGIN SELECT 1; END",
    )
    .await;
    let found = difference(&file).await.0.expect("another trigger");
    assert!(found.contains("_litestream_lock"), "{found}");
}

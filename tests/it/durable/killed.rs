//! Programs killed at any moment while they change a file: it is as it was, or as it was to become, and the next goes on.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use concordant::desk::Desk;
use concordant::store::{Store, first_difference};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use sqlx::Connection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

use crate::properties::long;

fn started(arguments: &[&str]) -> std::process::Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command.args(arguments).spawn().expect("starts")
}

/// How long it takes if nobody kills it.
fn whole(arguments: &[&str]) -> Duration {
    let begun = Instant::now();
    assert!(started(arguments).wait().expect("ends").success());
    begun.elapsed()
}

fn killed(arguments: &[&str], after: Duration) {
    let mut process = started(arguments);
    std::thread::sleep(after);
    // it may have ended
    let _killed = process.kill();
    process.wait().expect("gone");
}

fn text(path: &Path) -> &str {
    path.to_str().expect("is text")
}

/// How many students there are; none if there is no course.
async fn students(db: &Path) -> Option<usize> {
    let store = Store::open(db).await.expect("a store");
    let mut reader = store.read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("read"), None);
    drop(reader);
    let desk = Desk::open(store).await.expect("a desk");
    let students = desk.view().await.ok().map(|view| view.term.students.len());
    desk.close().await;
    students
}

#[tokio::test(flavor = "multi_thread")]
async fn an_import_killed_has_not_happened_or_is_whole() {
    let directory = tempfile::tempdir().expect("a directory");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/course");
    let times = if long() { 100 } else { 4 };
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let first = directory.path().join("first.db");
    let takes = whole(&["import", "--db", text(&first), text(&folder)]);
    let all = students(&first).await;
    assert!(all.is_some_and(|all| all > 10));
    let (mut none, mut full) = (0, 0);
    for n in 0..times {
        let db = directory.path().join(format!("{n}.db"));
        let import = ["import", "--db", text(&db), text(&folder)];
        killed(&import, takes.mul_f64(rng.random_range(0.0..1.1)));
        match students(&db).await {
            None => none += 1,
            found => {
                assert_eq!(found, all);
                full += 1;
            }
        }
        // and it can be done now, or was
        let again = ["import", "--yes", "--db", text(&db), text(&folder)];
        whole(&again);
        assert_eq!(students(&db).await, all);
    }
    println!("{times} imports killed: {none} had not happened, {full} were whole");
}

/// A file as the version before left it.
async fn of_the_version_before(db: &Path) {
    super::course(db, 3).await;
    let options = SqliteConnectOptions::new().filename(db);
    let connection = SqliteConnection::connect_with(&options).await;
    let mut connection = connection.expect("a connection");
    for statement in crate::faults::LAST_STEP_UNDONE {
        let done = sqlx::query(statement).execute(&mut connection).await;
        done.expect(statement);
    }
    connection.close().await.expect("closed");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_of_the_tables_killed_has_not_happened_or_is_whole() {
    let directory = tempfile::tempdir().expect("a directory");
    let old = directory.path().join("old.db");
    of_the_version_before(&old).await;
    let times = if long() { 200 } else { 6 };
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let first = directory.path().join("first.db");
    std::fs::copy(&old, &first).expect("a copy");
    let takes = whole(&["verify", "--db", text(&first)]);
    let all = students(&first).await;
    for n in 0..times {
        let db = directory.path().join(format!("{n}.db"));
        std::fs::copy(&old, &db).expect("a copy");
        let after = takes.mul_f64(rng.random_range(0.0..1.0));
        killed(&["verify", "--db", text(&db)], after);
        // a second time too, while it goes on from wherever that was
        killed(&["verify", "--db", text(&db)], after / 2);
        assert_eq!(students(&db).await, all);
        // the copy from before is whole, whichever of them made it
        let before = directory
            .path()
            .join(format!("{n}.db.{}", crate::faults::COPY_BEFORE_LAST_STEP));
        assert_eq!(students(&before).await, all);
    }
    println!("{times} changes of the tables killed twice each");
}

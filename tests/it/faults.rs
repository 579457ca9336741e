//! What goes wrong is said plainly and leaves nothing half done.

use std::path::Path;
use std::process::{Command, Output};

use concordant::desk::{Desk, bring_in};
use concordant::store::Store;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{AssertSqlSafe, Connection};

use crate::app::TestApp;

/// What the copy is called that is left before the last step.
pub const COPY_BEFORE_LAST_STEP: &str = "step-12";

/// What leaves a file as the version before made it.
pub const LAST_STEP_UNDONE: [&str; 10] = [
    "ALTER TABLE lti_platform DROP COLUMN audience",
    "ALTER TABLE lti_platform DROP COLUMN token",
    "DROP TABLE lti_key",
    "DROP TABLE lti_context",
    "DROP TABLE lti_person",
    "DROP TABLE lti_member",
    "DROP TABLE lti_course",
    "DROP TABLE lti_line_item",
    "DROP TABLE lti_grade",
    "DELETE FROM _sqlx_migrations WHERE version = 13",
];

async fn course(file: &Path) {
    let desk = Desk::open(Store::open(file).await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let folder = crate::arrangements::arranged();
    let brought = bring_in(&desk, &folder, "test", jiff::Timestamp::now()).await;
    brought.expect("imported");
    desk.close().await;
}

pub async fn run(file: &Path, statements: &[&str]) {
    let options = SqliteConnectOptions::new().filename(file);
    let mut connection = SqliteConnection::connect_with(&options)
        .await
        .expect("a connection");
    for statement in statements {
        let done = sqlx::query(AssertSqlSafe((*statement).to_owned()));
        let done = done.execute(&mut connection).await;
        done.unwrap_or_else(|why| panic!("{statement}: {why}"));
    }
    connection.close().await.expect("closed");
}

fn concordant(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
    command.args(arguments).output().expect("runs")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

#[cfg(unix)]
#[tokio::test]
async fn a_database_and_its_copies_are_their_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let directory = tempfile::tempdir().expect("a directory");
    let (db, copy) = (directory.path().join("a.db"), directory.path().join("b.db"));
    let store = Store::open(&db).await.expect("a store");
    store.backup(&copy).await.expect("a copy");
    let modes: Vec<(String, u32)> = names(directory.path())
        .into_iter()
        .map(|name| {
            let file = std::fs::metadata(directory.path().join(&name)).expect("a file");
            (name, file.permissions().mode() & 0o777)
        })
        .collect();
    assert!(
        modes.iter().any(|(name, _)| name == "a.db-wal"),
        "{modes:?}"
    );
    assert!(modes.iter().all(|(_, mode)| *mode == 0o600), "{modes:?}");
}

#[tokio::test]
async fn a_copy_that_fails_leaves_nothing() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("a.db");
    course(&db).await;
    run(&db, &["DROP TRIGGER judgement_kept_whole"]).await;
    let store = Store::open(&db).await.expect("a store");
    let copy = directory.path().join("b.db");
    let why = store.backup(&copy).await.expect_err("is altered");
    assert!(why.to_string().contains("judgement_kept_whole"), "{why}");
    store.close().await;
    assert_eq!(names(directory.path()), ["a.db"]);
}

#[tokio::test]
async fn copies_in_a_folder_have_names_of_their_own_and_so_many_are_kept() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("a.db");
    course(&db).await;
    let copies = directory.path().join("copies");
    std::fs::create_dir(&copies).expect("a folder");
    std::fs::write(copies.join("concordant-notes.db"), "mine").expect("written");
    let arguments = [
        "backup",
        "--db",
        &db.display().to_string(),
        "--into",
        &copies.display().to_string(),
        "--keep",
        "2",
    ];
    let mut seen = Vec::new();
    for _ in 0..3 {
        let done = concordant(&arguments);
        assert!(done.status.success(), "{}", said(&done));
        seen = names(&copies);
    }
    assert_eq!(seen.len(), 3, "two copies and what is not ours: {seen:?}");
    assert!(seen.contains(&"concordant-notes.db".to_owned()), "{seen:?}");
}

/// A copy has its name once it is whole, so that none is restored from that was broken off.
#[tokio::test]
async fn a_copy_that_is_killed_midway_is_taken_for_none() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("a.db");
    course(&db).await;
    let copies = directory.path().join("copies");
    let arguments = ["--db", &db.display().to_string(), "--into"].map(str::to_owned);
    let backup = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
        command.arg("backup").args(&arguments).arg(&copies);
        command
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null());
        command
    };
    let clock = std::time::Instant::now();
    assert!(backup().status().expect("runs").success());
    let whole = clock.elapsed();
    let (mut killed, mut partials) = (0, 0);
    for part in 0..40 {
        let mut child = backup().spawn().expect("starts");
        std::thread::sleep(whole * part / 40);
        child.kill().expect("killed");
        killed += usize::from(!child.wait().expect("ended").success());
        let left = names(&copies);
        partials += left.iter().filter(|name| name.contains(".partial")).count();
        for name in left.iter().filter(|name| name.ends_with(".db")) {
            let copy = copies.join(name);
            let verified = concordant(&["verify", "--db", &copy.display().to_string()]);
            assert!(verified.status.success(), "{name}: {}", said(&verified));
        }
    }
    assert!(killed > 20 && partials > 0, "{killed} {partials}");
    assert!(backup().status().expect("runs").success());
    let left = names(&copies);
    let is_copy = |name: &String| name.ends_with(".db");
    assert!(left.iter().all(is_copy), "{left:?}");
}

#[tokio::test]
async fn a_database_of_a_newer_program_is_refused_in_words() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("a.db");
    course(&db).await;
    run(
        &db,
        &[
            "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
           VALUES (9000, 'later', 1, x'00', 1)",
        ],
    )
    .await;
    let Err(why) = Store::open(&db).await else {
        panic!("it was opened");
    };
    let why = why.to_string();
    assert!(
        why.contains("found a database of a newer Concordant (step 9000"),
        "{why}"
    );
}

#[tokio::test]
async fn a_database_is_copied_before_its_tables_change() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("a.db");
    course(&db).await;
    run(&db, &LAST_STEP_UNDONE).await;
    let copy = format!("a.db.{COPY_BEFORE_LAST_STEP}");
    Store::open(&db).await.expect("a store").close().await;
    assert_eq!(names(directory.path()), ["a.db", &copy]);
    run(
        &directory.path().join(&copy),
        &["SELECT count(*) FROM journal"],
    )
    .await;
    // nothing changes any more
    Store::open(&db).await.expect("a store").close().await;
    assert_eq!(names(directory.path()), ["a.db", &copy]);
}

#[tokio::test]
async fn a_damaged_page_is_found_at_the_start() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("a.db");
    course(&db).await;
    let mut bytes = std::fs::read(&db).expect("a file");
    let page = bytes.len() / 4096 / 2 * 4096;
    bytes[page..page + 4096].fill(0xff);
    std::fs::write(&db, bytes).expect("written");
    let served = concordant(&[
        "serve",
        "--db",
        &db.display().to_string(),
        "--listen",
        "127.0.0.1:0",
    ]);
    assert_eq!(served.status.code(), Some(1));
    let what = said(&served);
    assert!(what.contains("found a damaged database file"), "{what}");
    assert!(what.contains("put the newest copy"), "the way back: {what}");
}

#[tokio::test]
async fn health_is_that_of_the_database() {
    let app = TestApp::spawn().await;
    let mut person = app.stranger();
    let answer = person.get("/healthz").await;
    assert_eq!((answer.status, answer.body.as_str()), (200, "ok"));
    let mut transaction = app.desk.store().write().await.expect("a write");
    let gone = sqlx::query("ALTER TABLE journal RENAME TO gone");
    let file = transaction.sqlite().expect("a file");
    gone.execute(file).await.expect("renamed");
    transaction.commit().await.expect("a commit");
    assert_eq!(person.get("/healthz").await.status, 503);
}

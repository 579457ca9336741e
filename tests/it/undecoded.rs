//! A stored judgement that this version of the program does not read is made anew, and closes nothing.

use std::path::Path;
use std::process::Command;

use concordant::desk::Desk;
use concordant::files::Folder;
use concordant::store::Store;
use sqlx::Connection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

const SLOT: (&str, &str) = ("eggshell-carbonate", "04111");

fn run(place: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(arguments)
        .current_dir(place)
        .output()
        .expect("runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let said = format!("{}{}", text(&done.stdout), text(&done.stderr));
    (done.status.code(), said)
}

/// Renames a flag in one stored document, as a release that renames it would find it.
async fn rename_a_flag(db: &Path) {
    let options = SqliteConnectOptions::new().filename(db);
    let mut connection = SqliteConnection::connect_with(&options)
        .await
        .expect("a connection");
    let kept = "SELECT sql FROM sqlite_schema WHERE name = 'judgement_kept'";
    let trigger: String = sqlx::query_scalar(kept)
        .fetch_one(&mut connection)
        .await
        .expect("a trigger");
    let mut execute = async |statement: String| {
        let statement = sqlx::AssertSqlSafe(statement);
        let done = sqlx::query(statement).execute(&mut connection).await;
        done.expect("executed").rows_affected()
    };
    execute("DROP TRIGGER judgement_kept".into()).await;
    let changed = execute(format!(
        "UPDATE judgement SET document = replace(document, '\"code\":\"', '\"code\":\"of-another-release-')
         WHERE experiment = '{}' AND student = (SELECT key FROM person WHERE number = '{}')",
        SLOT.0, SLOT.1
    ))
    .await;
    execute(trigger).await;
    assert_eq!(changed, 1);
    connection.close().await.expect("closed");
}

#[tokio::test]
async fn a_judgement_that_does_not_decode_is_made_anew() {
    let place = tempfile::tempdir().expect("a directory");
    let db = place.path().join("c.db");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/demo");
    let demo = demo.to_string_lossy();
    let ok = |arguments: &[&str]| {
        let (code, said) = run(place.path(), arguments);
        assert_eq!(code, Some(0), "{arguments:?}: {said}");
        said
    };
    let open = async || {
        let store = Store::open(&db).await.expect("a store");
        let desk = Desk::open(store).await.expect("a desk");
        let judged = desk.view().await.expect("a course").judged.clone();
        desk.close().await;
        judged
    };
    ok(&["import", &demo, "--db", "c.db"]);
    let before = open().await;
    let slot = crate::slot(SLOT.0, SLOT.1);
    let flags = &before.get(&slot).expect("is there").evaluation.flags;
    assert!(!flags.is_empty(), "the submission is chosen for its flags");
    ok(&["export", "--db", "c.db", "--out", "sound"]);
    rename_a_flag(&db).await;

    assert_eq!(open().await, before, "judged anew");
    ok(&["export", "--db", "c.db", "--out", "renamed"]);
    let exported = |folder: &str| Folder::read(&place.path().join(folder)).expect("a folder");
    assert_eq!(exported("sound"), exported("renamed"));
    let verify = ["recompute", "--verify", "--db", "c.db"];
    let (code, said) = run(place.path(), &verify);
    assert_eq!(code, Some(1), "{said}");
    let named = format!(
        "{}, {}: stored nothing that can be read, judged ",
        SLOT.0, SLOT.1
    );
    assert!(said.contains(&named), "{said}");
    assert!(said.contains(" 1 differs from what is stored"), "{said}");
    let mended = ok(&["recompute", "--db", "c.db"]);
    assert!(
        mended.contains(" 1 differed and was stored anew"),
        "{mended}"
    );
    // the judgements are sound again; that somebody has been at the file is said as well
    let (code, said) = run(place.path(), &verify);
    assert!(said.contains(" 0 differ from what is stored"), "{said}");
    assert!(said.contains("judgement"), "{said}");
    assert_eq!(code, Some(1), "{said}");
}

//! Keys of the server's own: published, changed, and nowhere to be seen otherwise.

use std::process::Command;

use concordant::course::{Course, Zone};
use concordant::desk::Desk;
use concordant::desk::department::Department;
use concordant::ids::CourseKey;
use jiff::SignedDuration;
use serde_json::Value;

use super::with_platform;
use crate::app::{Person, TestApp};

async fn published(person: &mut Person) -> Vec<Value> {
    let answer = person.get("/lti/keys").await;
    assert_eq!(
        (answer.status, answer.header("content-type")),
        (200, "application/json")
    );
    let set: Value = serde_json::from_str(&answer.body).expect("JSON");
    set["keys"].as_array().expect("a set").clone()
}

#[tokio::test]
async fn keys_are_published_and_old_ones_a_while_longer() {
    let fresh = TestApp::spawn().await;
    assert!(published(&mut fresh.stranger()).await.is_empty());
    let (app, _platform) = with_platform("email").await;
    let mut anybody = app.stranger();
    let first = published(&mut anybody).await;
    assert_eq!(first.len(), 1);
    // RFC 7517, 4 and RFC 7518, 6.3.1: what a public key of RSA has, and nothing of a private one
    let members: Vec<&String> = first[0].as_object().expect("a key").keys().collect();
    assert_eq!(members, ["kty", "use", "alg", "kid", "n", "e"]);
    assert_eq!(
        (&first[0]["kty"], &first[0]["e"]),
        (&"RSA".into(), &"AQAB".into())
    );
    // 2048 bits in base64url
    assert_eq!(first[0]["n"].as_str().map(str::len), Some(342));
    let mut coordinator = app.person("i.quell").await;
    assert_eq!(
        coordinator.post_form("/course/lti/key", &[]).await.status,
        303
    );
    let both = published(&mut anybody).await;
    assert_eq!(both.len(), 2);
    assert_eq!(both[1], first[0], "the new one first");
    let page = coordinator.get("/course/lti").await.body;
    assert!(page.contains("signs no more, is shown until"), "{page}");
    for key in &both {
        assert!(page.contains(key["kid"].as_str().expect("a name")));
    }
    app.clock.put_forward(SignedDuration::from_hours(8 * 24));
    assert_eq!(published(&mut anybody).await, both[..1]);
    let record = app.person("i.quell").await.get("/course/access").await.body;
    assert!(record.contains("a new key for platforms"), "{record}");
}

#[tokio::test]
async fn secrets_of_keys_leave_the_database_in_no_file() {
    let (app, _platform) = with_platform("email").await;
    let database = app.database();
    let run = |query: &str| {
        let options = format!("file:{}?mode=ro", database.display());
        let output = Command::new("python3")
            .args(["-c", "import sqlite3, sys; print(sqlite3.connect(sys.argv[1], uri=True).execute(sys.argv[2]).fetchone()[0])"])
            .args([&options, query])
            .output()
            .expect("runs");
        String::from_utf8(output.stdout)
            .expect("text")
            .trim()
            .to_owned()
    };
    let secret = run("SELECT private FROM lti_key");
    assert!(secret.len() > 1_500, "{secret}");
    let mut coordinator = app.person("i.quell").await;
    for page in [
        "/course/lti",
        "/course/platform",
        "/course/access",
        "/lti/keys",
    ] {
        assert!(
            !coordinator.get(page).await.body.contains(&secret[..40]),
            "{page}"
        );
    }
    let files = tempfile::tempdir().expect("a folder");
    let export = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(["export", "--db"])
        .arg(&database)
        .arg("--out")
        .arg(files.path().join("course"))
        .output()
        .expect("runs");
    assert!(
        export.status.success(),
        "{}",
        String::from_utf8_lossy(&export.stderr)
    );
    for entry in std::fs::read_dir(files.path().join("course")).expect("a folder") {
        let path = entry.expect("an entry").path();
        let text = std::fs::read(&path).unwrap_or_default();
        let found = text
            .windows(40)
            .any(|part| part == &secret.as_bytes()[..40]);
        assert!(!found, "{}", path.display());
    }
    // the secret of one that signs no more is gone
    assert_eq!(
        coordinator.post_form("/course/lti/key", &[]).await.status,
        303
    );
    let gone = run("SELECT private FROM lti_key WHERE retired_at IS NOT NULL");
    assert_eq!(gone, "");
}

#[tokio::test]
async fn a_course_that_moves_into_a_department_leaves_its_key_behind() {
    let (app, _platform) = with_platform("email").await;
    let folder = tempfile::tempdir().expect("a folder");
    let course = Course {
        title: "Laboratory".into(),
        term: String::new(),
        zone: Zone::new("UTC").expect("a zone"),
        language: Default::default(),
    };
    let now = app.clock.now();
    let place = folder.path().join("courses");
    Department::found(&place, course, now)
        .await
        .expect("founded");
    let department = Department::open(&place, now).await.expect("opened");
    let key = CourseKey::new("alpha");
    department
        .take_in(&app.database(), &key, now)
        .await
        .expect("taken in");
    let desk = department
        .desk(&key)
        .await
        .expect("reads")
        .expect("a course");
    let keys = async |desk: &Desk| {
        let mut reader = desk.store().read().await.expect("a reader");
        reader.keys().all().await.expect("keys").len()
    };
    assert_eq!((keys(&desk).await, keys(&app.desk).await), (0, 1));
    desk.close().await;
}

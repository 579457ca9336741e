//! Receipts that people were shown, held against what the database holds; and two servers that break their word, to show
//! that it is noticed.

use std::path::Path;

use concordant::changes::{Change, HandedIn, OfSlot};
use concordant::columns::Column;
use concordant::desk::Desk;
use concordant::store::Store;
use sqlx::Connection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};

use crate::app::Person;
use crate::week::acid_form;

/// A receipt that arrived.
#[derive(Clone, Debug)]
pub struct Shown {
    pub number: i64,
    pub student: String,
    pub key: String,
    /// What the burette said at the end, which tells one hand-in from the next.
    pub end: String,
}

/// What a server that keeps its word does not do, one line each.
pub async fn broken(db: &Path, shown: &[Shown]) -> Vec<String> {
    let mut faults = Vec::new();
    let desk = Desk::open(Store::open(db).await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let view = desk.view().await.expect("a course");
    for one in shown {
        let slot = crate::slot("acid", &one.student);
        let revisions = view.term.submissions.get(&slot).into_iter().flatten();
        let mut stored = revisions.filter(|revision| revision.receipt == Some(one.number));
        let Some(revision) = stored.next() else {
            faults.push(format!("{one:?} was shown and is not there"));
            continue;
        };
        let end = &revision.hand_in.titrations[0].readings[&Column::BuretteEnd(1)];
        if end.written() != one.end || stored.next().is_some() {
            faults.push(format!("{one:?} is there as {}", end.written()));
        }
    }
    drop(view);
    desk.close().await;
    let mut connection = raw(db).await;
    let twice = "SELECT body ->> '$.key' FROM journal WHERE kind = 'hand-in' AND body ->> '$.key' IS NOT NULL
                 GROUP BY 1 HAVING count(*) > 1";
    let twice: Vec<String> = sqlx::query_scalar(twice)
        .fetch_all(&mut connection)
        .await
        .expect("keys");
    faults.extend(twice.iter().map(|key| format!("{key} is there twice")));
    for one in shown {
        let number = "SELECT seq FROM journal WHERE body ->> '$.key' = ?";
        let number: Vec<i64> = sqlx::query_scalar(number)
            .bind(&one.key)
            .fetch_all(&mut connection)
            .await
            .expect("numbers");
        if !number.contains(&one.number) {
            faults.push(format!("{one:?} is there as {number:?}"));
        }
    }
    connection.close().await.expect("closed");
    faults
}

async fn raw(db: &Path) -> SqliteConnection {
    let options = SqliteConnectOptions::new().filename(db);
    let connection = SqliteConnection::connect_with(&options).await;
    connection.expect("a connection")
}

/// A course in a file, in which somebody handed in three times, a copy of it before the last, and the receipts.
async fn handed_in(directory: &Path) -> (std::path::PathBuf, std::path::PathBuf, Vec<Shown>) {
    let [db, before] = ["course.db", "before.db"].map(|name| directory.join(name));
    super::course(&db, 1).await;
    let server = super::Server::start(&db);
    let mut student = Person::at(&server.address);
    let fields = [("login", "k0"), ("password", crate::app::PASSWORD)];
    assert_eq!(student.post_open("/sign-in", &fields).await.status, 303);
    let mut shown = Vec::new();
    for n in 0..3 {
        if n == 2 {
            let store = Store::open(&db).await.expect("a store");
            store.backup(&before).await.expect("a copy");
            store.close().await;
        }
        let (key, seen) = (format!("{n:032x}"), n.to_string());
        let end = format!("20.1{n}");
        let form = acid_form(&key, &seen, &end, "20.48");
        let taken = student
            .post_form("/student/experiments/acid/hand-in", &form)
            .await;
        let number = taken.location().rsplit('/').next().unwrap_or_default();
        let number = number.parse().expect("a receipt");
        shown.push(Shown {
            number,
            student: "k0".to_owned(),
            key,
            end,
        });
    }
    (db, before, shown)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_breaks_its_word_is_found_out() {
    let directory = tempfile::tempdir().expect("a directory");
    let (db, before, shown) = handed_in(directory.path()).await;
    assert_eq!(broken(&db, &shown).await, Vec::<String>::new());
    // one that answers before it has written, and is killed in between
    let faults = broken(&before, &shown).await;
    assert!(
        faults.len() == 2 && faults[0].contains("is not there"),
        "{faults:?}"
    );
    // one that tells nobody's request from another, and is sent one again
    let again = async || {
        let desk = Desk::open(Store::open(&db).await.expect("a store"));
        let desk = desk.await.expect("a desk");
        let view = desk.view().await.expect("a course");
        let slot = crate::slot("acid", "k0");
        let body = HandedIn {
            revision: view.term.submissions.get(&slot).expect("is there")[2].clone(),
            key: Some(shown[2].key.clone()),
        };
        let change: Change = OfSlot { slot, body }.into();
        let written = desk.apply(vec![change], "k0", jiff::Timestamp::now()).await;
        drop(view);
        desk.close().await;
        written.is_ok()
    };
    assert!(!again().await, "the database itself refuses a second one");
    assert_eq!(broken(&db, &shown).await, Vec::<String>::new());
    let mut connection = raw(&db).await;
    let index = sqlx::query("DROP INDEX journal_request").execute(&mut connection);
    index.await.expect("dropped");
    connection.close().await.expect("closed");
    assert!(again().await);
    let faults = broken(&db, &shown).await;
    assert!(
        faults.len() == 1 && faults[0].contains("is there twice"),
        "{faults:?}"
    );
}

//! Acknowledged means on disk: the server is killed while students hand in, started again, and every receipt is there.

mod history;
mod killed;
mod reader;

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use concordant::changes::Change;
use concordant::course::Student;
use concordant::desk::sessions::begin_session;
use concordant::desk::{Desk, accounts, bring_in, verify};
use concordant::store::accounts::{AccountId, Kind};
use concordant::store::{Store, draft_of, first_difference};

use self::history::{Shown, broken};
use crate::app::{PASSWORD, Person};
use crate::week::{acid_form, folder};

struct Server {
    process: Child,
    address: String,
}

impl Server {
    fn start(db: &Path) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(["serve", "--listen", "127.0.0.1:0", "--db"])
            .arg(db)
            .stderr(Stdio::piped())
            .spawn()
            .expect("the server starts");
        let mut line = String::new();
        let stderr = process.stderr.take().expect("stderr");
        BufReader::new(stderr).read_line(&mut line).expect("a line");
        let address = line
            .trim()
            .rsplit(' ')
            .next()
            .unwrap_or_default()
            .to_owned();
        assert!(address.starts_with("http://127.0.0.1:"), "{line}");
        Self { process, address }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // already gone if the test killed it
        let _killed = self.process.kill();
        let _waited = self.process.wait();
    }
}

async fn course(db: &Path, students: usize) {
    let desk = Desk::open(Store::open(db).await.expect("a store"))
        .await
        .expect("a desk");
    let now = jiff::Timestamp::now();
    bring_in(&desk, &folder(), "test", now)
        .await
        .expect("imported");
    let many = (0..students).map(|n| {
        Change::Student(Student {
            id: concordant::ids::StudentId::new(format!("k{n}")),
            family_name: "Many".into(),
            given_name: "One".into(),
            section: concordant::ids::SectionName::new("A"),
            email: String::new(),
            sourced_id: String::new(),
            left: None,
        })
    });
    desk.apply(many.collect(), "test", now)
        .await
        .expect("joined");
    for n in 0..students {
        accounts::set_password(&desk, &format!("k{n}"), PASSWORD, now)
            .await
            .expect("a password");
    }
    desk.close().await;
}

/// A cookie and the token of its forms.
type Signed = (String, String);

/// Everybody signed in beforehand: an attempt that a kill cuts off counts as a failure, and those who fail have to wait.
async fn signed_in(db: &Path, students: usize) -> Vec<Signed> {
    let store = Store::open(db).await.expect("a store");
    let at = jiff::Timestamp::now();
    let mut sessions = Vec::new();
    for n in 0..students {
        let id = AccountId {
            kind: Kind::Student,
            login: format!("k{n}"),
        };
        let mut write = store.write().await.expect("a write");
        let token = begin_session(&mut write, &id, at).await.expect("a session");
        write.commit().await.expect("on disk");
        sessions.push((format!("concordant={}", token.as_str()), token.form_token()));
    }
    store.close().await;
    sessions
}

#[tokio::test(flavor = "multi_thread")]
async fn receipts_survive_a_kill() {
    // no student hands in so often that the server asks them to wait
    const AT_A_TIME: usize = 4;
    let is_long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    let (rounds, groups) = if is_long { (1_000, 250) } else { (3, 3) };
    let students = groups * AT_A_TIME;
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    course(&db, students).await;
    let signed = signed_in(&db, students).await;
    let mut receipts: Vec<Shown> = Vec::new();
    let mut revisions = vec![0_usize; students];
    for round in 0..rounds {
        let mut server = Server::start(&db);
        let mut tasks = Vec::new();
        let from = AT_A_TIME * (usize::try_from(round).expect("is small") % groups);
        let of_round = revisions.iter().copied().enumerate();
        for (n, seen) in of_round.skip(from).take(AT_A_TIME) {
            let address = server.address.clone();
            tasks.push(tokio::spawn(keep_handing_in(
                address,
                signed[n].clone(),
                n,
                round,
                seen,
            )));
        }
        tokio::time::sleep(Duration::from_millis(300 + 70 * (round % 7))).await;
        // SIGKILL: nothing is flushed, nothing is said
        server.process.kill().expect("killed");
        server.process.wait().expect("gone");
        for task in tasks {
            receipts.extend(task.await.expect("ran"));
        }
        if round % 100 == 99 {
            println!("{} kills, {} receipts", round + 1, receipts.len());
        }
        let desk = Desk::open(Store::open(&db).await.expect("a store"))
            .await
            .expect("a desk");
        let view = desk.view().await.expect("a course");
        for (n, held) in revisions.iter_mut().enumerate() {
            *held = view
                .term
                .submissions
                .get(&crate::slot("acid", format!("k{n}")))
                .map_or(0, Vec::len);
        }
        drop(view);
        desk.close().await;
    }
    println!(
        "{rounds} kills, {} receipts, {} revisions held",
        receipts.len(),
        revisions.iter().sum::<usize>()
    );
    assert!(
        receipts.len() >= 10,
        "only {} receipts: too few to show anything",
        receipts.len()
    );
    assert_eq!(broken(&db, &receipts).await, Vec::<String>::new());
    let desk = Desk::open(Store::open(&db).await.expect("a store"))
        .await
        .expect("a desk");
    let mut reader = desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("readable"), None);
    drop(reader);
    // at most one hand-in of each student was stored in a round without its receipt arriving
    let stored: usize = revisions.iter().sum();
    assert!(
        stored >= receipts.len()
            && stored <= receipts.len() + AT_A_TIME * usize::try_from(rounds).expect("is small"),
        "{stored} against {}",
        receipts.len()
    );
    assert!(verify(&desk).await.expect("verified").1.is_empty());
}

/// What a bench form was told is with the server is there after a kill.
#[tokio::test(flavor = "multi_thread")]
async fn drafts_survive_a_kill() {
    const STUDENTS: usize = 4;
    let is_long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    let rounds = if is_long { 200 } else { 3 };
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    course(&db, STUDENTS).await;
    let signed = signed_in(&db, STUDENTS).await;
    let mut kept = [0_usize; STUDENTS];
    for round in 0..rounds {
        let mut server = Server::start(&db);
        let mut tasks = Vec::new();
        for n in 0..STUDENTS {
            let address = server.address.clone();
            tasks.push(tokio::spawn(keep_typing(
                address,
                signed[n].clone(),
                n,
                kept[n],
            )));
        }
        tokio::time::sleep(Duration::from_millis(300 + 130 * (round % 5))).await;
        server.process.kill().expect("killed");
        server.process.wait().expect("gone");
        let store = Store::open(&db).await.expect("a store");
        let mut reader = store.read().await.expect("a reader");
        for (n, task) in tasks.into_iter().enumerate() {
            let told = task.await.expect("ran");
            let slot = crate::slot("acid", format!("k{n}"));
            let draft = draft_of(&mut reader, &slot).await.expect("readable");
            let held = draft.map_or(0, |draft| {
                let answer = draft.fields.iter().find(|(name, _)| name == "reported");
                answer.map_or(0, |(_, typed)| typed.parse().expect("a number"))
            });
            // the last may have been written without the answer having come
            assert!(
                held == told || held == told + 1,
                "k{n} was told {told}, held {held}"
            );
            kept[n] = held;
        }
        drop(reader);
        store.close().await;
    }
    println!("{rounds} kills, drafts kept {kept:?}");
    assert!(kept.iter().all(|many| *many >= 3), "{kept:?} shows nothing");
}

/// Types one answer after another until the server is gone; the last that it says it keeps.
async fn keep_typing(address: String, (cookie, token): Signed, n: usize, mut kept: usize) -> usize {
    let mut student = Person::at(&address);
    student.set_cookie(Some(cookie));
    loop {
        let next = (kept + 1).to_string();
        let key = format!("form-that-survives-{n}");
        let mut fields = acid_form(&key, "0", "20.40", "20.48");
        fields.retain(|(name, _)| *name != "reported");
        fields.extend([("reported", next.as_str()), ("csrf", &token)]);
        let path = "/student/experiments/acid/bench/draft";
        let Some(answer) = student.try_post(path, &fields).await else {
            return kept;
        };
        assert_eq!(answer.status, 200, "{}", answer.body);
        let is_kept = answer.body.contains("Trials 1 and 2 are with the server.");
        assert!(is_kept, "{}", answer.body);
        kept += 1;
    }
}

/// Hands in one revision after another until the server is gone; returns the receipts that arrived.
async fn keep_handing_in(
    address: String,
    (cookie, token): Signed,
    n: usize,
    round: u64,
    mut seen: usize,
) -> Vec<Shown> {
    let mut receipts = Vec::new();
    let mut student = Person::at(&address);
    student.set_cookie(Some(cookie));
    let login = format!("k{n}");
    loop {
        let key = format!("{round:016x}{n:08x}{seen:08x}");
        let end = format!("20.{:02}", (seen * 7 + n) % 90 + 10);
        let before = seen.to_string();
        let mut fields = acid_form(&key, &before, &end, "20.48");
        fields.push(("csrf", &token));
        let Some(answer) = student
            .try_post("/student/experiments/acid/hand-in", &fields)
            .await
        else {
            return receipts;
        };
        // who hands in too often is led to a page that says so
        if answer.location().contains("?kept=") {
            if let Some(refused) = student.try_get(answer.location()).await {
                assert_eq!(refused.status, 429, "{}", refused.body);
            }
            return receipts;
        }
        assert_eq!(answer.status, 303, "{}", answer.body);
        let number = answer
            .location()
            .rsplit('/')
            .next()
            .and_then(|n| n.parse().ok())
            .expect("a receipt");
        receipts.push(Shown {
            number,
            student: login.clone(),
            key,
            end,
        });
        seen += 1;
    }
}

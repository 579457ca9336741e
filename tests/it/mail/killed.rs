//! The program itself, ended and killed in the middle of its queue: nothing is lost, and nothing comes twice.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use concordant::changes::{Change, SetRelease};
use concordant::course::Student;
use concordant::desk::mail::pass;
use concordant::desk::outgoing::Place;
use concordant::desk::{Desk, bring_in};
use concordant::ids::{SectionName, StudentId};
use concordant::store::Store;
use jiff::{SignedDuration, Timestamp};

use super::{PUBLIC, catcher::Catcher, folder, post, turn_on};

const MANY: usize = 40;

fn serve(db: &Path, catcher: &Catcher) -> Child {
    let mut process = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(["serve", "--listen", "127.0.0.1:0", "--public-url", PUBLIC])
        .args([
            "--mail-server",
            &catcher.server(),
            "--mail-from",
            "lab@example.edu",
            "--db",
        ])
        .arg(db)
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    let mut line = String::new();
    let stderr = process.stderr.take().expect("stderr");
    BufReader::new(stderr).read_line(&mut line).expect("a line");
    assert!(line.starts_with("serving "), "{line}");
    process
}

async fn until(catcher: &Catcher, count: usize) {
    let begun = Instant::now();
    while catcher.caught().len() < count {
        assert!(
            begun.elapsed() < Duration::from_secs(120),
            "{} of {count}",
            catcher.caught().len()
        );
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

fn end(process: &mut Child, signal: &str) {
    let id = process.id().to_string();
    let sent = Command::new("kill")
        .args([signal, &id])
        .status()
        .expect("kill");
    assert!(sent.success());
    process.wait().expect("ends");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_ends_or_is_killed_in_mid_queue_loses_and_doubles_nothing() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    let desk = Desk::open(Store::open(&db).await.expect("a store"))
        .await
        .expect("a desk");
    let now = Timestamp::now();
    bring_in(&desk, &folder(), "test", now)
        .await
        .expect("brought in");
    let many = (0..MANY).map(|n| {
        Change::Student(Student {
            id: StudentId::new(format!("m{n}")),
            section: SectionName::new("A"),
            email: format!("m{n}@students.example"),
            ..Student::default()
        })
    });
    desk.apply(many.collect(), "test", now)
        .await
        .expect("joined");
    turn_on(&desk, now).await;
    let release = SetRelease {
        experiment: crate::key("acid"),
        section: Some(SectionName::new("A")),
        released_at: Some(now),
    };
    desk.apply(vec![release.into()], "test", now)
        .await
        .expect("out");
    desk.close().await;
    // the two of the week that are in section A hear of it, too
    let all = MANY + 2;

    let catcher = Catcher::start().await;
    catcher.set(|mood| mood.slow = Duration::from_millis(60));
    let mut server = serve(&db, &catcher);
    until(&catcher, 5).await;
    end(&mut server, "-TERM");
    let sent = catcher.caught().len();
    assert!((5..all).contains(&sent), "{sent}");
    // what was begun is ended and written down: the next goes on behind it
    let mut server = serve(&db, &catcher);
    until(&catcher, sent + 5).await;
    assert_eq!(
        distinct(&catcher).len(),
        catcher.caught().len(),
        "none came twice"
    );
    end(&mut server, "-KILL");
    let mut server = serve(&db, &catcher);
    // one may have been under way: it rests until it cannot be any more
    until(&catcher, all - 1).await;
    tokio::time::sleep(Duration::from_secs(7)).await;
    end(&mut server, "-TERM");
    assert_eq!(
        distinct(&catcher).len(),
        catcher.caught().len(),
        "none came twice"
    );
    let desk = Desk::open(Store::open(&db).await.expect("a store"))
        .await
        .expect("a desk");
    let later = Timestamp::now() + SignedDuration::from_mins(11);
    let last = pass(Place::alone(&desk), (&post(&catcher), PUBLIC), later)
        .await
        .expect("gone through");
    assert!(last.sent <= 1, "{last:?}");
    let counts = distinct(&catcher);
    assert_eq!(counts.len(), all, "nothing is lost");
    let twice = counts.values().filter(|n| **n > 1).count();
    assert!(
        twice <= last.sent,
        "only what was under way, under the same name: {counts:?}"
    );
    assert_eq!(
        pass(Place::alone(&desk), (&post(&catcher), PUBLIC), later)
            .await
            .expect("gone through"),
        Default::default()
    );
    desk.close().await;
}

/// Addresses with names of mails, and how often each came.
fn distinct(catcher: &Catcher) -> BTreeMap<(String, String), usize> {
    let mut counts = BTreeMap::new();
    for one in catcher.caught() {
        *counts
            .entry((one.to.clone(), one.header("Message-ID")))
            .or_default() += 1;
    }
    counts
}

#[test]
fn a_setting_that_cannot_be_is_said_at_the_start() {
    let refused = |arguments: &[&str]| {
        let directory = tempfile::tempdir().expect("a directory");
        let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(["serve", "--new", "--db"])
            .arg(directory.path().join("c.db"))
            .args(arguments)
            .output()
            .expect("runs");
        assert!(!done.status.success());
        String::from_utf8_lossy(&done.stderr).into_owned()
    };
    let from = ["--mail-from", "lab@example.edu"];
    let with = |more: &[&'static str]| [&from[..], more].concat();
    let why = refused(&with(&["--mail-server", "smtps://mail.example.edu"]));
    assert!(why.contains("found no --public-url"), "{why}");
    let public = ["--public-url", PUBLIC, "--mail-server", "mail.example.edu"];
    let why = refused(&with(&public));
    assert!(
        why.contains(
            "--mail-server: found \u{201c}mail.example.edu\u{201d}, expected smtps://HOST"
        ),
        "{why}"
    );
    let why = refused(&[
        "--public-url",
        PUBLIC,
        "--mail-server",
        "smtps://a",
        "--mail-from",
        "nobody",
    ]);
    assert!(
        why.contains("--mail-from: found \u{201c}nobody\u{201d}, expected an address"),
        "{why}"
    );
    let why = refused(&with(&[
        "--public-url",
        PUBLIC,
        "--mail-server",
        "smtps://a",
        "--mail-user",
        "lab",
    ]));
    assert!(why.contains("--mail-password-file"), "{why}");
}

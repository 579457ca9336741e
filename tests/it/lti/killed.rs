//! The program itself, ended and killed in the middle of what it sends: nothing is lost, nothing older comes after something
//! newer.

use std::path::Path;
use std::process::{Child, Command};
use std::sync::Arc;
use std::time::{Duration, Instant};

use concordant::changes::SetRelease;
use concordant::desk::lti::grades::pass;
use concordant::desk::lti::{Doing, register_platform};
use concordant::desk::outgoing::Place;
use concordant::desk::{Desk, bring_in};
use concordant::lti::{Context, NamedBy, Platform as Registered, Scope};
use concordant::store::Store;
use concordant::store::accounts::{AccountId, Kind};
use jiff::{SignedDuration, Timestamp};

use super::grades::folder;
use super::platform::{CLIENT, DEPLOYMENT, Platform};

const MANY: usize = 30;

/// A file of a course whose grades are all out and go to the platform.
async fn prepared(db: &Path, platform: &Platform) {
    let desk = Desk::open(Store::open(db).await.expect("a store"))
        .await
        .expect("a desk");
    let now = Timestamp::now();
    bring_in(&desk, &folder(MANY), "test", now)
        .await
        .expect("brought in");
    let there = &platform.address;
    let registered = Registered {
        issuer: there.clone(),
        client: CLIENT.into(),
        deployment: DEPLOYMENT.into(),
        authorize: format!("{there}/authorize"),
        keys: format!("{there}/keys"),
        token: format!("{there}/token"),
        audience: String::new(),
        named_by: NamedBy::SourcedId,
    };
    let doing = Doing {
        who: AccountId {
            kind: Kind::Staff,
            login: "i.quell".into(),
        },
        network: String::new(),
        at: now,
    };
    register_platform(&desk, &registered, &doing)
        .await
        .expect("registered");
    let context = Context {
        id: "course-5".into(),
        title: "Chemistry".into(),
        line_items: format!("{there}/lineitems?type=2"),
        scopes: vec![Scope::LineItems, Scope::Scores],
        ..Context::default()
    };
    let mut transaction = desk.store().write().await.expect("a write");
    let mut contexts = transaction.contexts();
    let name = contexts
        .keep(&registered, &context, now)
        .await
        .expect("kept");
    assert!(contexts.link(&name, Some("")).await.expect("linked"));
    let many = (0..MANY).map(|n| format!("m{n}"));
    for login in ["0042", "0043"].map(str::to_owned).into_iter().chain(many) {
        let sub = format!("u-{login}");
        let id = AccountId {
            kind: Kind::Student,
            login,
        };
        contexts
            .keep_person((there, &sub), &id, now)
            .await
            .expect("kept");
        contexts
            .keep_member(&name, (there, &sub), false)
            .await
            .expect("kept");
    }
    transaction.grades().want(true).await.expect("wanted");
    transaction.commit().await.expect("kept");
    let release = SetRelease {
        experiment: crate::key("acid"),
        section: None,
        released_at: Some(now),
    };
    desk.apply(vec![release.into()], "test", now)
        .await
        .expect("out");
    desk.close().await;
}

/// Serves, with everything that can be logged in a file.
fn serve(db: &Path, listen: &str) -> Child {
    let log = db.with_extension("log");
    let before = std::fs::read_to_string(&log).unwrap_or_default().len();
    let file = std::fs::OpenOptions::new()
        .create(true)
        .append(true)
        .open(&log);
    let process = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(["serve", "--log-level", "trace", "--listen", listen, "--db"])
        .arg(db)
        .stderr(file.expect("a log"))
        .spawn()
        .expect("starts");
    let begun = Instant::now();
    while !std::fs::read_to_string(&log).expect("a log")[before..].contains("serving ") {
        assert!(
            begun.elapsed() < Duration::from_secs(60),
            "it does not start"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    process
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

fn came(platform: &Platform) -> usize {
    platform.told.lock().expect("sound").services.scores.len()
}

async fn until(platform: &Platform, count: usize) {
    let begun = Instant::now();
    while came(platform) < count {
        assert!(
            begun.elapsed() < Duration::from_secs(120),
            "{} of {count}",
            came(platform)
        );
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_ends_or_is_killed_while_it_sends_loses_nothing() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    let platform = Platform::spawn(Timestamp::now().as_second()).await;
    let free = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let listen = free.local_addr().expect("an address").to_string();
    drop(free);
    platform.tell(|told| {
        told.tool = format!("http://{listen}");
        told.services.slow = Duration::from_millis(60);
    });
    prepared(&db, &platform).await;
    let all = MANY + 2;
    let mut server = serve(&db, &listen);
    until(&platform, 5).await;
    end(&mut server, "-TERM");
    let sent = came(&platform);
    assert!((5..all).contains(&sent), "{sent}");
    let mut server = serve(&db, &listen);
    until(&platform, sent + 5).await;
    assert_eq!(users(&platform), came(&platform), "none came twice");
    end(&mut server, "-KILL");
    let mut server = serve(&db, &listen);
    // one may have been under way: it rests until it cannot be any more
    until(&platform, all - 1).await;
    let desk = Desk::open(Store::open(&db).await.expect("a store"))
        .await
        .expect("a desk");
    let place = Place::alone(&desk);
    let later = Timestamp::now() + SignedDuration::from_mins(6);
    let passed = pass(place, &Arc::default(), later)
        .await
        .expect("gone through");
    assert!(passed.sent <= 2, "{passed:?}");
    assert_eq!(users(&platform), all, "nothing is lost");
    assert!(
        came(&platform) <= all + 1,
        "only what was under way comes again"
    );
    // each timestamp was later than the one before: the gradebook looks
    let told = platform.told.lock().expect("sound").clone();
    assert_eq!(told.services.gradebook().len(), all);
    assert_eq!(told.services.line_items.len(), 1);
    let secret = desk
        .store()
        .read()
        .await
        .expect("a reader")
        .keys()
        .signing()
        .await;
    let secret = secret.expect("reads").expect("a key");
    desk.close().await;
    end(&mut server, "-TERM");
    let log = std::fs::read_to_string(db.with_extension("log")).expect("a log");
    assert!(log.contains("serving "), "{log}");
    for part in ["-secret", "u-0042", "Bearer", "eyJ", &secret[..40]] {
        assert!(!log.contains(part), "{part} in {log}");
    }
}

/// How many people have a score.
fn users(platform: &Platform) -> usize {
    let told = platform.told.lock().expect("sound").clone();
    let users = told
        .services
        .scores
        .iter()
        .map(|(_, score)| score["userId"].to_string());
    users.collect::<std::collections::BTreeSet<_>>().len()
}

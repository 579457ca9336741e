//! A disk that takes nothing: no receipt is shown, the form can be sent again, reading goes on, and people come in.
//!
//! A limit to the size of files makes every write of a running server fail. `strace` makes single calls fail, which takes a
//! while and leave to trace it: with `CONCORDANT_LONG=1`.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use concordant::desk::accounts::{AccessEvent, By};
use concordant::desk::{Desk, accounts, bring_in};
use concordant::store::{Store, first_difference};

use crate::app::{PASSWORD, Person};
use crate::web::second_step::{device, hidden, next_code};
use crate::week::{acid_form, folder};

struct Process(Child);

impl Drop for Process {
    fn drop(&mut self) {
        // it may have ended
        let _killed = self.0.kill();
        let _ended = self.0.wait();
    }
}

/// Makes calls of a process fail from now on.
fn failing(process: u32, calls: &str, error: &str) -> Process {
    let inject = format!("inject={calls}:error={error}");
    let mut command = Command::new("strace");
    command.args([
        "-f",
        "-qq",
        "-e",
        "signal=none",
        "-e",
        &inject,
        "-o",
        "/dev/null",
        "-p",
    ]);
    let tracing = command
        .arg(process.to_string())
        .stderr(Stdio::piped())
        .spawn();
    Process(tracing.expect("strace starts; it is needed with CONCORDANT_LONG=1"))
}

/// A course in which these have the usual password.
async fn course(db: &Path, logins: &[&str]) {
    let desk = Desk::open(Store::open(db).await.expect("a store")).await;
    let desk = desk.expect("a desk");
    let now = jiff::Timestamp::now();
    bring_in(&desk, &folder(), "test", now)
        .await
        .expect("imported");
    for login in logins {
        let set = accounts::set_password(&desk, login, PASSWORD, now).await;
        set.expect("a password");
    }
    desk.close().await;
}

async fn code_for(db: &Path, login: &str) -> String {
    let desk = Desk::open(Store::open(db).await.expect("a store")).await;
    let desk = desk.expect("a desk");
    let logins = [login.to_owned()];
    let now = jiff::Timestamp::now();
    let issued = accounts::issue_claim_codes(&desk, &logins, By::COMMAND_LINE, now).await;
    desk.close().await;
    issued.expect("a code").remove(0).code
}

/// A server, which hears of writes that fail as an error and not as a signal, and where it listens.
fn serving(db: &Path) -> (Process, String) {
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\""]);
    command.arg(env!("CARGO_BIN_EXE_concordant"));
    command.args(["serve", "--listen", "127.0.0.1:0", "--db"]);
    let starting = command.arg(db).stderr(Stdio::piped()).spawn();
    let mut server = Process(starting.expect("starts"));
    let mut lines = BufReader::new(server.0.stderr.take().expect("a pipe")).lines();
    let line = lines.next().expect("a line").expect("is text");
    let address = line.rsplit(' ').next().unwrap_or_default().to_owned();
    // what else it says must not fill the pipe
    std::thread::spawn(move || lines.for_each(drop));
    (server, address)
}

/// The most bytes of a file that a process writes from now on.
fn limited(process: &Process, most: &str) {
    let mut command = Command::new("prlimit");
    command.arg("--pid").arg(process.0.id().to_string());
    let done = command.arg(format!("--fsize={most}:unlimited")).status();
    assert!(done.expect("prlimit runs").success());
}

/// What the record of access says of somebody, oldest first.
async fn events_of(db: &Path, login: &str) -> Vec<AccessEvent> {
    let store = Store::open(db).await.expect("a store");
    let mut reader = store.read().await.expect("a reader");
    let events = reader.accounts().events(Some(login), 100).await;
    assert_eq!(first_difference(&mut reader).await.expect("read"), None);
    drop(reader);
    store.close().await;
    events.expect("events").into_iter().rev().collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn people_come_in_while_the_disk_is_full() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    course(&db, &["i.quell", "b.tarn"]).await;
    let printed = code_for(&db, "b.tarn").await;
    let (server, address) = serving(&db);
    let sign_in = |login: &'static str, password: &'static str| {
        let mut person = Person::at(&address);
        async move {
            let fields = [("login", login), ("password", password)];
            let answer = person.post_open("/sign-in", &fields).await;
            (person, answer)
        }
    };
    // one of them with a second step
    let (mut coordinator, entered) = sign_in("i.quell", PASSWORD).await;
    assert_eq!(entered.status, 303);
    coordinator.post_form("/second-step/begin", &[]).await;
    let page = coordinator.get("/second-step").await.body;
    let key = next_code(&page, "Key:");
    let code = device(&key, jiff::Timestamp::now());
    let fields = [("code", code.as_str())];
    let on = coordinator.post_form("/second-step/confirm", &fields).await;
    let on_paper = next_code(&on.body, "Print or write down");

    limited(&server, "0");
    let (mut assistant, entered) = sign_in("b.tarn", PASSWORD).await;
    assert_eq!(entered.status, 303, "{}", entered.body);
    assert_eq!(assistant.get("/review").await.status, 200);
    let (mut again, asked) = sign_in("i.quell", PASSWORD).await;
    assert_eq!(asked.status, 200, "{}", asked.body);
    let ticket = hidden(&asked.body, "ticket");
    let second = |code: &str| [("ticket", ticket.clone()), ("code", code.to_owned())];
    let mut statuses = Vec::new();
    for code in ["000000", &on_paper, &on_paper] {
        let fields = second(code);
        let fields: Vec<_> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        statuses.push(again.post_open("/sign-in/code", &fields).await.status);
    }
    assert_eq!(
        statuses,
        [422, 303, 422],
        "a wrong code, a right one, and it again"
    );
    assert_eq!(again.get("/course").await.status, 200);
    // nothing is said to be kept that is not, and what was typed can be sent again
    let refused = again
        .post_form("/course/access", &[("who", "b.tarn")])
        .await;
    assert!(
        refused.status == 507 && refused.body.contains("value=\"b.tarn\""),
        "{}",
        refused.body
    );
    let other = "seven otters 18 lamps";
    let fields = [
        ("current", PASSWORD),
        ("password", other),
        ("repeat", other),
    ];
    let refused = again.post_form("/password", &fields).await;
    assert!(
        refused.status == 507 && refused.body.contains("the one you have still works"),
        "{}",
        refused.body
    );
    let fields = [
        ("login", "b.tarn"),
        ("code", printed.as_str()),
        ("password", other),
        ("repeat", other),
    ];
    let refused = Person::at(&address).post_open("/claim", &fields).await;
    assert!(
        refused.status == 507 && refused.body.contains(&printed),
        "{}",
        refused.body
    );
    // whoever guesses waits here as well
    let mut guesses = Vec::new();
    for _ in 0..6 {
        guesses.push(sign_in("m.sedge", "a guess that is wrong").await.1.status);
    }
    assert_eq!(guesses, [422, 422, 422, 422, 422, 429]);
    // who signs out is out
    let (mut leaving, _) = sign_in("b.tarn", PASSWORD).await;
    let cookie = leaving.cookie().map(str::to_owned);
    assert_eq!(leaving.post_form("/sign-out", &[]).await.status, 303);
    leaving.set_cookie(cookie);
    assert_eq!(leaving.get("/review").await.status, 303);
    assert!(
        !events_of(&db, "b.tarn")
            .await
            .iter()
            .any(|e| e.what == "signed-in")
    );

    limited(&server, "unlimited");
    let of = |events: &[AccessEvent]| -> Vec<String> {
        let late = events
            .iter()
            .filter(|e| e.subject.ends_with("while the disk was full"));
        late.map(|e| format!("{} {}", e.what, e.subject)).collect()
    };
    let mut late = Vec::new();
    for _ in 0..120 {
        tokio::time::sleep(Duration::from_millis(250)).await;
        late = of(&events_of(&db, "b.tarn").await);
        if !late.is_empty() {
            break;
        }
    }
    let twice = [
        "signed-in while the disk was full",
        "told while the disk was full",
    ];
    assert_eq!(late, [twice, twice].concat());
    assert_eq!(
        of(&events_of(&db, "i.quell").await),
        [
            "failed second step, while the disk was full",
            "signed-in with a recovery code, while the disk was full",
            "told while the disk was full",
        ]
    );
    // sessions outlast the server now, a code on paper that was used stays used, and whoever left is out
    drop(server);
    let (_server, address) = serving(&db);
    for (person, page, status) in [
        (&mut assistant, "/review", 200),
        (&mut again, "/course", 200),
        (&mut leaving, "/review", 303),
    ] {
        let mut moved = Person::at(&address);
        moved.set_cookie(person.cookie().map(str::to_owned));
        assert_eq!(moved.get(page).await.status, status, "{page}");
    }
    let mut thief = Person::at(&address);
    let fields = [("login", "i.quell"), ("password", PASSWORD)];
    let asked = thief.post_open("/sign-in", &fields).await;
    let ticket = hidden(&asked.body, "ticket");
    let fields = [("ticket", ticket.as_str()), ("code", on_paper.as_str())];
    assert_eq!(thief.post_open("/sign-in/code", &fields).await.status, 422);
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_acknowledged_that_the_disk_did_not_take() {
    if std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1") {
        for (calls, error) in [
            ("pwrite64", "ENOSPC"),
            ("pwrite64", "EIO"),
            ("fdatasync,fsync", "EIO"),
        ] {
            on_a_failing_disk(calls, error).await;
        }
    } else {
        println!("with CONCORDANT_LONG=1 the disk fails under the server");
    }
}

async fn on_a_failing_disk(calls: &str, error: &str) {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    course(&db, &["0042"]).await;
    let (server, address) = serving(&db);

    let mut student = Person::at(&address);
    let signed = student.post_open("/sign-in", &[("login", "0042"), ("password", PASSWORD)]);
    assert_eq!(signed.await.status, 303);
    let form = acid_form("00112233445566778899aabbccddeeff", "0", "20.40", "20.48");
    let token = student.form_token().await;
    let mut fields = form.clone();
    fields.push(("csrf", &token));
    let path = "/student/experiments/acid/hand-in";

    let tracing = failing(server.0.id(), calls, error);
    tokio::time::sleep(Duration::from_secs(2)).await;
    let refused = student.post_open(path, &fields).await;
    let what = format!("{calls} {error}: {} {}", refused.status, refused.body);
    assert!(refused.status >= 500, "{what}");
    assert!(!refused.location().contains("receipt"), "{what}");
    assert!(
        refused.body.contains("value=\"20.40\""),
        "still filled: {what}"
    );
    assert_eq!(student.get("/student").await.status, 200, "reading goes on");
    drop(tracing);
    tokio::time::sleep(Duration::from_secs(1)).await;

    let mut fields = form;
    let token = student.form_token().await;
    fields.push(("csrf", &token));
    let taken = student.post_open(path, &fields).await;
    assert!(
        taken.status == 303 && taken.location().contains("receipt"),
        "{}",
        taken.body
    );
    drop(server);
    let desk = Desk::open(Store::open(&db).await.expect("a store")).await;
    let desk = desk.expect("a desk");
    let view = desk.view().await.expect("a course");
    assert_eq!(
        view.term
            .submissions
            .get(&crate::slot("acid", "0042"))
            .expect("is there")
            .len(),
        1
    );
    let mut reader = desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("read"), None);
    println!(
        "{calls} {error}: refused with {}, then taken",
        refused.status
    );
}

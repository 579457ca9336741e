//! A disk that takes nothing: no receipt is shown, the form can be sent again, and reading goes on.
//!
//! `strace` makes the calls of a running server fail, which takes a while and leave to trace it: with `CONCORDANT_LONG=1`.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use concordant::desk::{Desk, accounts, bring_in};
use concordant::store::{Store, first_difference};

use crate::app::{PASSWORD, Person};
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
    let desk = Desk::open(Store::open(&db).await.expect("a store")).await;
    let desk = desk.expect("a desk");
    let now = jiff::Timestamp::now();
    bring_in(&desk, &folder(), "test", now)
        .await
        .expect("imported");
    let set = accounts::set_password(&desk, "0042", PASSWORD, now).await;
    set.expect("a password");
    desk.close().await;
    let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
    command
        .args(["serve", "--listen", "127.0.0.1:0", "--db"])
        .arg(&db);
    let mut server = Process(command.stderr(Stdio::piped()).spawn().expect("starts"));
    let mut lines = BufReader::new(server.0.stderr.take().expect("a pipe")).lines();
    let line = lines.next().expect("a line").expect("is text");
    let address = line.rsplit(' ').next().unwrap_or_default().to_owned();
    // what else it says must not fill the pipe
    std::thread::spawn(move || lines.for_each(drop));

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
    assert_eq!(view.term.submissions[&crate::slot("acid", "0042")].len(), 1);
    let mut reader = desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("read"), None);
    println!(
        "{calls} {error}: refused with {}, then taken",
        refused.status
    );
}

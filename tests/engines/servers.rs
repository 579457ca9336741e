//! Two servers on one database, as people meet them: load, kills of either, a restart of the database.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use concordant::columns::Column;
use concordant::desk::sessions::begin_session;
use concordant::desk::{MOST_HAND_INS, verify};
use concordant::store::accounts::{AccountId, Kind};
use concordant::store::first_difference;

use crate::app::{Answer, Person};
use crate::cluster::Cluster;
use crate::engine::{Engine, course};
use crate::slot;
use crate::week::acid_form;

pub struct Server {
    process: Child,
    pub address: String,
}

impl Server {
    pub fn start(url: &str) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(["serve", "--listen", "127.0.0.1:0", "--db", url])
            .stderr(Stdio::piped())
            .spawn()
            .expect("the server starts");
        let mut line = String::new();
        let stderr = process.stderr.take().expect("stderr");
        let mut lines = BufReader::new(stderr);
        lines.read_line(&mut line).expect("a line");
        // whoever writes on it is not to be stopped by a pipe that is full
        std::thread::spawn(move || lines.lines().map_while(Result::ok).for_each(drop));
        let address = line
            .trim()
            .rsplit(' ')
            .next()
            .unwrap_or_default()
            .to_owned();
        assert!(address.starts_with("http://127.0.0.1:"), "{line}");
        Self { process, address }
    }

    /// SIGKILL: nothing is flushed, nothing is said.
    fn kill(&mut self) {
        self.process.kill().expect("killed");
        self.process.wait().expect("gone");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // already gone if the test killed it
        let _killed = self.process.kill();
        let _waited = self.process.wait();
    }
}

/// Where the two are just now.
type Addresses = Arc<Mutex<[String; 2]>>;

/// A cookie and the token of its forms.
pub type Signed = (String, String);

pub async fn signed_in(engine: &Engine, students: usize) -> Vec<Signed> {
    let (store, at) = (engine.store().await, jiff::Timestamp::now());
    let mut sessions = Vec::new();
    for n in 0..students {
        let id = AccountId {
            kind: Kind::Student,
            login: format!("k{n}"),
        };
        let mut write = store.write().await.expect("a write");
        write
            .accounts()
            .keep_account(&id, at)
            .await
            .expect("an account");
        let token = begin_session(&mut write, &id, at).await.expect("a session");
        write.commit().await.expect("on disk");
        sessions.push((format!("concordant={}", token.as_str()), token.form_token()));
    }
    sessions
}

/// What a student was shown.
struct Shown {
    student: String,
    number: i64,
    key: String,
    end: String,
}

/// Hands in so often, each time until a receipt comes, from whichever server gives it: under the same key.
async fn keep_handing_in(
    addresses: Addresses,
    (cookie, token): Signed,
    n: usize,
    times: usize,
) -> (Vec<Shown>, usize) {
    let (mut shown, mut sent_again) = (Vec::new(), 0);
    for seen in 0..times {
        let (key, before) = (format!("{n:016x}{seen:016x}"), seen.to_string());
        let end = format!("20.{:02}", (seen * 7 + n) % 90 + 10);
        let begun = Instant::now();
        for attempt in 0.. {
            assert!(
                begun.elapsed() < Duration::from_secs(60),
                "k{n} waits for a receipt"
            );
            let address = addresses.lock().expect("nobody fails")[(n + seen + attempt) % 2].clone();
            let mut student = Person::at(&address);
            student.set_cookie(Some(cookie.clone()));
            let mut fields = acid_form(&key, &before, &end, "20.48");
            fields.push(("csrf", &token));
            let answer = student
                .try_post("/student/experiments/acid/hand-in", &fields)
                .await;
            if let Some(number) = answer.as_ref().and_then(receipt) {
                let student = format!("k{n}");
                shown.push(Shown {
                    student,
                    number,
                    key,
                    end,
                });
                break;
            }
            sent_again += 1;
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }
    (shown, sent_again)
}

/// The number of the receipt that an answer leads to.
pub fn receipt(answer: &Answer) -> Option<i64> {
    let leads = (answer.status == 303).then(|| answer.location())?;
    leads.rsplit('/').next()?.parse().ok()
}

/// From a receipt at one server until the page at the other shows it.
async fn lag(
    addresses: &Addresses,
    (cookie, token): &Signed,
    n: usize,
    seen: usize,
) -> Option<Duration> {
    let [here, there] = addresses.lock().expect("nobody fails").clone();
    let [mut here, mut there] = [here, there].map(|address| Person::at(&address));
    here.set_cookie(Some(cookie.clone()));
    there.set_cookie(Some(cookie.clone()));
    let (key, before) = (format!("{n:016x}lag{seen:013x}"), seen.to_string());
    let mut fields = acid_form(&key, &before, "20.33", "20.48");
    fields.push(("csrf", token));
    let answer = here
        .try_post("/student/experiments/acid/hand-in", &fields)
        .await?;
    let number = receipt(&answer)?;
    let begun = Instant::now();
    let page = format!("/student/receipts/{number}");
    loop {
        let shown = there.try_get(&page).await?;
        if shown.status == 200 && shown.body.contains(&number.to_string()) {
            return Some(begun.elapsed());
        }
        if begun.elapsed() > Duration::from_secs(20) {
            panic!("{page} does not come: {} {}", shown.status, shown.body);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn no_receipt_is_lost_or_doubled() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let cluster = Arc::new(cluster);
    let is_long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    let (waves, at_a_time) = if is_long { (40, 4) } else { (2, 4) };
    let times = MOST_HAND_INS - 1;
    let students = waves * at_a_time + 1;
    let engine = Engine::schema(&cluster, "course_week").await;
    let desk = course(&engine, students).await;
    let signed = signed_in(&engine, students).await;
    let url = format!("{}&course=week", cluster.url());
    let mut servers = [Server::start(&url), Server::start(&url)];
    let addresses: Addresses = Arc::new(Mutex::new([
        servers[0].address.clone(),
        servers[1].address.clone(),
    ]));
    let mut lags = Vec::new();
    for seen in 0..times {
        lags.extend(lag(&addresses, &signed[students - 1], students - 1, seen).await);
    }
    assert_eq!(lags.len(), times);
    let (mut shown, mut sent_again, mut kills, mut restarts) = (Vec::new(), 0, 0, 0);
    let begun = Instant::now();
    for wave in 0..waves {
        let tasks: Vec<_> = (0..at_a_time)
            .map(|n| wave * at_a_time + n)
            .map(|n| {
                let hand_ins = keep_handing_in(Arc::clone(&addresses), signed[n].clone(), n, times);
                tokio::spawn(hand_ins)
            })
            .collect();
        tokio::time::sleep(Duration::from_millis(150 + 90 * (wave as u64 % 5))).await;
        if wave % 4 == 1 {
            cluster.crash();
            tokio::time::sleep(Duration::from_millis(300)).await;
            cluster.start_again().await;
            restarts += 1;
        } else {
            let which = wave % 2;
            servers[which].kill();
            tokio::time::sleep(Duration::from_millis(100)).await;
            servers[which] = Server::start(&url);
            addresses.lock().expect("nobody fails")[which].clone_from(&servers[which].address);
            kills += 1;
        }
        for task in tasks {
            let (receipts, again) = task.await.expect("ran");
            shown.extend(receipts);
            sent_again += again;
        }
    }
    let took = begun.elapsed();
    lags.sort();
    println!(
        "{kills} kills, {restarts} restarts of the database, {} receipts in {took:.1?}, sent again {sent_again} times; \
         a page of the second server after a receipt of the first: middle {:.0?}, longest {:.0?} of {}",
        shown.len(),
        lags[lags.len() / 2],
        lags[lags.len() - 1],
        lags.len(),
    );
    assert!(lags[lags.len() - 1] < Duration::from_secs(1), "{lags:?}");
    assert_eq!(shown.len(), waves * at_a_time * times);
    // the database may have been restarted just now
    let view = loop {
        match desk.view().await {
            Ok(view) => break view,
            Err(why) => assert!(why.is_away(), "{why}"),
        }
    };
    // every receipt that was shown is there, as what was handed in, and nothing else is
    let mut kept: BTreeMap<i64, (String, String)> = BTreeMap::new();
    for n in 0..students - 1 {
        let student = format!("k{n}");
        for revision in view
            .term
            .submissions
            .get(&slot("acid", &student))
            .into_iter()
            .flatten()
        {
            let end = &revision.hand_in.titrations[0].readings[&Column::BuretteEnd(1)];
            let held = (student.clone(), end.written().to_owned());
            assert!(
                kept.insert(revision.receipt.expect("a number"), held)
                    .is_none()
            );
        }
    }
    for one in &shown {
        let held = kept.remove(&one.number);
        assert_eq!(
            held,
            Some((one.student.clone(), one.end.clone())),
            "{}",
            one.key
        );
    }
    assert_eq!(kept, BTreeMap::new(), "kept and shown to nobody");
    drop(view);
    let mut reader = desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("is read"), None);
    drop(reader);
    assert!(verify(&desk).await.expect("verified").1.is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn while_the_database_is_away_people_are_told() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let engine = Engine::schema(&cluster, "course_week").await;
    course(&engine, 1).await;
    let signed = signed_in(&engine, 1).await;
    let server = Server::start(&format!("{}&course=week", cluster.url()));
    let mut student = Person::at(&server.address);
    student.set_cookie(Some(signed[0].0.clone()));
    assert_eq!(student.get("/student").await.status, 200);
    cluster.crash();
    let mut fields = acid_form("a key of sixteen and more", "0", "20.33", "20.48");
    fields.push(("csrf", &signed[0].1));
    let path = "/student/experiments/acid/hand-in";
    for answer in [
        student.get("/student").await,
        student.post_open(path, &fields).await,
    ] {
        assert_eq!(answer.status, 503, "{}", answer.body);
        assert!(
            answer.body.contains("cannot be reached just now"),
            "{}",
            answer.body
        );
    }
    cluster.start_again().await;
    // the very same form, sent again
    let answer = student.post_open(path, &fields).await;
    assert!(
        receipt(&answer).is_some(),
        "{} {}",
        answer.status,
        answer.body
    );
}

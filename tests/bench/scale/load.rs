//! Hand-ins from many benches at once, beside bare commits of the same rows.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use concordant::judge::questions;
use concordant::procedure::Procedure;
use concordant::store::accounts::Kind;
use concordant::submission::HandIn;
use concordant::term::{Slot, Term};
use jiff::SignedDuration;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, Row};

use crate::courses::{HARDNESS, Served, THREE, Visitor, term};
use crate::{cpu, memory, ms, quantile, sizes};

const CONNECTIONS: usize = 64;
/// Corrections of each; of one bench alone.
const EACH: usize = 25;

pub async fn hand_ins() {
    println!("hand-ins over HTTP, {CONNECTIONS} connections");
    for sections in [100, 400] {
        let term = term(sections, 24, &THREE);
        let served = Served::of(&term).await;
        let mut benches = Vec::new();
        for slot in hardness(&term)
            .step_by(sections * 24 / CONNECTIONS - 1)
            .take(CONNECTIONS + 1)
        {
            let visitor = served.visitor(Kind::Student, &slot.student).await;
            benches.push(Bench::of(visitor, &term, slot));
        }
        let alone = benches.pop().expect("one more");
        let (_, mut one) = alone.hands_in(EACH).await;
        let p50 = quantile(&mut one, 0.5);
        let first = newest(served.at.folder.path()).await;
        let (clock, used) = (Instant::now(), cpu());
        let mut times = at_once(benches).await;
        let (rate, used) = (
            times.len() as f64 / clock.elapsed().as_secs_f64(),
            (cpu() - used) / u32::try_from(times.len()).expect("few"),
        );
        let bare = bare(served.at.folder.path(), first).await;
        println!(
            "  {} x 3: {rate:.0} per second, p50 {:.1} ms, p99 {:.1} ms; one alone p50 {:.1} ms; {:.2} ms of CPU each, the client's included; {:.0} MB",
            sections * 24,
            ms(quantile(&mut times, 0.5)),
            ms(quantile(&mut times, 0.99)),
            ms(p50),
            ms(used),
            memory("VmRSS"),
        );
        println!(
            "    bare commits of the same rows {bare:.0} per second: 1/{:.1} of it; p99 / p50 of one = {:.1}",
            bare / rate,
            quantile(&mut times, 0.99).as_secs_f64() / p50.as_secs_f64()
        );
        served.clock.put_forward(SignedDuration::from_mins(20));
        served.at.verify().await;
    }
}

/// What all of them wait for each of their hand-ins, all at once.
pub async fn at_once(benches: Vec<Bench>) -> Vec<Duration> {
    let all: Vec<_> = benches
        .into_iter()
        .map(|bench| tokio::spawn(bench.hands_in(EACH)))
        .collect();
    let mut times = Vec::new();
    for one in all {
        times.extend(one.await.expect("handed in").1);
    }
    times
}

pub fn hardness(term: &Term) -> impl Iterator<Item = &Slot> {
    term.submissions
        .keys()
        .filter(|slot| slot.experiment == HARDNESS)
}

/// Somebody at a bench, with a session.
pub struct Bench {
    visitor: Visitor,
    procedure: Procedure,
    student: String,
    hand_in: Arc<HandIn>,
    seen: usize,
}

impl Bench {
    pub fn of(visitor: Visitor, term: &Term, slot: &Slot) -> Self {
        let revisions = term.submissions.get(slot).expect("handed in");
        Self {
            visitor,
            procedure: term.experiment(HARDNESS).expect("there").procedure.clone(),
            student: slot.student.to_string(),
            hand_in: Arc::clone(&revisions[revisions.len() - 1].hand_in),
            seen: revisions.len(),
        }
    }

    async fn hands_in(mut self, times: usize) -> (Self, Vec<Duration>) {
        let mut took = Vec::new();
        for turn in 0..times {
            let fields = self.fields(turn);
            let clock = Instant::now();
            let path = format!("/student/experiments/{HARDNESS}/hand-in");
            let (status, _) = self.visitor.post(&path, &fields).await;
            assert_eq!(status, 303, "{fields:?}");
            took.push(clock.elapsed());
            self.seen += 1;
        }
        (self, took)
    }

    fn fields(&self, turn: usize) -> Vec<(String, String)> {
        let hand_in = sizes::corrected(&self.hand_in, turn);
        let first = &hand_in.titrations[0];
        let lot = first.lot.as_ref().map_or("", |code| code.as_str());
        let fields = [
            (
                "key",
                format!("bench-{}-revision-{}", self.student, self.seen),
            ),
            ("seen", self.seen.to_string()),
            ("trials", hand_in.titrations.len().to_string()),
            ("lot", lot.to_owned()),
            (
                "unknown",
                hand_in
                    .unknown_written()
                    .map(|code| code.to_string())
                    .unwrap_or_default(),
            ),
            (
                "reported",
                hand_in
                    .reported
                    .as_ref()
                    .map(|r| r.written().to_owned())
                    .unwrap_or_default(),
            ),
            ("reason", "misread".to_owned()),
        ];
        let mut fields: Vec<(String, String)> = fields
            .into_iter()
            .map(|(name, value)| (name.to_owned(), value))
            .collect();
        for row in &hand_in.titrations {
            for (column, reading) in &row.readings {
                fields.push((
                    format!("{}.{column}", row.trial),
                    reading.written().to_owned(),
                ));
            }
        }
        // whatever is asked about a reading, it stands
        let asked = questions(&self.procedure, &hand_in).into_iter();
        fields.extend(asked.map(|question| ("stand[]".to_owned(), question.id())));
        fields
    }
}

async fn newest(folder: &Path) -> i64 {
    let mut connection = connect(&folder.join("course.db")).await;
    let newest = sqlx::query_scalar("SELECT max(seq) FROM journal");
    newest.fetch_one(&mut connection).await.expect("a number")
}

/// Every row written since, of the journal and of judgements, written again into tables without triggers, and one durable commit for
/// each hand-in: commits per second.
async fn bare(folder: &Path, first: i64) -> f64 {
    let mut read = connect(&folder.join("course.db")).await;
    let text = |statement: &'static str| sqlx::query(statement).bind(first);
    let journal = text(
        "SELECT seq, kind || body || previous || hash AS row FROM journal WHERE seq > ? ORDER BY seq",
    );
    let journal = journal.fetch_all(&mut read).await.expect("rows");
    let judged = text("SELECT seq, document FROM judgement WHERE seq > ? ORDER BY id");
    let judged = judged.fetch_all(&mut read).await.expect("rows");
    let mut judged = judged.into_iter().peekable();
    let mut write = connect(&folder.join("bare.db")).await;
    for table in [
        "CREATE TABLE journal (seq INTEGER PRIMARY KEY, row TEXT NOT NULL)",
        "CREATE TABLE judgement (id INTEGER PRIMARY KEY, seq INTEGER NOT NULL, document TEXT NOT NULL)",
    ] {
        sqlx::query(table)
            .execute(&mut write)
            .await
            .expect("a table");
    }
    let rows = journal.len();
    let clock = Instant::now();
    for row in journal {
        let seq: i64 = row.get(0);
        let mut transaction = write.begin().await.expect("a transaction");
        let insert = sqlx::query("INSERT INTO journal VALUES (?, ?)").bind(seq);
        let insert = insert.bind(row.get::<String, _>(1));
        insert.execute(&mut *transaction).await.expect("a row");
        while let Some(one) = judged.next_if(|one| one.get::<i64, _>(0) <= seq) {
            let insert =
                sqlx::query("INSERT INTO judgement (seq, document) VALUES (?, ?)").bind(seq);
            let insert = insert.bind(one.get::<String, _>(1));
            insert.execute(&mut *transaction).await.expect("a row");
        }
        transaction.commit().await.expect("on disk");
    }
    rows as f64 / clock.elapsed().as_secs_f64()
}

async fn connect(file: &Path) -> sqlx::SqliteConnection {
    let options = SqliteConnectOptions::new()
        .filename(file)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .disable_statement_logging();
    options.connect().await.expect("a database")
}

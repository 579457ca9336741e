//! Bench forms that send their drafts while boards are looked at.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use concordant::store::accounts::Kind;
use concordant::term::BySlot;

use crate::courses::{HARDNESS, Served, Visitor, term};
use crate::{cpu, memory, ms, quantile};

const SECTIONS: usize = 15;
const STUDENTS: usize = 20;
/// Each form is sent so often, and for so long: some thirty times as often as people type.
const EVERY: Duration = Duration::from_secs(4);
const TURNS: usize = 10;

/// When what was typed was sent, by the burette's number, which is another each time.
type Sent = Arc<Mutex<HashMap<String, Instant>>>;

pub async fn live() {
    println!("{} bench forms, {SECTIONS} boards", SECTIONS * STUDENTS);
    let mut term = term(SECTIONS, STUDENTS, &[HARDNESS]);
    let lot = term.lots.keys().next().expect("a lot").to_string();
    term.submissions = BySlot::new();
    term.decisions = BySlot::new();
    let served = Served::of(&term).await;
    let empty = memory("VmRSS");
    let (sent, delays) = (Sent::default(), Arc::new(Mutex::new(Vec::new())));
    let mut boards = Vec::new();
    for section in term.sections() {
        let coordinator = served.coordinator().await;
        let (sent, delays) = (Arc::clone(&sent), Arc::clone(&delays));
        let path = format!("/board/{HARDNESS}/live?section={section}");
        boards.push(tokio::spawn(async move {
            let mut stream = coordinator.stream(&path).await;
            let (mut text, mut bytes) = (String::new(), 0);
            while let Ok(Some(chunk)) = stream.chunk().await {
                bytes += chunk.len();
                text.push_str(&String::from_utf8_lossy(&chunk));
                // an event ends with an empty line
                let Some(end) = text.rfind("\n\n") else {
                    continue;
                };
                let mut waiting = sent.lock().unwrap_or_else(PoisonError::into_inner);
                waiting.retain(|token, at| {
                    let is_seen = text[..end].contains(token.as_str());
                    if is_seen {
                        let mut delays = delays.lock().unwrap_or_else(PoisonError::into_inner);
                        delays.push(at.elapsed());
                    }
                    !is_seen
                });
                text.drain(..end);
            }
            bytes
        }));
    }
    let (clock, used) = (Instant::now(), cpu());
    let mut forms = Vec::new();
    for (n, student) in term.students.iter().enumerate() {
        let visitor = served.visitor(Kind::Student, &student.id).await;
        let (sent, lot) = (Arc::clone(&sent), lot.clone());
        forms.push(tokio::spawn(types(visitor, n, lot, sent)));
    }
    let mut answers = Vec::new();
    for form in forms {
        answers.extend(form.await.expect("typed"));
    }
    tokio::time::sleep(Duration::from_secs(2)).await;
    let (clock, used) = (clock.elapsed(), cpu() - used);
    let mut delays = std::mem::take(&mut *delays.lock().unwrap_or_else(PoisonError::into_inner));
    let lost = sent.lock().unwrap_or_else(PoisonError::into_inner).len();
    println!(
        "  {} drafts in {:.0} s: answered p50 {:.1} ms, p99 {:.1}; on the board after p50 {:.0} ms, p99 {:.0}; {lost} never seen; {:.0} % of one core, clients included; {:.0} MB, {empty:.0} before",
        answers.len(),
        clock.as_secs_f64(),
        ms(quantile(&mut answers, 0.5)),
        ms(quantile(&mut answers, 0.99)),
        ms(quantile(&mut delays, 0.5)),
        ms(quantile(&mut delays, 0.99)),
        100.0 * used.as_secs_f64() / clock.as_secs_f64(),
        memory("VmRSS"),
    );
    for board in boards {
        board.abort();
    }
}

fn note(sent: &Sent, token: String, at: Instant) {
    let mut waiting = sent.lock().unwrap_or_else(PoisonError::into_inner);
    waiting.insert(token, at);
}

async fn types(visitor: Visitor, n: usize, lot: String, sent: Sent) -> Vec<Duration> {
    let mut took = Vec::new();
    let key = format!("form-of-the-bench-{n}");
    tokio::time::sleep(EVERY * u32::try_from(n % 100).expect("small") / 100).await;
    for turn in 0..TURNS {
        let token = format!("b{n}t{turn}z");
        let end = format!("{}.{:02}", 10 + turn, n % 100);
        let fields = [
            ("key", key.as_str()),
            ("seen", "0"),
            ("trials", "2"),
            ("lot", &lot),
            ("instrument", &token),
            ("1.sample_mL", "50.0"),
            ("1.burette_start_mL", "0.00"),
            ("1.burette_end_mL", &end),
        ];
        let owned = |(name, value): (&str, &str)| (name.to_owned(), value.to_owned());
        let fields = fields.map(owned);
        let clock = Instant::now();
        note(&sent, token, clock);
        let path = format!("/student/experiments/{HARDNESS}/bench/draft");
        let (status, _) = visitor.post(&path, &fields).await;
        assert_eq!(status, 200);
        took.push(clock.elapsed());
        tokio::time::sleep(EVERY.saturating_sub(clock.elapsed())).await;
    }
    took
}

//! What holds on every engine.

use std::collections::BTreeSet;
use std::sync::Arc;

use concordant::changes::Change;
use concordant::desk::accounts::{self, AccountId, Event, Kind, What};
use concordant::desk::evidence::receipt_marks;
use concordant::desk::{Desk, HandInError, hand_in, leave_note, release, verify};
use concordant::ids::StudentId;
use concordant::store::accounts::Setting;
use concordant::store::{first_difference, hash, head, newest};
use concordant::term::Side;
use jiff::Timestamp;

use crate::engine::{Engine, course, request};
pub use crate::people::{
    drafts_and_mail, who_is_signed_in_at_one_is_at_the_other, who_is_taken_out_is_gone,
};
use crate::slot;

pub async fn sound(desk: &Desk) {
    let mut reader = desk.store().read().await.expect("a reader");
    let difference = first_difference(&mut reader).await.expect("is read");
    assert_eq!(difference, None);
    drop(reader);
    let (count, differences) = verify(desk).await.expect("verified");
    assert!(count > 0 && differences.is_empty(), "{differences:?}");
}

fn staff(login: &str) -> AccountId {
    AccountId {
        kind: Kind::Staff,
        login: login.to_owned(),
    }
}

pub async fn note(desk: &Desk, text: &str) {
    let slot = slot("acid", "k0");
    let by = ("i.quell", Timestamp::now());
    release(desk, &slot.experiment, by).await.expect("released");
    let told = leave_note(desk, slot, Side::Student, text, ("k0", Timestamp::now()));
    told.await.expect("a note");
}

pub async fn note_something(desk: &Desk, subject: &str) {
    let event = Event {
        at: Timestamp::now(),
        what: What::Exported,
        who: Some(&staff("i.quell")),
        by: "",
        subject,
        network: "192.0.2.1",
    };
    accounts::note(desk, event).await.expect("noted");
}

pub async fn what_is_kept_is_refused_to_be_changed(engine: &Engine) {
    let desk = course(engine, 1).await;
    hand_in(&desk, request("k0", "one", 0, "20.40"))
        .await
        .expect("a receipt");
    note_something(&desk, "grades").await;
    note(&desk, "the burette leaked").await;
    let mut statements = Vec::new();
    for (table, column) in [
        ("journal", "body"),
        ("judgement", "document"),
        ("access_event", "what"),
    ] {
        statements.push((table, format!("UPDATE {table} SET {column} = {column}")));
        statements.push((table, format!("DELETE FROM {table}")));
        if !engine.is_file() {
            statements.push((table, format!("TRUNCATE {table} CASCADE")));
        }
    }
    for (table, column) in [
        ("person", "email"),
        ("free_text", "text"),
        ("access_place", "address"),
    ] {
        statements.push((table, format!("UPDATE {table} SET {column} = {column}")));
    }
    for (table, statement) in statements {
        let why = engine.run(&statement).await.expect_err(&statement);
        let refused = why.contains("append-only") || why.contains("never changed");
        // with what points to it, another table may be the first to refuse
        let of_it = why.contains(table) || statement.contains("CASCADE");
        assert!(refused && of_it, "{statement}: {why}");
    }
    sound(&desk).await;
    desk.close().await;
}

pub async fn the_chain_shows_what_was_changed_all_the_same(engine: &Engine) {
    let desk = course(engine, 2).await;
    for n in 0..2 {
        let key = format!("one of {n}");
        hand_in(&desk, request(&format!("k{n}"), &key, 0, "20.40"))
            .await
            .expect("a receipt");
    }
    sound(&desk).await;
    // whoever owns the tables can turn their triggers off, change a reading, and turn them on again
    let (off, on) = match engine.is_file() {
        true => (
            "DROP TRIGGER journal_kept",
            "CREATE TRIGGER journal_kept BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'journal is append-only: a row is never changed'); END",
        ),
        false => (
            "ALTER TABLE journal DISABLE TRIGGER journal_kept",
            "ALTER TABLE journal ENABLE TRIGGER journal_kept",
        ),
    };
    engine.run(off).await.expect("off");
    let found = || async {
        let mut reader = desk.store().read().await.expect("a reader");
        first_difference(&mut reader)
            .await
            .expect("is read")
            .unwrap_or_default()
    };
    assert!(found().await.contains("journal_kept"), "{}", found().await);
    let altered = engine
        .run("UPDATE journal SET body = replace(body, '20.40', '20.41') WHERE kind = 'hand-in'")
        .await;
    assert_eq!(altered, Ok(2));
    engine.run(on).await.expect("on");
    assert!(
        found().await.contains("unbroken chain"),
        "{}",
        found().await
    );
    desk.close().await;
}

pub async fn a_request_is_one_hand_in(engine: &Engine) {
    let (first, second) = (
        Arc::new(course(engine, 1).await),
        Arc::new(engine.desk().await),
    );
    let tasks: Vec<_> = (0..16)
        .map(|n| {
            let desk = Arc::clone(if n % 2 == 0 { &first } else { &second });
            tokio::spawn(async move {
                let one = hand_in(&desk, request("k0", "the same key", 0, "20.40")).await;
                one.expect("a receipt").number
            })
        })
        .collect();
    let mut numbers = BTreeSet::new();
    for task in tasks {
        numbers.insert(task.await.expect("ran"));
    }
    assert_eq!(numbers.len(), 1, "{numbers:?}");
    let other = hand_in(&second, request("k0", "the same key", 0, "20.41")).await;
    assert!(matches!(other, Err(HandInError::KeyReused)));
    for desk in [&first, &second] {
        let view = desk.view().await.expect("a course");
        let revisions = view
            .term
            .submissions
            .get(&slot("acid", "k0"))
            .expect("kept");
        assert_eq!(revisions.len(), 1);
        assert_eq!(revisions[0].receipt, numbers.first().copied());
    }
    sound(&first).await;
}

pub async fn two_servers_at_once(engine: &Engine) {
    const STUDENTS: usize = 6;
    const REVISIONS: usize = 4;
    let (first, second) = (
        Arc::new(course(engine, STUDENTS).await),
        Arc::new(engine.desk().await),
    );
    let before = newest(&mut first.store().read().await.expect("a reader"))
        .await
        .expect("a number");
    let mut tasks = Vec::new();
    for n in 0..STUDENTS {
        let desks = [Arc::clone(&first), Arc::clone(&second)];
        tasks.push(tokio::spawn(async move {
            let mut numbers = Vec::new();
            for seen in 0..REVISIONS {
                let desk = &desks[(n + seen) % 2];
                let (student, key) = (format!("k{n}"), format!("{n} and {seen}"));
                let end = format!("20.{}{n}", seen + 1);
                let one = hand_in(desk, request(&student, &key, seen, &end)).await;
                numbers.push(one.expect("a receipt").number);
            }
            numbers
        }));
    }
    let mut numbers = Vec::new();
    for task in tasks {
        numbers.extend(task.await.expect("ran"));
    }
    numbers.sort_unstable();
    let many = i64::try_from(STUDENTS * REVISIONS).expect("few");
    assert_eq!(numbers, (before + 1..=before + many).collect::<Vec<_>>());
    let (here, there) = (
        first.view().await.expect("a course"),
        second.view().await.expect("a course"),
    );
    assert_eq!(here.term.submissions, there.term.submissions);
    assert_eq!(here.judged, there.judged);
    assert_eq!(here.judged, here.term.judge_all().into_iter().collect());
    // a change that is no hand-in goes over to the other as well
    let leaves = Change::Student(concordant::course::Student {
        left: Some(jiff::civil::date(2026, 11, 3)),
        ..here
            .term
            .student(&StudentId::new("k0"))
            .expect("a student")
            .clone()
    });
    first
        .apply(vec![leaves], "i.quell", Timestamp::now())
        .await
        .expect("left");
    let there = second.view().await.expect("a course");
    assert!(
        !there
            .term
            .student(&StudentId::new("k0"))
            .expect("a student")
            .is_enrolled()
    );
    sound(&second).await;
}

pub async fn a_write_that_is_broken_off_never_was(engine: &Engine) {
    let desk = course(engine, 1).await;
    let other = engine.store().await;
    let newest_of = |store: concordant::store::Store| async move {
        newest(&mut store.read().await.expect("a reader"))
            .await
            .expect("a number")
    };
    let before = newest_of(other.clone()).await;
    let mut transaction = other.write().await.expect("a write");
    transaction
        .accounts()
        .set(Setting::Institution, "nobody's")
        .await
        .expect("written");
    drop(transaction);
    // whoever comes next waits for nobody
    hand_in(&desk, request("k0", "one", 0, "20.40"))
        .await
        .expect("a receipt");
    assert_eq!(newest_of(other.clone()).await, before + 1);
    let mut reader = other.read().await.expect("a reader");
    let set = reader
        .accounts()
        .setting(Setting::Institution)
        .await
        .expect("read");
    assert_eq!(set, None);
    drop(reader);
    let mut transaction = other.write().await.expect("a write");
    transaction
        .accounts()
        .set(Setting::Institution, "Quell College")
        .await
        .expect("written");
    transaction.commit().await.expect("kept");
    let mut reader = desk.store().read().await.expect("a reader");
    let set = reader
        .accounts()
        .setting(Setting::Institution)
        .await
        .expect("read");
    assert_eq!(set.as_deref(), Some("Quell College"));
}

pub async fn everything_comes_back_as_it_was_written(engine: &Engine) {
    let desk = course(engine, 1).await;
    let made = hand_in(&desk, request("k0", "one", 0, "20.40"))
        .await
        .expect("a receipt");
    let text = "quotes \" ' \\ and \u{3b6}, \u{1f9ea}, a tab\t, $1, a % and a line\nend";
    note(&desk, text).await;
    let marks = receipt_marks(&desk, made.number)
        .await
        .expect("read")
        .expect("marks");
    assert_eq!(hash(&marks.digest_text), marks.digest.hash);
    let here = desk.view().await.expect("a course");
    let again = engine.desk().await;
    let there = again.view().await.expect("a course");
    assert_eq!(here.term.submissions, there.term.submissions);
    assert_eq!(here.term.students, there.term.students);
    assert_eq!(here.newest(), there.newest());
    assert_eq!(here.judged, there.judged);
    let heads = |desk: Desk| async move {
        head(&mut desk.store().read().await.expect("a reader"), None)
            .await
            .expect("a head")
    };
    assert!(heads(again).await.is_some());
    sound(&desk).await;
}

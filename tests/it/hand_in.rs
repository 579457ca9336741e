//! Handing in: once, for ever, and never silently over something else.

use std::sync::Arc;

use concordant::changes::{IssueForm, deal};
use concordant::changes::{Made, Recomputed};
use concordant::columns::Column;
use concordant::desk::forms::{StatedForm, What, enter};
use concordant::desk::{
    Desk, HandInError, HandInRequest, bring_in, decide, hand_in, recompute, release, verify,
};
use concordant::form::Typed;
use concordant::measure::Reading;
use concordant::store::{Store, Writing, write_changes};
use concordant::submission::{HandIn, Titration, TrialLabel};
use concordant::term::Ruling;
use jiff::Timestamp;
use proptest::prelude::*;
use rand::SeedableRng;

use crate::course::folder_with;

pub fn now() -> Timestamp {
    "2026-09-14T12:00:00Z".parse().expect("an instant")
}

pub async fn desk() -> Arc<Desk> {
    let desk = Desk::open(Store::passing().await.expect("a store"))
        .await
        .expect("a desk");
    // a course that is under way: nothing released, nobody has handed in
    let gone = [
        "releases.csv",
        "decisions.csv",
        "readings/hardness.csv",
        "superseded/hardness.csv",
        "reported.csv",
    ];
    let folder = folder_with(&gone.map(|path| (path, "")));
    bring_in(&desk, &folder, "test", now())
        .await
        .expect("imported");
    Arc::new(desk)
}

fn read(text: &str) -> Reading {
    Reading::parse(text).expect(text)
}

fn readings(end: &str) -> HandIn {
    let row = |n, start: &str, end: &str| Titration {
        trial: TrialLabel::Numbered(n),
        lot: Some(concordant::ids::LotCode::new("E-1")),
        excess_lot: None,
        unknown: None,
        instrument: None,
        spoiled: None,
        readings: [
            (Column::BuretteStart(1), read(start)),
            (Column::BuretteEnd(1), read(end)),
            (Column::SampleVolume, read("49.9")),
        ]
        .into_iter()
        .collect(),
        submitted_at: None,
    };
    HandIn {
        titrations: vec![row(1, "0.00", "10.02"), row(2, "10.02", end)],
        ..HandIn::default()
    }
}

pub fn request(key: &str, seen: usize, end: &str) -> HandInRequest {
    HandInRequest {
        slot: crate::slot("hardness", "0017"),
        hand_in: readings(end).into(),
        key: key.into(),
        seen_revisions: seen,
        reason: if seen > 0 {
            "misread".into()
        } else {
            String::new()
        },
        at: now(),
    }
}

#[tokio::test]
async fn the_same_request_again_gets_the_same_receipt() {
    let desk = desk().await;
    let first = hand_in(&desk, request("key-1", 0, "20.05"))
        .await
        .expect("a receipt");
    let again = hand_in(&desk, request("key-1", 0, "20.05"))
        .await
        .expect("the same receipt");
    assert_eq!(
        (first.number, first.repeated, again.repeated),
        (again.number, false, true)
    );
    let other = hand_in(&desk, request("key-1", 0, "20.06"))
        .await
        .expect_err("another body");
    assert!(matches!(other, HandInError::KeyReused), "{other}");
    let view = desk.view().await.expect("a course");
    assert_eq!(
        view.term
            .submissions
            .get(&crate::slot("hardness", "0017"))
            .expect("is there")
            .len(),
        1
    );
}

#[tokio::test]
async fn the_same_request_many_times_at_once_is_one_row() {
    let desk = desk().await;
    let tasks: Vec<_> = (0..16)
        .map(|_| {
            let desk = Arc::clone(&desk);
            tokio::spawn(async move {
                hand_in(&desk, request("key-2", 0, "20.05"))
                    .await
                    .expect("a receipt")
                    .number
            })
        })
        .collect();
    let mut numbers = Vec::new();
    for task in tasks {
        numbers.push(task.await.expect("ran"));
    }
    numbers.dedup();
    assert_eq!(numbers.len(), 1, "{numbers:?}");
    assert_eq!(
        desk.view()
            .await
            .expect("a course")
            .term
            .submissions
            .get(&crate::slot("hardness", "0017"))
            .expect("is there")
            .len(),
        1
    );
}

/// What waits for the writer is written in one go; where that fails, each is written alone, and only the one at fault is
/// refused.
#[tokio::test]
async fn one_hand_in_that_cannot_be_written_takes_no_other_with_it() {
    let directory = tempfile::tempdir().expect("a directory");
    let store = Store::open(&directory.path().join("c.db")).await;
    let desk = Desk::open(store.expect("a store")).await.expect("a desk");
    let gone = ["releases.csv", "decisions.csv", "readings/hardness.csv"];
    let gone = [&gone[..], &["superseded/hardness.csv", "reported.csv"]].concat();
    let gone: Vec<_> = gone.into_iter().map(|path| (path, "")).collect();
    let brought = bring_in(&desk, &folder_with(&gone), "test", now()).await;
    brought.expect("imported");
    let desk = Arc::new(desk);
    let students = desk.view().await.expect("a course").term.students.clone();
    let from = |place: usize, key: &str, seen: usize| {
        let slot = crate::slot("hardness", &students[place].id);
        let request = HandInRequest {
            slot,
            ..request(key, seen, "20.05")
        };
        let desk = Arc::clone(&desk);
        tokio::spawn(async move { hand_in(&desk, request).await })
    };
    let wait = || tokio::time::sleep(std::time::Duration::from_millis(200));
    let somebody = desk.store().write().await.expect("a write");
    let first = from(0, "the first key", 0);
    wait().await;
    // these wait for the first, which waits for somebody; two come under one key, which the journal takes once
    let others = [
        from(1, "a key of two", 0),
        from(2, "a key of two", 0),
        from(0, "a correction", 1),
    ];
    wait().await;
    somebody.abandon().await.expect("nothing written");
    let mut numbers = vec![first.await.expect("ran").expect("a receipt").number];
    let mut refused = 0;
    for other in others {
        match other.await.expect("ran") {
            Ok(receipt) => numbers.push(receipt.number),
            Err(HandInError::KeyReused) => refused += 1,
            Err(why) => panic!("{why}"),
        }
    }
    let view = desk.view().await.expect("a course");
    let submissions = view.term.submissions.iter();
    let receipts = submissions.filter(|(slot, _)| slot.experiment == "hardness");
    let receipts = receipts.flat_map(|(_, revisions)| revisions);
    let mut kept: Vec<i64> = receipts.filter_map(|one| one.receipt).collect();
    kept.sort_unstable();
    numbers.sort_unstable();
    assert_eq!((refused, numbers.len()), (1, 3));
    assert_eq!(numbers, kept);
    let (_, differences) = verify(&desk).await.expect("verified");
    assert!(differences.is_empty(), "{differences:?}");
}

#[tokio::test]
async fn a_correction_keeps_what_it_corrects_and_wants_a_reason() {
    let desk = desk().await;
    hand_in(&desk, request("a", 0, "20.05"))
        .await
        .expect("a receipt");
    let stale = hand_in(&desk, request("b", 0, "20.06"))
        .await
        .expect_err("a second tab");
    assert!(
        matches!(stale, HandInError::Stale { found: 1, seen: 0 }),
        "{stale}"
    );
    let silent = HandInRequest {
        reason: "  ".into(),
        ..request("c", 1, "20.06")
    };
    assert!(matches!(
        hand_in(&desk, silent).await,
        Err(HandInError::NoReason)
    ));
    hand_in(&desk, request("d", 1, "20.06"))
        .await
        .expect("a receipt");
    let view = desk.view().await.expect("a course");
    let revisions = &view
        .term
        .submissions
        .get(&crate::slot("hardness", "0017"))
        .expect("is there");
    assert_eq!(revisions.len(), 2);
    assert_eq!(*revisions[0].hand_in, readings("20.05"));
    assert_eq!(revisions[1].reason, "misread");
    assert!(revisions[0].receipt < revisions[1].receipt);
}

#[tokio::test]
async fn nothing_is_accepted_before_it_opens_after_release_or_outside_the_scale() {
    let desk = desk().await;
    let early = HandInRequest {
        at: "2026-09-14T07:59:59Z".parse().expect("an instant"),
        ..request("a", 0, "20.05")
    };
    assert!(matches!(
        hand_in(&desk, early).await,
        Err(HandInError::NotOpen(_))
    ));
    let backwards = hand_in(&desk, request("b", 0, "9.00"))
        .await
        .expect_err("an end below its start");
    assert!(
        matches!(&backwards, HandInError::Refused(found) if found.len() == 1),
        "{backwards}"
    );
    let stranger = HandInRequest {
        slot: crate::slot("hardness", "9999"),
        ..request("c", 0, "20.05")
    };
    assert!(matches!(
        hand_in(&desk, stranger).await,
        Err(HandInError::NotFound(_))
    ));
    release(&desk, &crate::key("hardness"), ("coord", now()))
        .await
        .expect("released");
    assert!(matches!(
        hand_in(&desk, request("d", 0, "20.05")).await,
        Err(HandInError::Released)
    ));
    assert!(
        !desk
            .view()
            .await
            .expect("a course")
            .term
            .submissions
            .contains_key(&crate::slot("hardness", "0017"))
    );
}

#[tokio::test]
async fn what_is_stored_is_what_judging_gives_after_a_term_of_changes() {
    let desk = desk().await;
    hand_in(&desk, request("a", 0, "20.05"))
        .await
        .expect("a receipt");
    hand_in(&desk, request("b", 1, "20.30"))
        .await
        .expect("a receipt");
    let slot = crate::slot("hardness", "0017");
    let by = ("ta1", now());
    decide(
        &desk,
        slot.clone(),
        Ruling::LeaveOut { trial: 2 },
        "spilled",
        2,
        by,
    )
    .await
    .expect("decided");
    decide(
        &desk,
        slot.clone(),
        Ruling::PutBack { trial: 2 },
        "not so",
        2,
        by,
    )
    .await
    .expect("decided");
    let bottle = Typed::from([
        ("unknown", "U1"),
        ("true_value", "201.5"),
        ("uncertainty", "0.5"),
        ("reason", "weighed again"),
    ]);
    let of_bottle = StatedForm(What::Unknown(crate::key("hardness")));
    enter(&desk, &of_bottle, &bottle, by)
        .await
        .expect("corrected");
    let lot = Typed::from([
        ("lot", "E-1"),
        ("reagent", "C10H14N2O8^2-"),
        ("molarity", "0.01004"),
        ("uncertainty", "0.00001"),
        ("reason", "standardised again"),
        ("seen", "1"),
    ]);
    enter(&desk, &StatedForm(What::Lot), &lot, by)
        .await
        .expect("corrected");
    release(&desk, &crate::key("hardness"), by)
        .await
        .expect("released");
    let (count, differences) = verify(&desk).await.expect("verified");
    assert!(count >= 2);
    assert!(differences.is_empty(), "{differences:?}");
    let view = desk.view().await.expect("a course");
    let evaluation = &view.judged.get(&slot).expect("is there").evaluation;
    let versions = evaluation.versions.iter().map(ToString::to_string);
    assert_eq!(
        versions.collect::<Vec<_>>(),
        ["lot E-1 v2", "unknown U1 v2"]
    );
    assert_eq!(view.judged, view.term.judge_all().into_iter().collect());
}

/// The checks can fail: a judgement tampered with is found, and recomputing mends it.
#[tokio::test]
async fn a_stored_judgement_that_is_wrong_is_found() {
    let directory = tempfile::tempdir().expect("a directory");
    let file = directory.path().join("c.db");
    let desk = Desk::open(Store::open(&file).await.expect("a store"))
        .await
        .expect("a desk");
    bring_in(&desk, &crate::course::folder(), "test", now())
        .await
        .expect("imported");
    let mut judged = desk.view().await.expect("a course").judged.clone();
    let one = judged.values_mut().next().expect("one");
    let altered = std::sync::Arc::make_mut(&mut one.evaluation);
    altered.marks.total = crate::reference::dec("99.00");
    let judged = judged
        .iter()
        .map(|(slot, one)| (slot.clone(), Some(one.clone())))
        .collect();
    let mut transaction = desk.store().write().await.expect("a write");
    let newest = concordant::store::newest(&mut transaction).await;
    let made = Made {
        seq: newest.expect("a number") + 1,
        at: now(),
        by: "somebody".into(),
    };
    let writing = Writing {
        changes: vec![Recomputed {}.into()],
        made: vec![made],
        judged,
    };
    write_changes(&mut transaction, &Arc::new(writing))
        .await
        .expect("saved");
    transaction.commit().await.expect("committed");
    assert_eq!(verify(&desk).await.expect("verified").1.len(), 1);
    assert_eq!(
        recompute(&desk, now()).await.expect("recomputed").1.len(),
        1
    );
    assert!(verify(&desk).await.expect("verified").1.is_empty());
    let copy = directory.path().join("copy.db");
    desk.store().backup(&copy).await.expect("a copy");
    let copy = Desk::open(Store::open(&copy).await.expect("the copy"))
        .await
        .expect("a desk");
    assert!(verify(&copy).await.expect("verified").1.is_empty());
}

#[tokio::test]
async fn bottles_are_dealt_to_everybody_once() {
    let desk = desk().await;
    let issue = async |key: &str| {
        let form = IssueForm {
            experiment: crate::key(key),
            seed: [7; 32],
        };
        enter(&desk, &form, &Typed::default(), ("coord", now())).await
    };
    let given = issue("hardness").await.expect("issued");
    assert_eq!(given, 1, "two of three had one already");
    let again = issue("hardness").await.expect("issued");
    assert_eq!(again, 0);
    assert!(issue("nothing").await.is_err());
}

proptest! {
    #[test]
    fn dealing_is_balanced_and_neighbours_differ(students in 1_usize..120, codes in 2_usize..13, seed in any::<u64>()) {
        let names: Vec<String> = (0..codes).map(|n| format!("U{n}")).collect();
        let codes: Vec<&str> = names.iter().map(String::as_str).collect();
        let mut rng = rand_chacha::ChaCha20Rng::seed_from_u64(seed);
        let dealt = deal(&vec![None; students], &codes, &mut rng);
        prop_assert_eq!(dealt.len(), students);
        prop_assert!(dealt.windows(2).all(|pair| pair[0] != pair[1]));
        let counts: Vec<usize> = codes.iter().map(|c| dealt.iter().filter(|d| *d == c).count()).collect();
        prop_assert!(counts.iter().max().unwrap() - counts.iter().min().unwrap() <= 1, "{:?}", counts);
    }
}

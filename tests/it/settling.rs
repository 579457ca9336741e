//! Decisions and who else is at the database.

use concordant::desk::{
    Desk, HandInError, HandInRequest, bring_in, decide, hand_in, recompute, verify,
};
use concordant::store::Store;
use concordant::term::{Ruling, Status};

use crate::course::folder_with;
use crate::hand_in::{desk, now, request};

/// Another process imports into the database of a running server: the server sees it, and does not write over it.
#[tokio::test]
async fn what_another_process_writes_is_seen() {
    let directory = tempfile::tempdir().expect("a directory");
    let file = directory.path().join("c.db");
    let open = async || {
        Desk::open(Store::open(&file).await.expect("a store"))
            .await
            .expect("a desk")
    };
    let server = open().await;
    let gone = [
        "releases.csv",
        "decisions.csv",
        "readings/hardness.csv",
        "superseded/hardness.csv",
        "reported.csv",
    ];
    bring_in(
        &server,
        &folder_with(&gone.map(|path| (path, ""))),
        "test",
        now(),
    )
    .await
    .expect("imported");
    let slot = crate::slot("hardness", "0018");
    assert!(
        !server
            .view()
            .await
            .expect("a course")
            .term
            .submissions
            .contains_key(&slot)
    );

    let other = open().await;
    bring_in(
        &other,
        &folder_with(&[("releases.csv", "")]),
        "import",
        now(),
    )
    .await
    .expect("imported");
    assert!(
        server
            .view()
            .await
            .expect("a course")
            .term
            .submissions
            .contains_key(&slot)
    );
    // a form opened before that is told
    let stale = hand_in(
        &server,
        HandInRequest {
            slot,
            ..request("k", 0, "20.05")
        },
    )
    .await;
    assert!(
        matches!(stale, Err(HandInError::Stale { found: 1, seen: 0 })),
        "{stale:?}"
    );
    // and the other way round, with no look in between
    decide(
        &server,
        crate::slot("hardness", "0018"),
        Ruling::Accept,
        "",
        1,
        ("ta1", now()),
    )
    .await
    .expect("decided");
    let again = decide(
        &other,
        crate::slot("hardness", "0018"),
        Ruling::Return,
        "look again",
        2,
        ("ta1", now()),
    )
    .await;
    assert!(again.is_err(), "there is one revision, not two");
    assert_eq!(
        other
            .view()
            .await
            .expect("a course")
            .term
            .decisions
            .get(&crate::slot("hardness", "0018"))
            .expect("is there")
            .len(),
        1
    );
    assert!(verify(&other).await.expect("verified").1.is_empty());
}

/// Who leaves a bench group takes the readings along: nothing is left to judge for the others, on disk as in memory.
#[tokio::test]
async fn leaving_a_bench_group_leaves_no_judgement_behind() {
    let desk = desk().await;
    let mate = crate::slot("antacid", "0018");
    assert!(
        desk.view()
            .await
            .expect("a course")
            .judged
            .contains_key(&mate)
    );
    let moved = concordant::changes::Change::Group(concordant::changes::JoinGroup {
        slot: crate::slot("antacid", "0017"),
        body: concordant::changes::Group {
            group: "alone".into(),
        },
    });
    desk.apply(vec![moved], "coord", now())
        .await
        .expect("moved");
    let view = desk.view().await.expect("a course");
    assert!(!view.judged.contains_key(&mate));
    assert!(view.judged.contains_key(&crate::slot("antacid", "0017")));
    drop(view);
    assert!(verify(&desk).await.expect("verified").1.is_empty());
    assert_eq!(recompute(&desk, now()).await.expect("recomputed").1, []);
}

/// A decision settles the revision it was made on, whatever the clocks say: a student's stamp may lie ahead of ours. A
/// trial left out is of that revision; points given or taken stay.
#[tokio::test]
async fn a_decision_is_about_the_revision_it_was_made_on() {
    let desk = desk().await;
    let slot = crate::slot("hardness", "0017");
    let ahead = "2027-01-01T00:00:00Z".parse().expect("an instant");
    hand_in(
        &desk,
        HandInRequest {
            at: ahead,
            ..request("a", 0, "20.05")
        },
    )
    .await
    .expect("a receipt");
    let by = ("ta1", now());
    decide(
        &desk,
        slot.clone(),
        Ruling::LeaveOut { trial: 2 },
        "spilled",
        1,
        by,
    )
    .await
    .expect("decided");
    decide(
        &desk,
        slot.clone(),
        Ruling::Adjust {
            points: crate::reference::dec("-1"),
        },
        "no notebook",
        1,
        by,
    )
    .await
    .expect("decided");
    let look = async |desk: &Desk| {
        let view = desk.view().await.expect("a course");
        let judged = &view.judged.get(&slot).expect("is there");
        (
            judged.status,
            judged.evaluation.trials[1].counted,
            judged.evaluation.marks.adjustment.to_string(),
        )
    };
    assert_eq!(
        look(&desk).await,
        (Status::Settled, false, "-1.00".to_owned())
    );
    hand_in(
        &desk,
        HandInRequest {
            at: ahead,
            ..request("b", 1, "20.06")
        },
    )
    .await
    .expect("a receipt");
    let (status, counted, adjustment) = look(&desk).await;
    assert_ne!(status, Status::Settled);
    assert_eq!((counted, adjustment.as_str()), (true, "-1.00"));
}

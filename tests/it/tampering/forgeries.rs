//! Sixteen forgeries, one by one: by the file alone, and by a seal that was kept elsewhere.

use std::path::Path;

use concordant::desk::evidence::{Mark, first_lost, seal};
use concordant::desk::{Desk, recompute};
use concordant::store::Store;
use sha2::{Digest, Sha256};
use sqlx::Connection;

use super::{course, forged, found_in, now, raw, run};

/// Makes every hash of the journal anew, as somebody would who knows how they are made.
pub async fn chained_anew(file: &Path) {
    let mut connection = raw(file).await;
    run(&mut connection, "DROP TRIGGER journal_kept").await;
    let rows = sqlx::query_as::<_, (i64, i64, String, String, String, String)>(
        "SELECT seq, at, by_login, kind, body, judgements FROM journal ORDER BY seq",
    );
    let mut previous = String::new();
    for (seq, at, by_login, kind, body, judgements) in
        rows.fetch_all(&mut connection).await.expect("rows")
    {
        let row = serde_json::json!([previous, seq, at, by_login, kind, body, judgements]);
        let hash: String = Sha256::digest(row.to_string())
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        let set = sqlx::query("UPDATE journal SET previous = ?, hash = ? WHERE seq = ?");
        let set = set.bind(&previous).bind(&hash).bind(seq);
        set.execute(&mut connection).await.expect("written");
        previous = hash;
    }
    run(
        &mut connection,
        "CREATE TRIGGER journal_kept BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'journal is append-only: a row is never changed'); END",
    )
    .await;
    connection.close().await.expect("closed");
}

/// What is forged, the statements that do it, and whether the chain is made anew and everything judged anew afterwards.
type Forgery = (&'static str, &'static [&'static str], bool, bool);

const CUT: [&str; 2] = [
    "DELETE FROM judgement WHERE seq > (SELECT max(seq) - 3 FROM journal)",
    "DELETE FROM journal WHERE seq > (SELECT max(seq) - 3 FROM journal)",
];
/// With everything after it.
const UNDONE: [&str; 2] = [
    "DELETE FROM judgement WHERE seq >= (SELECT max(seq) FROM journal WHERE kind = 'hand-in')",
    "DELETE FROM journal WHERE seq >= (SELECT max(seq) FROM journal WHERE kind = 'hand-in')",
];

const FORGERIES: [Forgery; 16] = [
    (
        "author of points by hand",
        &["UPDATE journal SET by_login = 'somebody' WHERE kind = 'by-hand'"],
        false,
        false,
    ),
    (
        "reason of a decision",
        &["UPDATE journal SET body = json_set(body, '$.reason', 'none') WHERE kind = 'decision'"],
        false,
        false,
    ),
    (
        "author of a decision",
        &[
            "UPDATE journal SET by_login = 'a', body = json_set(body, '$.by', 'a') WHERE kind = 'decision'",
        ],
        false,
        false,
    ),
    (
        "instant of a hand-in",
        &["UPDATE journal SET at = at - 86400000 WHERE kind = 'hand-in'"],
        false,
        false,
    ),
    (
        "author of a hand-in",
        &["UPDATE journal SET by_login = 'somebody' WHERE kind = 'hand-in'"],
        false,
        false,
    ),
    (
        "reason of a hand-in",
        &["UPDATE journal SET body = json_set(body, '$.reason', 'none') WHERE kind = 'hand-in'"],
        false,
        false,
    ),
    (
        "key of a hand-in",
        &["UPDATE journal SET body = json_set(body, '$.key', 'k' || seq) WHERE kind = 'hand-in'"],
        false,
        false,
    ),
    (
        "hash of a hand-in",
        &["UPDATE journal SET hash = previous WHERE kind = 'hand-in'"],
        false,
        false,
    ),
    (
        "a note",
        &["UPDATE journal SET body = json_set(body, '$.text', 'all is well') WHERE kind = 'note'"],
        false,
        false,
    ),
    ("the last three events cut off", &CUT, false, false),
    ("the newest hand-in undone", &UNDONE, true, true),
    (
        "a password emptied",
        &["UPDATE account SET password_hash = NULL WHERE kind = 'student'"],
        false,
        false,
    ),
    (
        "an event of another login, chained anew",
        &["UPDATE journal SET by_login = 'somebody' WHERE seq = 9"],
        true,
        false,
    ),
    (
        "a reading, chained and judged anew",
        &[
            "UPDATE journal SET body = replace(body, '10.02', '10.03') WHERE kind = 'hand-in' AND body LIKE '%10.02%'",
        ],
        true,
        true,
    ),
    (
        "a true value, chained and judged anew",
        &["UPDATE journal SET body = json_set(body, '$.truth.value', '7') WHERE kind = 'unknown'"],
        true,
        true,
    ),
    ("a trigger gone", &[], false, false),
];

/// Each alone, with the file by itself and with a seal kept elsewhere; and again by somebody who wipes the record of access
/// too, which pins the journal within the file.
#[tokio::test]
async fn sixteen_forgeries_are_found_one_by_one() {
    let directory = tempfile::tempdir().expect("a directory");
    let sound = course(&directory).await;
    let desk = Desk::open(Store::open(&sound).await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let text = seal(&desk, &[7; 32], now()).await.expect("a seal");
    desk.close().await;
    let kept: Vec<(Mark, String)> = Mark::all_in(&text)
        .into_iter()
        .map(|mark| (mark, "the seal".to_owned()))
        .collect();
    assert_eq!(kept.len(), 2, "{text}");
    assert_eq!(found(&sound, &kept).await, (None, None));
    let wiped = ["DELETE FROM access_event"];
    let (mut alone, mut wiped_alone) = (0, 0);
    for forgery in FORGERIES {
        for wipe in [false, true] {
            let copy = forged_as(&sound, forgery, if wipe { &wiped } else { &[] }).await;
            let (by_itself, with_seal) = found(&copy, &kept).await;
            println!("{}, wiped {wipe}: {by_itself:?} / {with_seal:?}", forgery.0);
            assert!(
                by_itself.is_some() || with_seal.is_some(),
                "{}, with the record of access wiped {wipe}: not found",
                forgery.0
            );
            if by_itself.is_some() {
                *(if wipe { &mut wiped_alone } else { &mut alone }) += 1;
            }
        }
    }
    assert_eq!(alone, 16, "found with the file alone");
    // the other five follow the rules of the file throughout: without a mark from outside nothing shows them
    assert_eq!(
        wiped_alone, 11,
        "found where the record of access is gone too"
    );
}

async fn forged_as(sound: &Path, forgery: Forgery, and: &[&str]) -> std::path::PathBuf {
    let (what, statements, chain, judge) = forgery;
    let statements: Vec<String> = statements
        .iter()
        .chain(and)
        .map(|s| (*s).to_owned())
        .collect();
    let copy = forged(sound, &statements).await;
    if chain {
        chained_anew(&copy).await;
    }
    if judge {
        let desk = Desk::open(Store::open(&copy).await.expect("a store"));
        let desk = desk.await.expect("a desk");
        let judged = recompute(&desk, now()).await;
        judged.unwrap_or_else(|why| panic!("{what}: {why}"));
        desk.close().await;
    }
    if what == "a trigger gone" {
        let mut connection = raw(&copy).await;
        run(&mut connection, "DROP TRIGGER journal_kept").await;
        connection.close().await.expect("closed");
    }
    copy
}

/// What the file says by itself, and what marks from outside say of it.
async fn found(file: &Path, kept: &[(Mark, String)]) -> (Option<String>, Option<String>) {
    let by_itself = found_in(file).await;
    let store = Store::open(file).await.expect("a store");
    let with_marks = match Desk::open(store).await {
        Ok(desk) => {
            let lost = first_lost(&desk, kept).await.expect("read");
            desk.close().await;
            lost
        }
        Err(why) => Some(why.to_string()),
    };
    (by_itself, with_marks)
}

//! What is arranged while the term is running: kept, exported, brought in again, and what it does to marks.

use concordant::changes::{Change, Extend, Replace};
use concordant::desk::{Desk, bring_in, verify};
use concordant::files::{Folder, read_term, write_term};
use concordant::store::Store;
use concordant::term::{Extension, Reissue, Term};
use jiff::Timestamp;

use crate::course::{faults, folder, folder_with, text};

fn now() -> Timestamp {
    "2026-10-01T12:00:00Z".parse().expect("a time")
}

/// The small course with everything that can be arranged.
pub fn arranged() -> Folder {
    let course = text("course.toml").replace(
        "[experiment.section_lots.A]",
        "[experiment.section_dates.\"Mon PM\"]\ndue = 2026-09-15T17:00:00\n\n[experiment.section_lots.A]",
    );
    folder_with(&[
        ("course.toml", &course),
        (
            "roster.csv",
            "student_id,family_name,given_name,section,email,left\n\
             0017,Almeida,Rita,A,rita@example.org,\n\
             0018,'=Bento,Rui,A,,\n\
             0019,Costa,\"Ana, Maria\",Mon PM,,2026-09-16\n",
        ),
        (
            "issued.csv",
            "experiment,student_id,unknown,reason,by,at\n\
             hardness,0017,U1,,,\nhardness,0018,U1,,,\n\
             hardness,0018,U2,the first one leaked,coord,2026-09-14T10:00:00Z\nantacid,0017,M1,,,\n",
        ),
        (
            "extensions.csv",
            "experiment,student_id,due,section,reason,by,at\n\
             hardness,0017,2026-09-14T18:30:00,,the bus,coord,2026-09-14T08:00:00Z\n\
             hardness,0018,,Mon PM,ill on the day,,\n\
             antacid,0017,2026-09-28T17:00:00,Mon PM,moved house,coord,2026-09-20T08:00:00Z\n\
             antacid,0017,,,came after all,coord,2026-09-21T08:00:00Z\n",
        ),
        (
            "releases.csv",
            "experiment,released_at,section\nhardness,2026-09-20T08:00:00Z,\nhardness,,Mon PM\n\
             antacid,2026-09-30T08:00:00Z,A\n",
        ),
        (
            "amendments.csv",
            "what,key,at,by,reason,before\n\
             trials,hardness,2026-09-13T08:00:00Z,coord,two are enough,\n\
             marking,antacid,2026-09-22T08:00:00Z,coord,too strict,\"recording = { points = \"\"3\"\" }\n\"\n",
        ),
    ])
}

async fn desk_with(folder: &Folder) -> Desk {
    let store = Store::passing().await.expect("a database");
    let desk = Desk::open(store).await.expect("a desk");
    bring_in(&desk, folder, "import", now())
        .await
        .expect("brought in");
    desk
}

fn same(one: &Folder, other: &Folder) {
    for (path, bytes) in other.files() {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        assert_eq!(one.get(path).map(text), Some(text(bytes)), "{path}");
    }
    assert_eq!(one, other);
}

#[tokio::test]
async fn what_was_arranged_goes_into_a_database_and_out_again() {
    let folder = arranged();
    let term = read_term(&folder).expect("no faults");
    let written = write_term(&term);
    for path in [
        "roster.csv",
        "course.toml",
        "issued.csv",
        "extensions.csv",
        "releases.csv",
        "amendments.csv",
    ] {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        assert_eq!(written.get(path).map(text), folder.get(path).map(text));
    }
    let desk = desk_with(&folder).await;
    same(
        &write_term(&desk.view().await.expect("a course").term),
        &written,
    );
    let again = bring_in(&desk, &folder, "import", now()).await;
    assert_eq!(again.expect("brought in").changes, 0);
    // what the pages read, and what the disk holds
    let (_, differing) = verify(&desk).await.expect("can be read");
    assert_eq!(differing, []);
    let reread = read_term(&written).expect("no faults");
    assert_eq!(reread.judge_all(), term.judge_all());
}

#[tokio::test]
async fn a_folder_that_knows_less_takes_nothing_back() {
    let desk = desk_with(&arranged()).await;
    let before = write_term(&desk.view().await.expect("a course").term);
    let first_bottles =
        "experiment,student_id,unknown\nhardness,0017,U1\nhardness,0018,U1\nantacid,0017,M1\n";
    let mut earlier = Folder::default();
    for (path, bytes) in arranged().files() {
        let gone = ["extensions.csv", "releases.csv", "amendments.csv"].contains(&path);
        let bytes = if path == "issued.csv" {
            first_bottles.as_bytes()
        } else {
            bytes
        };
        if !gone {
            earlier.insert(path, bytes.to_vec()).expect("room");
        }
    }
    let brought = bring_in(&desk, &earlier, "import", now()).await;
    assert_eq!(brought.expect("brought in").changes, 0);
    same(
        &write_term(&desk.view().await.expect("a course").term),
        &before,
    );
}

#[test]
fn faults_of_what_was_arranged_say_what_was_expected() {
    let bad = folder_with(&[
        (
            "course.toml",
            &text("course.toml").replace(
                "[experiment.section_lots.A]",
                "[experiment.section_dates.Z]\ndue = 2026-09-13T17:00:00\n\n[experiment.section_lots.A]",
            ),
        ),
        (
            "issued.csv",
            "experiment,student_id,unknown,reason,by,at\nhardness,0017,U1,too early,coord,2026-09-14T10:00:00Z\n\
             hardness,0018,U2,,,\nhardness,0018,U1,broken,coord,\n",
        ),
        (
            "extensions.csv",
            "experiment,student_id,due,section,reason\nhardness,0099,soon,Z,ill\n",
        ),
        (
            "releases.csv",
            "experiment,released_at,section\nhardness,,\nhardness,,Z\n",
        ),
        (
            "amendments.csv",
            "what,key,at,by,reason,before\nweather,hardness,today,c,r,\n",
        ),
    ]);
    let expected = [
        "amendments.csv:2, column at: found “today”, expected a date and time with its offset (RFC 3339), such as 2026-03-02T14:05:00+01:00",
        "amendments.csv:2, column what: found “weather”, expected marking, trials or procedure",
        "course.toml:16, key experiment.section_dates.Z.due: found 2026-09-13T17:00:00, expected a time after it opens, 2026-09-14T09:00:00",
        "extensions.csv:2, column due: found “soon”, expected a local date and time without offset, such as 2026-03-02T14:00:00",
        "extensions.csv:2, column section: found “Z”, expected a section of the roster",
        "extensions.csv:2, column student_id: found “0099”, expected the id of a student on the roster",
        "issued.csv:2, column reason: found “too early”, expected no reason: it is the student's first bottle",
        "issued.csv:4, column at: found nothing, expected a date and time with its offset (RFC 3339), such as 2026-03-02T14:05:00+01:00",
        "releases.csv:2, column released_at: found nothing, expected a date and time with its offset (RFC 3339), such as 2026-03-02T14:05:00+01:00",
        "releases.csv:3, column section: found “Z”, expected a section of the roster",
    ];
    assert_eq!(faults(&bad), expected);
}

fn due(term: &Term, experiment: &str, student: &str) -> String {
    let experiment = term.experiment(experiment).expect("is there");
    term.dates_for(experiment, student).due.to_string()
}

#[test]
fn one_date_holds_for_each_student() {
    let term = read_term(&arranged()).expect("no faults");
    assert_eq!(due(&term, "hardness", "0017"), "2026-09-14T18:30:00");
    // with the section they make it up with
    assert_eq!(due(&term, "hardness", "0018"), "2026-09-15T17:00:00");
    assert_eq!(due(&term, "hardness", "0019"), "2026-09-15T17:00:00");
    // taken back
    assert_eq!(due(&term, "antacid", "0017"), "2026-09-21T17:00:00");
    assert_eq!(due(&term, "hardness", "nobody"), "2026-09-14T17:00:00");
}

#[tokio::test]
async fn an_extension_takes_lateness_away_and_gives_it_back() {
    let late =
        text("readings/hardness.csv").replace("2026-09-14T12:00:00Z", "2026-09-14T16:10:00Z");
    let desk = desk_with(&folder_with(&[("readings/hardness.csv", &late)])).await;
    let slot = crate::slot("hardness", "0017");
    let is_late = async || {
        let view = desk.view().await.expect("a course");
        let flags = &view.judged.get(&slot).expect("is there").evaluation.flags;
        flags.iter().any(|flag| flag.code.code() == "late")
    };
    assert!(is_late().await, "ten minutes past five in Lisbon");
    let extend = |due: Option<&str>| {
        Change::Extend(Extend {
            slot: slot.clone(),
            body: Extension {
                due: due.map(|due| due.parse().expect("a time")),
                reason: "the bus".into(),
                ..Extension::default()
            },
        })
    };
    let half_past = vec![extend(Some("2026-09-14T17:30:00"))];
    let view = desk.view().await.expect("a course");
    let preview = desk.preview(&view, &half_past).await.expect("tried");
    let altered = preview.altered.iter().filter(|one| one.slot == slot);
    assert_eq!(altered.count(), 1);
    desk.apply(half_past, "coord", now()).await.expect("done");
    assert!(!is_late().await);
    desk.apply(vec![extend(None)], "coord", now())
        .await
        .expect("done");
    assert!(is_late().await);
    assert_eq!(verify(&desk).await.expect("can be read").1, []);
}

#[tokio::test]
async fn another_bottle_leaves_readings_with_the_one_they_name() {
    // one student names the bottle on every row, the other none
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL\n\
        0017,1,E-1,u1,0.00,10.02,50.0\n0017,2,E-1,u1,10.02,20.03,50.0\n\
        0018,1,E-1,,0.00,10.02,50.0\n0018,2,E-1,,10.02,20.03,50.0\n";
    let issued = "experiment,student_id,unknown\nhardness,0017,U1\nhardness,0018,U1\n";
    let desk = desk_with(&folder_with(&[
        ("readings/hardness.csv", readings),
        ("superseded/hardness.csv", ""),
        ("reported.csv", ""),
        ("decisions.csv", ""),
        ("issued.csv", issued),
    ]))
    .await;
    let reissue = |student: &str, instead_of: &str, unknown: &str| {
        Change::Reissue(Replace {
            slot: crate::slot("hardness", student),
            body: Reissue {
                unknown: concordant::ids::UnknownCode::new(unknown),
                instead_of: concordant::ids::UnknownCode::new(instead_of),
                reason: "the first one leaked".into(),
                by: "coord".into(),
                at: now(),
            },
        })
    };
    let both = vec![reissue("0017", "U1", "U2"), reissue("0018", "U1", "U2")];
    let view = desk.view().await.expect("a course");
    let preview = desk.preview(&view, &both).await.expect("tried");
    let altered: Vec<&str> = preview
        .altered
        .iter()
        .map(|one| one.slot.student.as_str())
        .collect();
    assert_eq!(
        altered,
        ["0018"],
        "only readings that name no bottle follow"
    );
    desk.apply(both, "coord", now()).await.expect("done");
    {
        let view = desk.view().await.expect("a course");
        let unknown = |student: &str| {
            view.judged
                .get(&crate::slot("hardness", student))
                .expect("is there")
                .evaluation
                .unknown
                .clone()
        };
        assert_eq!(
            (unknown("0017"), unknown("0018")),
            ("U1".into(), "U2".into())
        );
        // the bottle they name was theirs: it is no mismatch
        let named = &view
            .judged
            .get(&crate::slot("hardness", "0017"))
            .expect("is there")
            .evaluation;
        assert!(
            named
                .flags
                .iter()
                .all(|flag| flag.code.code() != "unknown-mismatch")
        );
        let out = write_term(&view.term);
        let issued = String::from_utf8_lossy(out.get("issued.csv").expect("a file")).into_owned();
        assert!(issued.contains("hardness,0017,U1,,,\nhardness,0017,U2,the first one leaked,coord,2026-10-01T12:00:00Z\n"), "{issued}");
    }
    // a third bottle: readings that name the first still go by it
    desk.apply(vec![reissue("0017", "U2", "U1")], "coord", now())
        .await
        .expect("done");
    assert_eq!(verify(&desk).await.expect("can be read").1, []);
}

#[tokio::test]
async fn a_made_up_experiment_is_marked_with_the_other_section() {
    let lots = text("lots.csv") + "E-2,C10H14N2O8^2-,0.02004,0.00001,,\n";
    let course = text("course.toml").replace(
        "[experiment.section_lots.A]\n",
        "[experiment.section_lots.\"Mon PM\"]\ntitrant = \"E-2\"\n\n[experiment.section_lots.A]\n",
    );
    let desk = desk_with(&folder_with(&[
        ("lots.csv", &lots),
        ("course.toml", &course),
    ]))
    .await;
    let slot = crate::slot("hardness", "0018");
    let lot = async || {
        let view = desk.view().await.expect("a course");
        view.judged
            .get(&slot)
            .expect("is there")
            .evaluation
            .titrant_lots_written()
    };
    assert_eq!(lot().await, "E-1");
    let makes_up = Change::Extend(Extend {
        slot: slot.clone(),
        body: Extension {
            section: Some(concordant::ids::SectionName::new("Mon PM")),
            reason: "ill on the day".into(),
            ..Extension::default()
        },
    });
    desk.apply(vec![makes_up], "coord", now())
        .await
        .expect("done");
    assert_eq!(lot().await, "E-2");
    assert_eq!(verify(&desk).await.expect("can be read").1, []);
}

#[test]
fn an_old_folder_reads_as_before() {
    let term = read_term(&folder()).expect("no faults");
    assert!(term.extensions.is_empty() && term.reissued.is_empty() && term.amendments.is_empty());
    assert!(term.students.iter().all(|s| s.is_enrolled()));
    assert!(term.released_to(&crate::key("hardness"), "A").is_some());
    assert!(term.released_to(&crate::key("antacid"), "A").is_none());
}

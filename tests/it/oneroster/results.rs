//! Line items and results out: read back by another reader, and by ours.

use std::collections::BTreeSet;
use std::io::{Cursor, Read as _};

use concordant::course::Student;
use concordant::files::oneroster::{Export, RosterChoice, Version, export, read_roster_package};
use concordant::files::{Folder, FreeText, gradebook_csv, read_term};
use concordant::term::{Judged, Slot, Term};

use super::headers::expected;
use super::{column, roster_with, rows};
use crate::week;

pub const READINGS: &str = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n0051,1,N-1,,0.00,19.90\n0051,2,N-1,,0.00,20.92\n";

pub fn folder() -> Folder {
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    folder
        .insert("readings/acid.csv", READINGS.as_bytes().to_vec())
        .expect("room");
    folder
}

fn graded() -> (Term, Vec<(Slot, Judged)>) {
    let term = read_term(&folder()).expect("is sound");
    let judged = term.judge_all();
    (term, judged)
}

fn wanted(version: Version, roster: Option<&Folder>) -> Export<'_> {
    Export {
        version,
        today: jiff::civil::date(2026, 10, 2),
        roster,
        course: if roster.is_some() {
            "crs-q".to_owned()
        } else {
            String::new()
        },
        leave_out: false,
    }
}

/// Every reference of every row leads to a row, ids are there once, and every row has a cell for every column.
fn hangs_together(folder: &Folder, session: &str) {
    let links = [
        ("lineItems.csv", "classSourcedId", "classes.csv"),
        ("lineItems.csv", "categorySourcedId", "categories.csv"),
        ("lineItems.csv", session, "academicSessions.csv"),
        ("results.csv", "lineItemSourcedId", "lineItems.csv"),
        ("results.csv", "studentSourcedId", "users.csv"),
        ("classes.csv", "courseSourcedId", "courses.csv"),
        ("classes.csv", "schoolSourcedId", "orgs.csv"),
        ("courses.csv", "orgSourcedId", "orgs.csv"),
        ("enrollments.csv", "userSourcedId", "users.csv"),
        ("enrollments.csv", "classSourcedId", "classes.csv"),
    ];
    for (file, name, of) in links {
        let there: BTreeSet<String> = column(folder, of, "sourcedId").into_iter().collect();
        for id in column(folder, file, name) {
            assert!(there.contains(&id), "{file} {name} {id} is not in {of}");
        }
    }
    for (path, bytes) in folder.files() {
        let rows = rows(bytes);
        assert!(rows.iter().all(|row| row.len() == rows[0].len()), "{path}");
        if path != "manifest.csv" {
            let ids = column(folder, path, "sourcedId");
            let once: BTreeSet<&String> = ids.iter().collect();
            assert_eq!(once.len(), ids.len(), "{path}");
        }
    }
}

fn manifest_says_what_is_there(folder: &Folder, version: &str, files: usize) {
    let rows = rows(folder.get("manifest.csv").expect("a manifest"));
    assert!(rows.contains(&vec!["oneroster.version".to_owned(), version.to_owned()]));
    let modes: Vec<_> = rows
        .iter()
        .filter(|row| row[0].starts_with("file."))
        .collect();
    assert_eq!(modes.len(), files);
    for row in modes {
        let name = format!("{}.csv", row[0].trim_start_matches("file."));
        let mode = if folder.get(&name).is_some() {
            "bulk"
        } else {
            "absent"
        };
        assert_eq!(row[1], mode, "{name}");
    }
}

#[test]
fn an_export_with_names_of_ours_hangs_together_and_reads_back() {
    let (term, judged) = graded();
    for (version, session, files) in [
        (Version::V1p1, "gradingPeriodSourcedId", 13),
        (Version::V1p2, "academicSessionSourcedId", 21),
    ] {
        let out = export(&term, &judged, &wanted(version, None)).expect("is written");
        for (path, bytes) in out.files() {
            assert_eq!(rows(bytes)[0], expected(version, path), "{path}");
            assert!(bytes.ends_with(b"\r\n"), "{path}");
        }
        hangs_together(&out, session);
        manifest_says_what_is_there(&out, version.name(), files);
        // a line item for each experiment and section, the most points of its marking
        assert_eq!(column(&out, "lineItems.csv", "title").len(), 3 * 2);
        assert!(column(&out, "lineItems.csv", "resultValueMax").contains(&"22.00".to_owned()));
        // the scores are those of the gradebook
        let book = rows(gradebook_csv(&term, &judged, FreeText::Exact).as_bytes());
        let mut points: Vec<&str> = book[1..].iter().map(|row| row[4].as_str()).collect();
        points.retain(|cell| !cell.is_empty());
        assert_eq!(column(&out, "results.csv", "score"), points);
        assert_eq!(points.len(), 2);
        // what waits for a person says so
        let waits =
            |one: &(Slot, Judged)| matches!(one.1.status, concordant::term::Status::ToReview);
        let waiting = judged.iter().filter(|one| waits(one)).count();
        let states = column(&out, "results.csv", "scoreStatus");
        assert_eq!(
            states.iter().filter(|s| *s == "partially graded").count(),
            waiting
        );
        assert_eq!(
            column(&out, "results.csv", "scoreDate"),
            ["2026-10-02", "2026-10-02"]
        );
        let back = read_roster_package(&out, &RosterChoice::default()).expect("is sound");
        let users = column(&out, "users.csv", "sourcedId");
        assert!(back.iter().map(|s| &s.sourced_id).eq(&users));
        let plain = |s: &Student| Student {
            sourced_id: String::new(),
            ..s.clone()
        };
        assert_eq!(
            back.iter().map(plain).collect::<Vec<_>>(),
            term.students.to_vec()
        );
        // the same once more gives the same names
        assert_eq!(export(&term, &judged, &wanted(version, None)), Ok(out));
    }
}

#[test]
fn sourced_ids_of_a_roster_are_kept_and_its_files_go_along_unchanged() {
    let (term, judged) = graded();
    let roster = roster_with(&[]);
    let out = export(&term, &judged, &wanted(Version::V1p2, Some(&roster))).expect("is written");
    // its own version, not the one asked for
    manifest_says_what_is_there(&out, "1.1", 13);
    hangs_together(&out, "gradingPeriodSourcedId");
    for file in [
        "users.csv",
        "classes.csv",
        "academicSessions.csv",
        "enrollments.csv",
    ] {
        assert_eq!(out.get(file), roster.get(file), "{file}");
    }
    assert_eq!(out.get("demographics.csv"), None);
    assert_eq!(
        column(&out, "results.csv", "studentSourcedId"),
        ["u-1", "u-3"]
    );
    let classes = column(&out, "lineItems.csv", "classSourcedId");
    assert_eq!(
        classes,
        ["cls-1", "cls-1", "cls-1", "cls-2", "cls-2", "cls-2"]
    );
    // acid is due in the first grading period, the others in the second
    let sessions = column(&out, "lineItems.csv", "gradingPeriodSourcedId");
    assert_eq!(sessions[..3], ["gp-1", "gp-2", "gp-2"]);
}

#[test]
fn a_student_with_results_who_is_not_in_the_roster_is_named_or_left_out() {
    let (term, judged) = graded();
    let without = roster_with(&[
        ("users.csv", ",0051,S.Ruhl@lab.example,", ",0052,,"),
        ("users.csv", ",ruhls,", ",elsea,"),
    ]);
    let mut wanted = wanted(Version::V1p1, Some(&without));
    let faults = export(&term, &judged, &wanted).expect_err("is missing");
    assert_eq!(faults.len(), 1);
    assert!(
        faults[0]
            .what
            .starts_with("found nobody who is 0051, who has results")
    );
    wanted.leave_out = true;
    let out = export(&term, &judged, &wanted).expect("is written");
    assert_eq!(column(&out, "results.csv", "studentSourcedId"), ["u-1"]);
}

#[tokio::test]
async fn results_are_downloaded_as_one_zip_file() {
    let app = week::app().await;
    concordant::desk::bring_in(&app.desk, &folder(), "test", app.clock.now())
        .await
        .expect("imported");
    let mut person = app.person("i.quell").await;
    let path = "/course/oneroster.zip";
    let ours = person.post_files(path, &[("version", "1.1")], &[]).await;
    assert_eq!(
        (ours.status, ours.header("content-type")),
        (200, "application/zip")
    );
    let mut zip = zip::ZipArchive::new(Cursor::new(ours.bytes)).expect("a zip file");
    // at the root of the archive, where the standard wants them
    assert!(zip.file_names().all(|name| !name.contains('/')));
    let mut manifest = String::new();
    let read = zip
        .by_name("manifest.csv")
        .expect("a manifest")
        .read_to_string(&mut manifest);
    assert!(
        read.is_ok() && manifest.contains("oneroster.version,1.1\r\n"),
        "{manifest}"
    );
    let roster = roster_with(&[]);
    let files: Vec<(&str, &[u8])> = roster.files().collect();
    let theirs = person
        .post_files(path, &[("course", "CHM 210")], &files)
        .await;
    assert_eq!(theirs.status, 200);
    let refused = person.post_files(path, &[], &files).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("say which course is meant"),
        "{}",
        refused.body
    );
    let mut student = app.person("0042").await;
    assert_eq!(student.post_files(path, &[], &[]).await.status, 403);
}

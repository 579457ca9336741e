//! Files of people are never written over: each is refused with the way that does it all the same.

use std::path::Path;

use super::{Said, demo, run};

fn course() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a directory");
    demo().write(&place.path().join("demo")).expect("written");
    let said = run(place.path(), &["import", "demo", "--db", "c.db"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    place
}

fn write(at: &Path, name: &str, text: &str) {
    std::fs::write(at.join(name), text).expect("written");
}

fn read(at: &Path, name: &str) -> String {
    std::fs::read_to_string(at.join(name)).expect("is read")
}

#[test]
fn an_export_that_was_edited_is_not_written_over() {
    let place = course();
    let at = place.path();
    let export = |more: &[&str]| {
        let mut line = vec!["export", "--db", "c.db", "--out", "out"];
        line.extend(more);
        run(at, &line)
    };
    assert_eq!(export(&[]).code, Some(0));
    // as it was: again
    assert_eq!(export(&[]).code, Some(0));
    let edited = read(at, "out/roster.csv").replace("Abara", "Abara-Edited");
    write(at, "out/roster.csv", &edited);
    let refused = export(&[]);
    assert_eq!(refused.code, Some(1));
    assert!(
        refused
            .err
            .contains("roster.csv: found this file edited since it was written"),
        "{}",
        refused.err
    );
    assert!(refused.err.contains("--force"), "{}", refused.err);
    assert_eq!(read(at, "out/roster.csv"), edited);
    assert_eq!(export(&["--force"]).code, Some(0));
    assert!(!read(at, "out/roster.csv").contains("Abara-Edited"));

    std::fs::create_dir(at.join("theirs")).expect("made");
    write(at, "theirs/roster.csv", "hi");
    let refused = run(at, &["export", "--db", "c.db", "--out", "theirs"]);
    assert_eq!(refused.code, Some(1));
    assert!(
        refused
            .err
            .contains("roster.csv: found this file there already"),
        "{}",
        refused.err
    );
    assert_eq!(read(at, "theirs/roster.csv"), "hi");
}

#[test]
fn grades_that_were_edited_are_not_written_over() {
    let place = course();
    let at = place.path();
    assert_eq!(run(at, &["grade", "demo", "--out", "out"]).code, Some(0));
    assert_eq!(run(at, &["grade", "demo", "--out", "out"]).code, Some(0));
    write(at, "out/gradebook.csv", "mine");
    let refused = run(at, &["grade", "demo", "--out", "out"]);
    assert_eq!(refused.code, Some(1));
    assert_eq!(read(at, "out/gradebook.csv"), "mine");
}

#[test]
fn a_database_is_made_only_where_that_is_asked_for() {
    let place = tempfile::tempdir().expect("a directory");
    let at = place.path();
    let lines: [&[&str]; 2] = [
        &["add-coordinator", "--db", "typo.db", "i.quell"],
        &["serve", "--db", "typo.db", "--listen", "127.0.0.1:0"],
    ];
    for line in lines {
        let refused = run(at, line);
        assert_eq!(refused.code, Some(1), "{line:?}");
        assert!(
            refused.err.contains("found no file typo.db"),
            "{}",
            refused.err
        );
        assert!(refused.err.contains("--new"), "{}", refused.err);
        assert!(!at.join("typo.db").exists());
    }
    let made = run(at, &["add-coordinator", "--db", "c.db", "--new", "i.quell"]);
    assert_eq!(made.code, Some(0), "{}", made.err);
    let again = run(at, &["add-coordinator", "--db", "c.db", "i.quell"]);
    assert_eq!(again.code, Some(0), "{}", again.err);
    let twice = run(at, &["add-coordinator", "--db", "c.db", "--new", "i.quell"]);
    assert_eq!(twice.code, Some(1));
}

fn fill(at: &Path, more: &[&str]) -> Said {
    let mut line = vec!["fill", "mine.csv", "--db", "c.db"];
    line.extend(more);
    run(at, &line)
}

#[test]
fn fill_writes_over_no_file_and_no_other_column() {
    let place = course();
    let at = place.path();
    let roster = read(at, "demo/roster.csv");
    let ids: Vec<&str> = roster
        .lines()
        .skip(1)
        .filter_map(|l| l.split(',').next())
        .collect();
    let mut mine = "id,section,total\n".to_owned();
    for id in &ids {
        mine.push_str(&format!("{id},A,\n"));
    }
    write(at, "mine.csv", &mine);
    for out in ["mine.csv", "./mine.csv"] {
        let refused = fill(at, &["--id", "id", "--total", "total", "--out", out]);
        assert_eq!(refused.code, Some(1));
        assert!(refused.err.contains("--force"), "{}", refused.err);
    }
    for more in [&["--replace"][..], &[]] {
        let mut line = vec!["--id", "id", "--total", "section", "--out", "filled.csv"];
        line.extend(more);
        let refused = fill(at, &line);
        assert_eq!(refused.code, Some(1), "{}", refused.err);
        assert!(
            refused
                .err
                .contains("found “A” and the like in the column “section”, expected points"),
            "{}",
            refused.err
        );
    }
    assert_eq!(read(at, "mine.csv"), mine);
    assert!(!at.join("filled.csv").exists());
    let done = fill(
        at,
        &["--id", "id", "--total", "total", "--out", "filled.csv"],
    );
    assert_eq!(done.code, Some(0), "{}", done.err);
    let done = fill(
        at,
        &[
            "--id", "id", "--total", "total", "--out", "mine.csv", "--force",
        ],
    );
    assert_eq!(done.code, Some(0), "{}", done.err);
    assert_eq!(read(at, "mine.csv"), read(at, "filled.csv"));
}

#[test]
fn fill_with_nobody_matched_is_a_fault_in_few_words() {
    let place = course();
    let at = place.path();
    let rows: String = (0..2400).map(|n| format!("x{n},\n")).collect();
    write(at, "mine.csv", &format!("id,total\n{rows}"));
    let refused = fill(
        at,
        &["--id", "id", "--total", "total", "--out", "filled.csv"],
    );
    assert_eq!(refused.code, Some(1));
    assert!(refused.err.lines().count() < 5, "{}", refused.err);
    assert!(
        refused.err.contains("found no row of a student"),
        "{}",
        refused.err
    );
    assert!(!at.join("filled.csv").exists());
}

#[test]
fn students_who_left_are_named_and_not_filled_and_the_sum_comes_last() {
    let place = tempfile::tempdir().expect("a directory");
    let at = place.path();
    demo().write(&at.join("demo")).expect("written");
    let roster = read(at, "demo/roster.csv");
    let roster: String = roster
        .lines()
        .map(|line| match line.split(',').next() {
            Some("student_id") => format!("{line},left\n"),
            Some("04126") => format!("{line},2026-10-20\n"),
            _ => format!("{line},\n"),
        })
        .collect();
    write(at, "demo/roster.csv", &roster);
    let said = run(at, &["import", "demo", "--db", "c.db"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let strangers: String = (0..50).map(|n| format!("x{n},\n")).collect();
    write(
        at,
        "mine.csv",
        &format!("id,total\n04128,\n04126,\n{strangers}"),
    );
    let done = fill(
        at,
        &["--id", "id", "--total", "total", "--out", "filled.csv"],
    );
    assert_eq!(done.code, Some(0), "{}", done.err);
    assert!(
        done.err
            .contains("mine.csv:3: 04126 (Barrow, Hugo) has left the course; not filled in"),
        "{}",
        done.err
    );
    let last = done.err.lines().last().expect("a line");
    assert!(last.contains("1 rows matched, 1 cells written"), "{last}");
    assert!(done.err.lines().count() < 60, "{}", done.err);
    let filled = read(at, "filled.csv");
    assert!(filled.contains("\n04126,\n"), "{filled}");
    assert!(!filled.contains("\n04128,\n"), "{filled}");
}

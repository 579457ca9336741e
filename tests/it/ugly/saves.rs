//! Our own export, saved by a spreadsheet and brought in again: the same course, or a refusal that says what was lost.

use std::path::Path;

use concordant::files::{Folder, pack};

use super::{Said, cells, demo, run, saved};
use crate::app::TestApp;

/// A database that holds the demo, in a directory.
fn course() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a directory");
    demo().write(&place.path().join("demo")).expect("written");
    let said = run(place.path(), &["import", "demo", "--db", "c.db"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    place
}

/// Brings a folder in, confirmed, which must not change the course where it is refused.
fn bring_in(at: &Path, folder: &Folder) -> Said {
    let before = exported(at, "before");
    std::fs::remove_dir_all(at.join("in")).ok();
    folder.write(&at.join("in")).expect("written");
    let said = run(at, &["import", "in", "--db", "c.db", "--yes"]);
    if said.code != Some(0) {
        assert_eq!(exported(at, "after"), before, "{}", said.err);
    }
    said
}

fn exported(at: &Path, name: &str) -> Folder {
    std::fs::remove_dir_all(at.join(name)).ok();
    let said = run(at, &["export", "--db", "c.db", "--out", name]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    Folder::read(&at.join(name)).expect("a folder")
}

/// What a spreadsheet makes of a cell that it takes for a number.
fn as_number(cell: &str, write: impl Fn(&str, &str) -> String) -> String {
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let (whole, fraction) = cell.split_once('.').unwrap_or((cell, ""));
    if !digits(whole) || cell.contains('.') && !digits(fraction) {
        return cell.to_owned();
    }
    let whole = whole.trim_start_matches('0');
    write(if whole.is_empty() { "0" } else { whole }, fraction)
}

#[test]
fn leading_zeros_gone_are_named_and_nothing_changes() {
    let place = course();
    let stripped = saved(
        &demo(),
        |_| true,
        |rows| {
            cells(rows, |name, cell| match name {
                "student_id" => cell.trim_start_matches('0').to_owned(),
                _ => cell.to_owned(),
            })
        },
    );
    let said = bring_in(place.path(), &stripped);
    assert_eq!(said.code, Some(1));
    assert!(
        said.err.contains(
            "roster.csv, column student_id: found “4128”, expected 04128 as in the course: leading zeros are lost"
        ),
        "{}",
        said.err
    );
    assert_eq!(said.err.lines().count(), 96, "{}", said.err);
}

#[test]
fn trailing_zeros_gone_are_named_and_nothing_changes() {
    let place = course();
    let one = "readings/well-water-hardness.csv";
    let stripped = saved(
        &demo(),
        |path| path == one,
        |rows| {
            cells(rows, |name, cell| match name {
                "student_id" => cell.to_owned(),
                _ => as_number(cell, |whole, fraction| {
                    match fraction.trim_end_matches('0') {
                        "" => whole.to_owned(),
                        rest => format!("{whole}.{rest}"),
                    }
                }),
            })
        },
    );
    let said = bring_in(place.path(), &stripped);
    assert_eq!(said.code, Some(1));
    assert!(
        said.err.contains(
            "readings/well-water-hardness.csv, column burette_start_mL: student 04128, trial 1: found “0”, expected 0.00 as in the course: zeros at the end are lost"
        ),
        "{}",
        said.err
    );
}

#[test]
fn decimal_commas_and_another_order_are_the_same_course() {
    let place = course();
    let turned = saved(
        &demo(),
        |path| path != "decisions.csv",
        |rows| {
            let rows = cells(rows, |name, cell| {
                let reading = name.ends_with("_mL") || name.ends_with("_g") || name == "value";
                match reading {
                    true => cell.replace('.', ","),
                    false => cell.to_owned(),
                }
            });
            // the columns in another order, and the rows
            let mut rows: Vec<Vec<String>> = rows
                .into_iter()
                .map(|row| row.into_iter().rev().collect())
                .collect();
            rows[1..].reverse();
            rows
        },
    );
    std::fs::remove_dir_all(place.path().join("in")).ok();
    let before = exported(place.path(), "before");
    turned.write(&place.path().join("in")).expect("written");
    let looked = run(place.path(), &["import", "in", "--db", "c.db"]);
    assert_eq!(looked.code, Some(0), "{}", looked.err);
    assert!(
        looked.out.contains("nothing would change"),
        "{}",
        looked.out
    );
    let said = bring_in(place.path(), &turned);
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(said.out.contains("0 changes"), "{}", said.out);
    assert_eq!(exported(place.path(), "after"), before);
}

#[test]
fn long_ids_as_powers_of_ten_and_sections_as_days_are_named() {
    let place = course();
    let powers = saved(
        &demo(),
        |_| true,
        |rows| {
            cells(rows, |name, cell| match (name, cell) {
                ("student_id", "04126") => "4.13E+03".to_owned(),
                _ => cell.to_owned(),
            })
        },
    );
    let said = bring_in(place.path(), &powers);
    assert_eq!(said.code, Some(1));
    assert!(
        said.err
            .contains("found “4.13E+03”, expected the code itself"),
        "{}",
        said.err
    );

    let days = saved(
        &demo(),
        |path| path == "roster.csv",
        |rows| {
            let turned = |row: Vec<String>| match row[0].as_str() {
                "04126" => [&row[..3], &["02-Jan".to_owned()]].concat(),
                _ => row,
            };
            rows.into_iter().map(turned).collect()
        },
    );
    let said = bring_in(place.path(), &days);
    assert_eq!(said.code, Some(1));
    assert!(said.err.contains("02-Jan"), "{}", said.err);
}

#[test]
fn what_would_change_is_said_first_and_done_when_it_is_confirmed() {
    let place = course();
    let before = exported(place.path(), "before");
    let mut other = Folder::default();
    for (path, bytes) in demo().files() {
        let mut text = String::from_utf8(bytes.to_vec()).expect("is text");
        match path {
            "roster.csv" => {
                text = text.replace("Barrow,Hugo,A", "Barrow-Lee,Hugo,A");
                text.push_str("99001,Nuovo,Ada,A\n");
            }
            // the mean of the trials is off by some percent
            "readings/well-water-hardness.csv" => {
                assert!(text.contains("04128,1,W-T1,,0.00,20.21,"));
                text = text.replace("04128,1,W-T1,,0.00,20.21,", "04128,1,W-T1,,0.00,22.21,");
            }
            _ => {}
        }
        other.insert(path, text.into_bytes()).expect("fits");
    }
    other.write(&place.path().join("in")).expect("written");
    let import = |more: &[&str]| {
        let mut line = vec!["import", "in", "--db", "c.db"];
        line.extend(more);
        run(place.path(), &line)
    };
    let looked = import(&[]);
    assert_eq!(looked.code, Some(0), "{}", looked.err);
    for words in [
        "1 student joins, 0 leave, 1 is altered",
        "  joins 99001 Nuovo, Ada, section A",
        "  was 04126 Barrow, Hugo, section A, is 04126 Barrow-Lee, Hugo, section A",
        "0 hand-ins are new, 1 takes the place of an earlier one",
        "  replaced well-water-hardness, 04128",
        "  well-water-hardness, 04128: ",
        "Nothing is changed yet. With --yes",
    ] {
        assert!(looked.out.contains(words), "{words} in {}", looked.out);
    }
    assert_eq!(exported(place.path(), "after"), before);
    let done = import(&["--yes"]);
    assert_eq!(done.code, Some(0), "{}", done.err);
    assert!(
        done.out.contains("3 changes, 1 of them a hand-in"),
        "{}",
        done.out
    );
    let after = exported(place.path(), "after");
    let roster = String::from_utf8_lossy(after.get("roster.csv").expect("a roster")).into_owned();
    assert!(roster.contains("99001,Nuovo,Ada,A"), "{roster}");
}

#[tokio::test]
async fn the_zip_of_the_browser_comes_in_on_the_command_line() {
    let app = TestApp::spawn_new().await;
    let mut person = app.person("i.quell").await;
    let folder = pack(&crate::week::folder()).expect("is packed");
    let answer = person
        .post_file("/course/folder", "week.zip", &folder)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let zip = person.get("/course/export.zip").await.bytes;
    let place = tempfile::tempdir().expect("a directory");
    std::fs::write(place.path().join("export.zip"), &zip).expect("written");
    let said = run(place.path(), &["import", "export.zip", "--db", "c.db"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let again = run(place.path(), &["import", "export.zip", "--db", "c.db"]);
    assert!(again.out.contains("nothing would change"), "{}", again.out);
    let other = place.path().join("notes.zip");
    std::fs::write(&other, "no zip").expect("written");
    let said = run(place.path(), &["import", "notes.zip", "--db", "c.db"]);
    assert_eq!(said.code, Some(1));
    assert!(
        said.err
            .contains("notes.zip: found a file that cannot be read as a zip file"),
        "{}",
        said.err
    );
}

/// In the browser: what would change stands on a page, and is done when that page is confirmed and nothing else has
/// changed meanwhile.
#[tokio::test]
async fn a_folder_is_looked_at_before_it_comes_in() {
    let app = TestApp::spawn_new().await;
    let mut person = app.person("i.quell").await;
    let folder = crate::week::folder();
    let first = pack(&folder).expect("is packed");
    person.post_file("/course/folder", "week.zip", &first).await;
    let joined = saved(
        &folder,
        |path| path == "roster.csv",
        |mut rows| {
            let mut row = rows[1].clone();
            row[0] = "99001".to_owned();
            row[1] = "Nuovo".to_owned();
            rows.push(row);
            rows
        },
    );
    let zip = pack(&joined).expect("is packed");
    let looked = person.post_file("/course/folder", "week.zip", &zip).await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    assert!(looked.body.contains("1 student joins"), "{}", looked.body);
    assert!(looked.body.contains("Nuovo"), "{}", looked.body);
    let students = async || app.desk.view().await.expect("a course").term.students.len();
    let before = students().await;
    let field = |body: &str, name: &str| {
        let from = body.find(&format!("name=\"{name}\" value=\"")).expect(name);
        let value = &body[from + name.len() + 15..];
        value[..value.find('"').expect("ends")].to_owned()
    };
    let fields = ["file", "seen", "packed"].map(|name| (name, field(&looked.body, name)));
    let mut other = fields.clone();
    other[1].1 = "another".to_owned();
    fn sent<'f>(fields: &'f [(&'static str, String)]) -> Vec<(&'static str, &'f str)> {
        fields
            .iter()
            .map(|(name, value)| (*name, value.as_str()))
            .collect()
    }
    let stale = sent(&other);
    let answer = person.post_form("/course/folder/confirm", &stale).await;
    assert_eq!(answer.status, 200);
    assert!(
        answer
            .body
            .contains("The course has changed since you looked")
    );
    assert_eq!(students().await, before);
    let answer = person
        .post_form("/course/folder/confirm", &sent(&fields))
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    assert!(answer.location().ends_with("n=1"), "{}", answer.location());
    assert_eq!(students().await, before + 1);
}

/// A roster that lost its zeros is refused in the browser as well.
#[tokio::test]
async fn a_roster_without_its_zeros_is_refused() {
    let app = TestApp::spawn_new().await;
    let mut person = app.person("i.quell").await;
    let folder = pack(&crate::week::folder()).expect("is packed");
    person
        .post_file("/course/folder", "week.zip", &folder)
        .await;
    let roster = "student_id,family_name,given_name,section\n42,Somebody,Else,A\n";
    let answer = person
        .post_file(
            "/course/roster/preview",
            "from-spreadsheet.csv",
            roster.as_bytes(),
        )
        .await;
    assert_eq!(answer.status, 422, "{}", answer.body);
    assert!(
        answer.body.contains("expected 0042 as in the course"),
        "{}",
        answer.body
    );
}

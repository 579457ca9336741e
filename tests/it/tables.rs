//! Tables for people who analyse: no student in them by name, a dictionary of every column, and a worked example that
//! comes to what the server shows.

use std::path::Path;
use std::process::Command;

use concordant::desk::forms::{ShowTruth, enter};
use concordant::desk::release;
use concordant::form::Typed;

use crate::app::TestApp;
use crate::oneroster::rows;
use crate::sharing::class_of_twelve;

const GUIDE: &str = include_str!("../../seed-data/guide/analysis.md");

fn export(app: &TestApp, out: &Path, more: &[&str]) {
    let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(["export", "--db"])
        .arg(app.database())
        .arg("--tables")
        .arg(out)
        .args(more)
        .output()
        .expect("runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(0), "{said}");
}

fn table(out: &Path, file: &str) -> Vec<Vec<String>> {
    rows(&std::fs::read(out.join(file)).expect(file))
}

/// Lower edge, if the page says one, and count of every column of the picture on a student's page.
async fn on_the_page(app: &TestApp) -> Vec<(Option<f64>, usize)> {
    let mut student = app.person("0042").await;
    let page = student.get("/student/experiments/acid").await;
    let numbers = page.body.split("The numbers behind the picture").nth(1);
    let numbers = numbers.expect("a picture").split("</table>").next();
    let rows = numbers.expect("a table").split("<tr><th scope=\"row\">");
    rows.skip(1)
        .map(|row| {
            let edge = row.split(" to ").next().expect("a range");
            let edge = edge.replace('\u{2212}', "-").parse().ok();
            let count = row.split("<td class=\"num\">").nth(1).expect("a count");
            let count = count.split('<').next().expect("an end");
            (edge, count.parse().expect("a number"))
        })
        .collect()
}

/// The program of the guide, run on the tables.
fn by_the_guide(out: &Path) -> Vec<(f64, usize)> {
    let program = GUIDE.split("```python\n").nth(1).expect("a program");
    let program = program.split("```").next().expect("an end");
    let done = Command::new("python3")
        .args(["-c", program])
        .arg(out)
        .arg("acid")
        .output()
        .expect("python3 is there");
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}");
    let printed = String::from_utf8(done.stdout).expect("text");
    let line = |line: &str| {
        let (edge, count) = line.split_once(',').expect("two cells");
        (
            edge.parse().expect("a number"),
            count.parse().expect("a number"),
        )
    };
    printed.lines().map(line).collect()
}

fn agree(page: &[(Option<f64>, usize)], guide: &[(f64, usize)]) {
    let counts = |(_, count): &(f64, usize)| *count;
    let expected: Vec<usize> = page.iter().map(|(_, count)| *count).collect();
    assert_eq!(guide.iter().map(counts).collect::<Vec<_>>(), expected);
    let edges = page.iter().zip(guide);
    let named = edges.filter_map(|((edge, _), (said, _))| Some(((*edge)?, *said)));
    let named: Vec<(f64, f64)> = named.collect();
    assert!(named.len() > 3);
    // the page says three figures
    for (edge, said) in named {
        assert!((edge - said).abs() <= 0.006 * said.abs(), "{edge} {said}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_worked_example_draws_what_students_see() {
    let app = class_of_twelve().await;
    let now = app.clock.now();
    let out = tempfile::tempdir().expect("a directory");
    // before anything is released the truth is not to be had
    let before = out.path().join("before");
    export(&app, &before, &[]);
    let submissions = table(&before, "submissions.csv");
    let place = |name: &str| submissions[0].iter().position(|c| c == name);
    for name in ["true_value", "off_percent"] {
        let place = place(name).expect("a column");
        assert!(submissions[1..].iter().all(|row| row[place].is_empty()));
    }
    let key = crate::key("acid");
    release(&app.desk, &key, ("i.quell", now))
        .await
        .expect("released");
    let points = out.path().join("points");
    export(&app, &points, &[]);
    let page = on_the_page(&app).await;
    assert!(page.iter().map(|(_, count)| count).sum::<usize>() >= 13);
    agree(&page, &by_the_guide(&points));
    let show = Typed::from([("show", "yes")]);
    enter(&app.desk, &ShowTruth(key), &show, ("i.quell", now))
        .await
        .expect("chosen");
    let off = out.path().join("off");
    export(&app, &off, &[]);
    let page = on_the_page(&app).await;
    assert_eq!(page.iter().map(|(_, count)| count).sum::<usize>(), 13);
    agree(&page, &by_the_guide(&off));
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_is_named_unless_asked_and_every_column_is_explained() {
    let app = class_of_twelve().await;
    let out = tempfile::tempdir().expect("a directory");
    let (bare, named) = (out.path().join("bare"), out.path().join("named"));
    export(&app, &bare, &[]);
    export(&app, &named, &["--names"]);
    let students = app
        .desk
        .view()
        .await
        .expect("a course")
        .term
        .students
        .clone();
    let mut explained = table(&bare, "dictionary.csv");
    assert_eq!(explained.remove(0), ["table", "column", "unit", "meaning"]);
    assert!(explained.iter().all(|row| !row[3].is_empty()));
    let mut there = Vec::new();
    let files = [
        "experiments",
        "students",
        "submissions",
        "marks",
        "flags",
        "readings",
    ];
    for file in files {
        let rows = table(&bare, &format!("{file}.csv"));
        there.extend(
            rows[0]
                .iter()
                .map(|column| [file.to_owned(), column.clone()]),
        );
        for student in &students {
            let who = [&*student.id, &student.family_name, &student.given_name];
            let names = |cell: &&String| who.iter().any(|name| !name.is_empty() && cell == name);
            assert_eq!(rows.iter().flatten().find(names), None, "{file}");
        }
    }
    let explained: Vec<[String; 2]> = explained
        .into_iter()
        .map(|row| [row[0].clone(), row[1].clone()])
        .collect();
    assert_eq!(explained, there);
    let rows = table(&named, "students.csv");
    assert_eq!(rows.len(), students.len() + 1);
    let ada = rows.iter().find(|row| row[3] == "0042").expect("is there");
    // the key is the same from export to export
    let again = table(&bare, "students.csv");
    assert!(again.iter().any(|row| row[0] == ada[0]));
    assert_eq!(ada[0].len(), 24);
    // nobody looks for the table of readings in vain
    assert!(table(&bare, "readings.csv").len() > 26);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_gradebook_comes_with_semicolons_and_a_mark_on_request() {
    let app = class_of_twelve().await;
    let mut person = app.person("i.quell").await;
    let plain = person.get("/course/gradebook.csv").await;
    let other = "/course/gradebook.csv?semicolons=yes&mark=yes";
    let other = person.get(other).await;
    assert!(
        other
            .bytes
            .starts_with("\u{feff}student_id;family_name;".as_bytes())
    );
    let expected: Vec<Vec<String>> = rows(&plain.bytes);
    let text = String::from_utf8(other.bytes.to_vec()).expect("UTF-8");
    for (line, row) in text.lines().zip(&expected).skip(1) {
        let points: Vec<String> = row[4..].iter().map(|cell| cell.replace('.', ",")).collect();
        assert!(line.ends_with(&points.join(";")), "{line}");
    }
    // the command line writes the same
    let out = tempfile::tempdir().expect("a directory");
    let (folder, graded) = (out.path().join("course"), out.path().join("graded"));
    let run = |arguments: &[&std::ffi::OsStr]| {
        let program = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(arguments)
            .output();
        assert!(program.expect("runs").status.success(), "{arguments:?}");
    };
    let db = app.database();
    run(&[
        "export".as_ref(),
        "--db".as_ref(),
        db.as_ref(),
        "--out".as_ref(),
        folder.as_ref(),
    ]);
    run(&[
        "grade".as_ref(),
        folder.as_ref(),
        "--out".as_ref(),
        graded.as_ref(),
        "--semicolons".as_ref(),
        "--mark".as_ref(),
    ]);
    let written = std::fs::read(graded.join("gradebook.csv")).expect("a gradebook");
    assert_eq!(written, text.as_bytes());
}

#[tokio::test]
async fn the_guide_names_every_view_and_column() {
    use sqlx::Row;
    let store = concordant::store::Store::passing().await.expect("a store");
    let mut reader = store.read().await.expect("a reader");
    let query = "SELECT m.name AS view, group_concat('`' || c.name || '`', ', ') AS columns
         FROM (SELECT name FROM sqlite_schema WHERE type = 'view') AS m, pragma_table_info(m.name) AS c
         GROUP BY m.name";
    let views = sqlx::query(query)
        .fetch_all(reader.sqlite().expect("a file"))
        .await;
    let views = views.expect("views");
    assert!(views.len() >= 10);
    for view in views {
        let (name, columns): (String, String) = (view.get("view"), view.get("columns"));
        let line = format!("| `{name}` | {columns} |");
        assert!(GUIDE.contains(&line), "{line}");
    }
}

//! The way through the pages, and the command that does the same.

use std::process::Command;

use concordant::desk::bring_in;
use concordant::files::Folder;

use crate::app::{Answer, Person, TestApp};
use crate::week;

/// A registrar's file with everything that must not change: a mark of its encoding, both line ends, quotation marks
/// with a line break, a blank line, no last line end; a stranger, one student twice, one missing, one cell filled.
const FILE: &str = "\u{feff}Matrikel;\"Name; given\";acid;Notes\r\n0042;\"Fennimore, \"\"Ada\"\"\nA.\";;x\n\r\n0043;Okafor-Lind;3,00;\r\n0099;\"Nobody\";;\n;Points possible;22;";

async fn graded() -> TestApp {
    let app = week::app().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let bytes = match path {
            "roster.csv" => "student_id,family_name,given_name,section,email\n0042,Fennimore,Ada,A,Ada@lab.example\n0043,Okafor-Lind,Tobias,A,\n0051,=Ruhl,Seraphine,B,s.ruhl@lab.example\n".as_bytes().to_vec(),
            _ => bytes.to_vec(),
        };
        folder.insert(path, bytes).expect("room");
    }
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n0043,1,N-1,,0.00,20.90\n0043,2,N-1,,0.00,20.92\n";
    folder
        .insert("readings/acid.csv", readings.as_bytes().to_vec())
        .expect("room");
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("imported");
    app
}

/// Points of a student as the gradebook has them.
async fn points(person: &mut Person, student: &str) -> String {
    let book = person.get("/course/gradebook.csv").await.body;
    let line = book
        .lines()
        .find(|line| line.starts_with(student))
        .expect("is there");
    line.split(',').nth(4).expect("a column").to_owned()
}

/// Hidden fields of the form that leads on, and the choices of the page, as a browser would send them.
fn hidden(answer: &Answer, name: &str) -> String {
    let from = format!("name=\"{name}\" value=\"");
    let after = answer.body.split(&from).nth(1).unwrap_or_default();
    after.split('"').next().unwrap_or_default().to_owned()
}

#[tokio::test]
async fn a_file_is_filled_in_and_nothing_else_changes() {
    let app = graded().await;
    let mut person = app.person("i.quell").await;
    let mine = points(&mut person, "0042").await;
    let page = person
        .post_file("/course/fill", "Prüfung 1.csv", FILE.as_bytes())
        .await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(
        page.body.contains("separated by semicolons"),
        "{}",
        page.body
    );
    // the column of student ids and the one called like the experiment are found
    assert!(
        page.body
            .contains("<option value=\"0\" selected>Matrikel</option>")
    );
    assert!(
        page.body
            .contains("<option value=\"2\" selected>acid</option>")
    );
    let packed = hidden(&page, "packed");
    let file = "Prüfung 1.csv";
    let mut choice = vec![
        ("file", file),
        ("packed", packed.as_str()),
        ("id", "0"),
        ("by", "student-id"),
        ("to.acid", "2"),
        ("filled", "keep"),
        ("comma", "yes"),
    ];
    let preview = person.post_form("/course/fill/preview", &choice).await;
    for words in [
        "2 rows are a student’s of this course",
        "1 cell is written; 1 say something else and stay",
        "1 row names nobody and stays as it is",
        "Line 6: nobody of this course is <span class=\"code\">0099</span>",
        "0051</span>, section B) is not in the file",
    ] {
        assert!(preview.body.contains(words), "{words} in {}", preview.body);
    }
    let seen = hidden(&preview, "seen");
    choice.push(("seen", &seen));
    let done = person.post_form("/course/fill/download", &choice).await;
    assert_eq!(done.status, 200);
    assert_eq!(
        done.header("content-disposition"),
        "attachment; filename=\"Pr_fung 1.csv\"; filename*=UTF-8''Pr%C3%BCfung%201.csv"
    );
    let expected = FILE.replacen(";;x", &format!(";{};x", mine.replace('.', ",")), 1);
    assert_eq!(done.bytes, expected.as_bytes());
    // replaced as well, with a point
    let mut other = choice.clone();
    other.retain(|(name, _)| !matches!(*name, "filled" | "comma" | "seen"));
    other.push(("filled", "replace"));
    let preview = person.post_form("/course/fill/preview", &other).await;
    let seen = hidden(&preview, "seen");
    other.push(("seen", &seen));
    let done = person.post_form("/course/fill/download", &other).await;
    let theirs = points(&mut person, "0043").await;
    let expected = FILE.replacen(";;x", &format!(";{mine};x"), 1).replacen(
        ";3,00;",
        &format!(";{theirs};"),
        1,
    );
    assert_eq!(done.bytes, expected.as_bytes());
}

#[tokio::test]
async fn points_that_changed_since_the_preview_are_shown_again() {
    let app = graded().await;
    let mut person = app.person("i.quell").await;
    let page = person
        .post_file("/course/fill", "a.csv", b"id,acid\n0042,\n")
        .await;
    let packed = hidden(&page, "packed");
    let choice = [
        ("file", "a.csv"),
        ("packed", packed.as_str()),
        ("id", "0"),
        ("by", "student-id"),
        ("to.acid", "1"),
        ("seen", "what it was"),
    ];
    let again = person.post_form("/course/fill/download", &choice).await;
    assert_eq!(again.header("content-disposition"), "");
    assert!(
        again
            .body
            .contains("The points have changed since you looked")
    );
}

#[tokio::test]
async fn addresses_name_students_and_doubtful_rows_are_left_alone() {
    let app = graded().await;
    let mut person = app.person("i.quell").await;
    let file = "mail,total\nADA@LAB.example,\ns.ruhl@lab.example,\n";
    let page = person
        .post_file("/course/fill", "a.csv", file.as_bytes())
        .await;
    assert!(
        page.body.contains("value=\"email\" checked"),
        "{}",
        page.body
    );
    let twice = "id,total\n0042,\n0042,\n";
    let page = person
        .post_file("/course/fill", "a.csv", twice.as_bytes())
        .await;
    let packed = hidden(&page, "packed");
    let choice = [
        ("file", "a.csv"),
        ("packed", packed.as_str()),
        ("id", "0"),
        ("to", "1"),
    ];
    let preview = person.post_form("/course/fill/preview", &choice).await;
    assert!(
        preview
            .body
            .contains("stands on lines 2, 3: none of them is filled in"),
        "{}",
        preview.body
    );
    assert!(
        preview.body.contains("0 cells are written"),
        "{}",
        preview.body
    );
    // what cannot be is said beside its field, and the choices stay
    let wrong = [
        ("file", "a.csv"),
        ("packed", packed.as_str()),
        ("id", "0"),
        ("to", "0"),
    ];
    let refused = person.post_form("/course/fill/preview", &wrong).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused
            .body
            .contains("id=\"to-fault\">found “id”, which names the students"),
        "{}",
        refused.body
    );
    let none = [("file", "a.csv"), ("packed", packed.as_str()), ("id", "0")];
    let refused = person.post_form("/course/fill/preview", &none).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("expected at least one"),
        "{}",
        refused.body
    );
}

#[tokio::test]
async fn files_that_cannot_be_filled_in_are_refused_by_line() {
    let app = graded().await;
    let mut person = app.person("i.quell").await;
    for (bytes, words) in [
        (
            &b"id,acid\n0042\n"[..],
            "found 1 cells, expected 2 as in the first line",
        ),
        (b"id,acid\n\"0042,\n", "a quotation mark that is not closed"),
        (b"\xff\xfei\0d\0", "UTF-16"),
        (b"", "found no header"),
        (&vec![b'x'; 1024 * 1024 + 1], "expected at most 1024 KiB"),
    ] {
        let refused = person.post_file("/course/fill", "a.csv", bytes).await;
        assert_eq!(refused.status, 422, "{words}");
        assert!(refused.body.contains(words), "{words} in {}", refused.body);
    }
    let damaged = [("file", "a.csv"), ("packed", "§"), ("id", "0")];
    let refused = person.post_form("/course/fill/preview", &damaged).await;
    assert_eq!(refused.status, 400);
}

#[tokio::test]
async fn the_gradebook_is_safe_for_spreadsheets_or_exact() {
    let app = graded().await;
    let mut person = app.person("i.quell").await;
    let safe = person.get("/course/gradebook.csv").await;
    assert!(
        safe.body.contains("\n0051,'=Ruhl,Seraphine,B,,,,\n"),
        "{}",
        safe.body
    );
    let exact = person.get("/course/gradebook-exact.csv").await;
    assert!(
        exact.body.contains("\n0051,=Ruhl,Seraphine,B,,,,\n"),
        "{}",
        exact.body
    );
    assert_eq!(
        exact.header("content-disposition"),
        "attachment; filename=\"gradebook-exact.csv\""
    );
}

#[tokio::test]
async fn the_command_fills_a_file_in() {
    let directory = tempfile::tempdir().expect("a directory");
    let at = |name: &str| directory.path().join(name);
    let course = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/course");
    let run = |arguments: &[&std::ffi::OsStr]| {
        Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(arguments)
            .output()
            .expect("runs")
    };
    let db = at("c.db");
    let imported = run(&[
        "import".as_ref(),
        course.as_ref(),
        "--db".as_ref(),
        db.as_ref(),
    ]);
    assert!(imported.status.success());
    let roster = std::fs::read_to_string(course.join("roster.csv")).expect("a roster");
    let id = roster
        .lines()
        .nth(1)
        .and_then(|line| line.split(',').next())
        .expect("a student");
    let file = at("mine.csv");
    std::fs::write(&file, format!("id\tsum\r\n{id}\t\r\nX\t\r\n")).expect("is written");
    let out = at("filled.csv");
    let mut line: Vec<&std::ffi::OsStr> =
        vec!["fill".as_ref(), file.as_ref(), "--db".as_ref(), db.as_ref()];
    line.extend::<[&std::ffi::OsStr; 6]>([
        "--id".as_ref(),
        "id".as_ref(),
        "--total".as_ref(),
        "sum".as_ref(),
        "--out".as_ref(),
        out.as_ref(),
    ]);
    let filled = run(&line);
    let said = String::from_utf8_lossy(&filled.stderr);
    assert!(filled.status.success(), "{said}");
    assert!(
        said.contains("mine.csv:3: nobody of the course is X"),
        "{said}"
    );
    let text = std::fs::read_to_string(&out).expect("a file");
    let total = text
        .strip_prefix(&format!("id\tsum\r\n{id}\t"))
        .and_then(|rest| rest.strip_suffix("\r\nX\t\r\n"));
    let expected = std::fs::read_to_string(
        course
            .parent()
            .expect("a folder")
            .join("expected/gradebook.csv"),
    )
    .expect("grades");
    let expected = expected
        .lines()
        .find(|line| line.starts_with(id))
        .expect("the student");
    assert_eq!(total, expected.rsplit(',').next());
    line.push("--decimal-comma".as_ref());
    let refused = run(&line);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("expected semicolons"));
}

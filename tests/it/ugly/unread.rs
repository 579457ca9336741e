//! One impossible cell: everybody else is marked, the row keeps what is written, and somebody enters what can be read.

use concordant::files::{Folder, read_term_set_aside};
use concordant::judge::FlagCode;

use super::{cells, demo, run, saved};
use crate::app::TestApp;

const FILE: &str = "readings/well-water-hardness.csv";

/// The demo with one cell of a student's second trial written otherwise.
fn with(column: &str, cell: &str) -> Folder {
    saved(
        &demo(),
        |path| path == FILE,
        |mut rows| {
            let place = rows[0]
                .iter()
                .position(|name| name == column)
                .expect("a column");
            let of = |row: &&mut Vec<String>| row[0] == "04128" && row[1] == "2";
            rows.iter_mut().find(of).expect("a row")[place] = cell.to_owned();
            rows
        },
    )
}

fn text(folder: &Folder, path: &str) -> String {
    String::from_utf8_lossy(folder.get(path).unwrap_or_default()).into_owned()
}

/// The lines of a file that are not about the student of the altered row.
fn of_others(text: &str) -> Vec<&str> {
    text.lines()
        .filter(|line| !line.contains("04128"))
        .collect()
}

/// A file of the right name in the wrong place, or in capitals as some systems write it, is named.
#[test]
fn a_missing_file_says_where_one_of_its_name_is() {
    let mut folder = Folder::default();
    let mut put = |path: &str| folder.insert(path, b"x".to_vec()).expect("goes in");
    put("Roster.csv");
    put("autumn/course.toml");
    put("spring/course.toml");
    let faults = read_term_set_aside(&folder).expect_err("two are missing");
    let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let said = said.join("\n");
    assert!(
        said.contains("found \u{201c}Roster.csv\u{201d}, expected one file"),
        "{said}"
    );
    let both = "found \u{201c}autumn/course.toml\u{201d} and \u{201c}spring/course.toml\u{201d}";
    assert!(said.contains(both), "{said}");
}

#[test]
fn an_impossible_cell_stops_nobody_else() {
    let place = tempfile::tempdir().expect("a directory");
    demo().write(&place.path().join("sound")).expect("written");
    let sound = run(place.path(), &["grade", "sound", "--out", "sound-out"]);
    assert_eq!(sound.code, Some(0), "{}", sound.err);
    let sound = Folder::read(&place.path().join("sound-out")).expect("a folder");
    let cells = [
        ("burette_end_mL", "233.45"),
        ("burette_end_mL", "NaN"),
        ("burette_end_mL", "illegible"),
        ("burette_end_mL", "23.45 mL"),
        ("burette_start_mL", ""),
        ("burette_start_mL", "\u{2212}1.00"),
        ("student_id", "77777"),
    ];
    for (number, (column, cell)) in cells.into_iter().enumerate() {
        let (from, out) = (format!("in{number}"), format!("out{number}"));
        with(column, cell)
            .write(&place.path().join(&from))
            .expect("written");
        let stopped = run(place.path(), &["grade", &from, "--out", &out]);
        assert_eq!(stopped.code, Some(1), "{cell}");
        assert!(!place.path().join(&out).exists());
        let done = run(
            place.path(),
            &["grade", &from, "--out", &out, "--set-aside"],
        );
        assert_eq!(done.code, Some(3), "{cell}: {}", done.err);
        assert!(
            done.err.contains("1 row is set aside as above"),
            "{}",
            done.err
        );
        assert!(
            done.err.contains(&format!("{FILE}:3, column {column}: ")),
            "{}",
            done.err
        );
        let graded = Folder::read(&place.path().join(&out)).expect("a folder");
        let named = text(&graded, "set-aside.csv");
        let mut named = csv::Reader::from_reader(named.as_bytes());
        assert_eq!(
            named.headers().expect("a header"),
            vec!["file", "line", "column", "cell", "student_id"]
        );
        let rows: Vec<csv::StringRecord> = named.records().map(|r| r.expect("a row")).collect();
        let student = if column == "student_id" {
            "77777"
        } else {
            "04128"
        };
        assert_eq!(rows.len(), 1);
        let expected: Vec<&str> = vec![FILE, "3", column, cell, student];
        let found: Vec<&str> = rows[0].iter().map(|c| c.trim_start_matches('\'')).collect();
        assert_eq!(found, expected);
        // everybody else's points are what they were
        let (before, after) = (
            text(&sound, "gradebook.csv"),
            text(&graded, "gradebook.csv"),
        );
        assert_eq!(of_others(&before), of_others(&after), "{cell}");
        if column != "student_id" {
            let flags = text(&graded, "flags.csv");
            let flag =
                format!("well-water-hardness,04128,set-aside,line 3 of {FILE} says “{cell}”");
            assert!(flags.replace('"', "").contains(&flag), "{flag} in {flags}");
            assert!(after.contains("04128,"), "{after}");
        }
    }
}

#[test]
fn what_was_set_aside_goes_with_the_course() {
    let place = tempfile::tempdir().expect("a directory");
    with("burette_end_mL", "4O.40")
        .write(&place.path().join("in"))
        .expect("written");
    let stopped = run(place.path(), &["import", "in", "--db", "c.db"]);
    assert_eq!(stopped.code, Some(1));
    assert!(!place.path().join("c.db").exists());
    let done = run(
        place.path(),
        &["import", "in", "--db", "c.db", "--set-aside"],
    );
    assert_eq!(done.code, Some(3), "{}", done.err);
    assert!(done.err.contains("found “4O.40”"), "{}", done.err);
    let export = |db: &str, out: &str| {
        let said = run(place.path(), &["export", "--db", db, "--out", out]);
        assert_eq!(said.code, Some(0), "{}", said.err);
        Folder::read(&place.path().join(out)).expect("a folder")
    };
    let once = export("c.db", "once");
    assert!(text(&once, "set-aside.csv").contains("4O.40"));
    // the export stands by itself
    let again = run(place.path(), &["import", "once", "--db", "d.db"]);
    assert_eq!(again.code, Some(0), "{}", again.err);
    assert_eq!(export("d.db", "twice"), once);
    let same = run(
        place.path(),
        &["import", "in", "--db", "c.db", "--set-aside"],
    );
    assert!(same.out.contains("nothing would change"), "{}", same.out);
}

#[tokio::test]
async fn somebody_enters_what_can_be_read() {
    let app = TestApp::spawn_new().await;
    let slot = crate::slot("acid", "0042");
    let mut week = crate::week::folder();
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n";
    week.insert("readings/acid.csv", readings.into())
        .expect("fits");
    let folder = saved(
        &week,
        |path| path == "readings/acid.csv",
        |mut rows| {
            let end = rows[0]
                .iter()
                .position(|name| name == "burette_end_mL")
                .expect("a column");
            let row = rows
                .iter_mut()
                .find(|row| row[0] == "0042" && row[1] == "1");
            let row = row.expect("a row");
            row[end] = format!("{}?", row[end]);
            rows
        },
    );
    let (term, rows) = read_term_set_aside(&folder).expect("is read");
    assert_eq!(rows.len(), 1);
    let now = app.clock.now();
    let brought = concordant::desk::bring_in_term(&app.desk, &term, "test", now).await;
    brought.expect("brought in");
    let flags = async || {
        let view = app.desk.view().await.expect("a course");
        let judged = view.judged.get(&slot).expect("judged").clone();
        let flags = judged
            .evaluation
            .flags
            .iter()
            .filter(|f| f.code == FlagCode::SetAside);
        (
            flags.cloned().collect::<Vec<_>>(),
            view.term.submissions.get(&slot).expect("is there").len(),
        )
    };
    let (raised, versions) = flags().await;
    assert_eq!(raised.len(), 1);
    let mut person = app.person("i.quell").await;
    let page = person.get("/review/acid/0042").await;
    assert!(
        page.body.contains("a row could not be read"),
        "{}",
        page.body
    );
    let form = page
        .body
        .split("/review/acid/0042/row\"")
        .nth(1)
        .expect("a form");
    let form = &form[..form.find("</form>").expect("ends")];
    let mut fields: Vec<(String, String)> = Vec::new();
    for input in form.split("<input ").skip(1) {
        let attribute = |name: &str| {
            let from = input.find(&format!("{name}=\""))? + name.len() + 2;
            Some(input[from..].split('"').next()?.to_owned())
        };
        let Some(name) = attribute("name").filter(|name| name != "csrf") else {
            continue;
        };
        fields.push((name, attribute("value").unwrap_or_default()));
    }
    let pairs: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let refused = person.post_form("/review/acid/0042/row", &pairs).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    let end = fields
        .iter_mut()
        .find(|(name, _)| name == "burette_end_mL")
        .expect("a field");
    assert!(
        end.1.ends_with('?'),
        "the raw cell stands in the field: {}",
        end.1
    );
    end.1.pop();
    let pairs: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let entered = person.post_form("/review/acid/0042/row", &pairs).await;
    assert_eq!(entered.status, 303, "{}", entered.body);
    let (raised, now) = flags().await;
    assert_eq!(now, versions + 1);
    assert!(raised[0].evidence.contains('?'), "{}", raised[0].evidence);
    assert!(
        raised[0].evidence.contains("has been entered since"),
        "{}",
        raised[0].evidence
    );
    // the points are those of the week as it was
    let sound = concordant::files::read_term(&week).expect("is sound");
    let view = app.desk.view().await.expect("a course");
    assert_eq!(
        view.judged
            .get(&slot)
            .expect("is there")
            .evaluation
            .marks
            .total,
        sound.judge(&slot).expect("judged").evaluation.marks.total
    );
    let page = person.get("/review/acid/0042").await;
    assert!(
        !page.body.contains("Enter what can be read"),
        "{}",
        page.body
    );
}

/// A whole row of cells that nobody could read is still a row of a student.
#[test]
fn every_row_of_a_student_may_be_unread() {
    let all = saved(
        &demo(),
        |path| path == FILE,
        |rows| {
            cells(rows, |name, cell| match name {
                "burette_end_mL" => format!("{cell} ml"),
                _ => cell.to_owned(),
            })
        },
    );
    let (term, rows) = read_term_set_aside(&all).expect("is read");
    let count = text(&demo(), FILE).lines().count() - 1;
    assert_eq!(rows.len(), count);
    let judged = term
        .judge(&crate::slot("well-water-hardness", "04128"))
        .expect("judged");
    assert!(judged.evaluation.outcome.is_none());
    assert_eq!(
        judged
            .evaluation
            .flags
            .iter()
            .filter(|f| f.code == FlagCode::SetAside)
            .count(),
        term.set_aside
            .get(&crate::slot("well-water-hardness", "04128"))
            .expect("is there")
            .len()
    );
}

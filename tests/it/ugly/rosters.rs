//! Rosters as registrars' systems, spreadsheets and people make them: each is taken, or refused with the remedy.

use concordant::course::Student;
use concordant::files::tables::{RosterRead, read_roster};

use super::books::{open_document, workbook};
use super::{demo, run};
use crate::app::TestApp;

pub const PEOPLE: [[&str; 4]; 3] = [
    ["00712", "Müller", "Anna", "A"],
    ["4100871", "García", "José", "B"],
    ["00713", "Lovelace", "Ada", "A"],
];

/// What every roster that is taken says.
fn people() -> Vec<[String; 4]> {
    PEOPLE.map(|one| one.map(str::to_owned)).to_vec()
}

fn told(read: &RosterRead) -> Vec<[String; 4]> {
    let one = |s: &Student| {
        [
            s.id.to_string(),
            s.family_name.clone(),
            s.given_name.clone(),
            s.section.to_string(),
        ]
    };
    read.students.iter().map(one).collect()
}

/// Lines with these headers, and a cell of each person by the number of the column in [`PEOPLE`].
fn lines(headers: &[&str], order: &[usize], separator: &str, end: &str) -> String {
    let mut text = headers.join(separator) + end;
    for person in PEOPLE {
        let cells: Vec<&str> = order.iter().map(|place| person[*place]).collect();
        text.push_str(&(cells.join(separator) + end));
    }
    text
}

fn ours(separator: &str, end: &str) -> String {
    let headers = ["student_id", "family_name", "given_name", "section"];
    lines(&headers, &[0, 1, 2, 3], separator, end)
}

fn windows_1252(text: &str) -> Vec<u8> {
    // every letter in these files is in Latin-1, where the two are the same
    text.chars()
        .map(|c| u8::try_from(u32::from(c)).expect("is Latin-1"))
        .collect()
}

fn utf_16(text: &str, big: bool, mark: bool) -> Vec<u8> {
    let units = mark
        .then_some(0xfeff)
        .into_iter()
        .chain(text.encode_utf16());
    let bytes = |unit: u16| {
        if big {
            unit.to_be_bytes()
        } else {
            unit.to_le_bytes()
        }
    };
    units.flat_map(bytes).collect()
}

fn taken() -> Vec<(&'static str, Vec<u8>)> {
    let german = ["Matrikelnummer", "Vorname", "Nachname", "Gruppe"];
    let in_order = [0, 2, 1, 3];
    let mut all: Vec<(&str, Vec<u8>)> = vec![
        ("semicolons", ours(";", "\r\n").into()),
        ("tabs", ours("\t", "\r\n").into()),
        (
            "windows-1252",
            windows_1252(&lines(&german, &in_order, ";", "\r\n")),
        ),
        (
            "byte-order mark",
            format!("\u{feff}{}", ours(",", "\r\n")).into(),
        ),
        (
            "utf-16 little-endian",
            utf_16(&ours("\t", "\r\n"), false, true),
        ),
        ("utf-16 big-endian", utf_16(&ours("\t", "\r\n"), true, true)),
        (
            "utf-16 without a mark",
            utf_16(&ours("\t", "\r\n"), false, false),
        ),
        ("lone CR", ours(";", "\r").into()),
        (
            "sep= line",
            format!("sep=;\r\n{}", ours(";", "\r\n")).into(),
        ),
        (
            "capitals",
            lines(
                &["STUDENT ID", "Last Name", "First Name", "SECTION"],
                &[0, 1, 2, 3],
                ",",
                "\n",
            )
            .into(),
        ),
        (
            "spanish",
            lines(
                &["Número de estudiante", "Nombre", "Apellidos", "Grupo"],
                &in_order,
                ";",
                "\n",
            )
            .into(),
        ),
        (
            "french",
            lines(
                &["N° étudiant", "Prénom", "Nom", "Groupe"],
                &in_order,
                ";",
                "\n",
            )
            .into(),
        ),
        (
            "a title above",
            format!(
                "Chemistry 101;;;\r\nAutumn 2026;;;\r\n\r\n{}",
                lines(&german, &in_order, ";", "\r\n")
            )
            .into(),
        ),
        (
            "a total below",
            format!(
                "{}\r\nTotal;;;\r\nSumme: 3;;;\r\n",
                ours(";", "\r\n").trim_end()
            )
            .into(),
        ),
        (
            "the same row twice",
            format!("{}4100871,García,José,B\n", ours(",", "\n")).into(),
        ),
    ];
    let mut extra =
        "Org Unit,Student ID,Last Name,First Name,Section,Programme,Enrolled on\n".to_owned();
    let mut both = "\"ID\";\"Name\";\"Section\"\r\n".to_owned();
    let mut broken = "\"Student\nID\",\"Last\nName\",First Name,Section\n".to_owned();
    let mut trailing = "student_id,family_name,given_name,section,,\n\n".to_owned();
    for [id, family, given, section] in PEOPLE {
        extra.push_str(&format!(
            "77,{id},{family},{given},{section},BSc,01/10/2026\n"
        ));
        both.push_str(&format!("\"{id}\";\"{family}, {given}\";\"{section}\"\r\n"));
        broken.push_str(&format!("{id},\"{family}\n\",{given},{section}\n"));
        trailing.push_str(&format!("{id},{family},{given},{section},,\n,,,,,\n\n"));
    }
    all.push(("three extra columns", extra.into()));
    all.push(("both names in one column", both.into()));
    all.push(("line breaks within cells", broken.into()));
    all.push(("blank lines and trailing separators", trailing.into()));
    all
}

#[test]
fn rosters_are_taken_as_they_are() {
    for (name, bytes) in taken() {
        let read = read_roster(name, &bytes).unwrap_or_else(|faults| panic!("{name}: {faults:?}"));
        assert_eq!(told(&read), people(), "{name}");
    }
}

#[test]
fn what_is_said_of_nobody_is_passed_over_by_line() {
    let text = format!("{}Total;3;;\r\n", ours(";", "\r\n"));
    let read = read_roster("r.csv", text.as_bytes()).expect("is read");
    assert_eq!(read.passed_over, [(5, "Total 3".to_owned())]);
}

#[test]
fn what_cannot_be_meant_is_refused_with_the_remedy() {
    let with = |line: &str| format!("{}{line}\n", ours(",", "\n")).into_bytes();
    let cases: [(&str, Vec<u8>, &str); 8] = [
        (
            "two names",
            with("4100871,Garcia,Josefa,B"),
            "two names.csv:5, column student_id: found “4100871” again as Garcia, Josefa",
        ),
        (
            "zeros",
            with("712,Müller,Anna,A"),
            "line 2 has 00712; where a spreadsheet took them off, format the column as text",
        ),
        (
            "powers",
            with("4.10E+06,García,José,B"),
            "format the column as text and save it again",
        ),
        (
            "old",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec(),
            "save it as .xlsx",
        ),
        ("pdf", b"%PDF-1.7".to_vec(), "this is a PDF file"),
        (
            "given first",
            "id,name,section\n1,Ada Lovelace,A\n".into(),
            "found “Ada Lovelace”, expected a name as Family, Given",
        ),
        (
            "open quote",
            "student_id,family_name,given_name,section\n1,\"A,B,C\n".into(),
            "a quotation mark that is not closed",
        ),
        (
            "no section",
            "id;Nachname;Vorname\n1;A;B\n".into(),
            "found no column section, expected one",
        ),
    ];
    for (name, bytes, words) in cases {
        let file = format!("{name}.csv");
        let faults = read_roster(&file, &bytes).expect_err(name);
        let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
        assert!(said.iter().all(|line| line.starts_with(&file)), "{said:?}");
        assert!(
            said.iter().any(|line| line.contains(words)),
            "{words} in {said:?}"
        );
    }
}

#[test]
fn workbooks_are_taken_whatever_the_sheet() {
    let read = read_roster("r.xlsx", &workbook()).expect("is read");
    let ids: Vec<String> = read.students.iter().map(|s| s.id.to_string()).collect();
    assert_eq!(ids, ["4100870", "4100871", "4100872"]);
    assert_eq!(read.students[1].family_name, "García");
    let read = read_roster("r.ods", &open_document()).expect("is read");
    assert_eq!(told(&read), people());
}

#[test]
fn a_roster_comes_in_on_the_command_line() {
    let place = tempfile::tempdir().expect("a directory");
    let at = place.path();
    demo().write(&at.join("demo")).expect("written");
    assert_eq!(run(at, &["import", "demo", "--db", "c.db"]).code, Some(0));
    std::fs::write(at.join("Liste.ods"), open_document()).expect("written");
    let looked = run(at, &["import", "Liste.ods", "--db", "c.db"]);
    assert_eq!(looked.code, Some(0), "{}", looked.err);
    assert!(
        looked.out.contains("  joins 00712 Müller, Anna, section A"),
        "{}",
        looked.out
    );
    assert!(
        looked.out.contains("Nothing is changed yet"),
        "{}",
        looked.out
    );
    let done = run(at, &["import", "Liste.ods", "--db", "c.db", "--yes"]);
    assert_eq!(done.code, Some(0), "{}", done.err);
    let again = run(at, &["import", "Liste.ods", "--db", "c.db"]);
    assert!(again.out.contains("0 students join"), "{}", again.out);
    // headers that say nothing: the columns are named once, and known from then on
    std::fs::write(at.join("odd.csv"), "K1;K2;K3;K4\n00799;Neu;Nora;B\n").expect("written");
    let odd = run(at, &["import", "odd.csv", "--db", "c.db"]);
    assert_eq!(odd.code, Some(1));
    assert!(
        odd.err
            .contains("odd.csv:1: found the columns K1, K2, K3, K4"),
        "{}",
        odd.err
    );
    let mut line = vec!["import", "odd.csv", "--db", "c.db", "--yes"];
    for column in [
        "student_id=K1",
        "family_name=K2",
        "given_name=K3",
        "section=K4",
    ] {
        line.extend(["--column", column]);
    }
    let named = run(at, &line);
    assert_eq!(named.code, Some(0), "{}", named.err);
    let remembered = run(at, &["import", "odd.csv", "--db", "c.db"]);
    assert_eq!(remembered.code, Some(0), "{}", remembered.err);
    assert!(
        remembered.out.contains("1 is as it was"),
        "{}",
        remembered.out
    );
}

#[tokio::test]
async fn columns_are_chosen_on_the_page_and_remembered() {
    let app = crate::week::app().await;
    let mut person = app.person("i.quell").await;
    let odd = "K1;K2;K3;K4\r\n0042;Fennimore;Ada;A\r\n00799;Neu;Nora;B\r\n";
    let asked = person
        .post_file("/course/roster/preview", "odd.csv", odd.as_bytes())
        .await;
    assert_eq!(asked.status, 422);
    assert!(
        asked.body.contains("K1 (such as 0042, 00799)"),
        "{}",
        asked.body
    );
    let packed = asked
        .body
        .split("name=\"packed\" value=\"")
        .nth(1)
        .expect("a field");
    let packed = packed.split('"').next().expect("a value").to_owned();
    let chosen = [
        ("file", "odd.csv"),
        ("packed", packed.as_str()),
        ("student_id", "0"),
        ("family_name", "1"),
        ("given_name", "2"),
        ("section", "3"),
    ];
    let looked = person.post_form("/course/roster/columns", &chosen).await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    assert!(looked.body.contains("1 join the roster"), "{}", looked.body);
    let again = person
        .post_file("/course/roster/preview", "odd.csv", odd.as_bytes())
        .await;
    assert_eq!(again.status, 200, "{}", again.body);
    let without: [(&str, &str); 3] = [
        ("file", "odd.csv"),
        ("packed", &packed),
        ("student_id", "0"),
    ];
    let refused = person.post_form("/course/roster/columns", &without).await;
    assert_eq!(refused.status, 422);
    let none: &TestApp = &app;
    assert_eq!(
        none.desk
            .view()
            .await
            .expect("a course")
            .term
            .students
            .len(),
        3
    );
}

/// How a text is saved.
type Save = fn(&str) -> Vec<u8>;

/// Readings in the course folder as a spreadsheet saves them: other separators and encodings, the same grades.
#[test]
fn readings_and_roster_of_a_folder_may_be_in_any_dialect() {
    let place = tempfile::tempdir().expect("a directory");
    let at = place.path();
    demo().write(&at.join("plain")).expect("written");
    let grade = |folder: &str, out: &str| {
        let said = run(at, &["grade", folder, "--out", out]);
        assert_eq!(said.code, Some(0), "{folder}: {}", said.err);
        std::fs::read(at.join(out).join("results.csv")).expect("results")
    };
    let plain = grade("plain", "plain-out");
    let dialects: [(&str, Save); 4] = [
        ("semicolons", |text| {
            text.replace(',', ";").replace('\n', ";;\r\n").into()
        }),
        ("tabs", |text| utf_16(&text.replace(',', "\t"), false, true)),
        ("1252", |text| windows_1252(text)),
        ("cr", |text| text.replace('\n', "\r").into()),
    ];
    for (name, save) in dialects {
        demo().write(&at.join(name)).expect("written");
        for file in ["roster.csv", "readings/well-water-hardness.csv"] {
            let path = at.join(name).join(file);
            let text = std::fs::read_to_string(&path).expect("is read");
            assert!(!text.contains('"'), "{file}");
            std::fs::write(&path, save(&text)).expect("written");
        }
        assert_eq!(grade(name, &format!("{name}-out")), plain, "{name}");
    }
    std::fs::write(
        at.join("plain/readings/well-water-hardness.xlsx"),
        workbook(),
    )
    .expect("written");
    let said = run(at, &["grade", "plain", "--out", "x"]);
    assert_eq!(said.code, Some(1));
    assert!(
        said.err.contains("this is a spreadsheet file"),
        "{}",
        said.err
    );
}

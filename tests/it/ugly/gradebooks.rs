//! Gradebooks of other people: filled in with every other cell as it was, or refused with the remedy.

use std::io::{Cursor, Read as _};
use std::path::Path;

use calamine::{Data, Reader as _, open_workbook_auto_from_rs};
use rust_xlsxwriter::{Format, Formula, Workbook};

use super::{Said, demo, run};

pub fn course() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a directory");
    demo().write(&place.path().join("demo")).expect("written");
    let said = run(place.path(), &["import", "demo", "--db", "c.db"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let said = run(place.path(), &["grade", "demo", "--out", "grades"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    place
}

/// The total of a student by the gradebook.
pub fn total(at: &Path, id: &str) -> String {
    let book = std::fs::read_to_string(at.join("grades/gradebook.csv")).expect("grades");
    let line = book
        .lines()
        .find(|line| line.starts_with(id))
        .expect("the student");
    line.rsplit(',').next().expect("a total").to_owned()
}

pub fn fill(at: &Path, name: &str, bytes: &[u8], more: &[&str]) -> (Said, Vec<u8>) {
    std::fs::write(at.join(name), bytes).expect("written");
    let mut line = vec!["fill", name, "--db", "c.db", "--out", "out", "--force"];
    line.extend(more);
    std::fs::remove_file(at.join("out")).ok();
    let said = run(at, &line);
    let out = std::fs::read(at.join("out")).unwrap_or_default();
    (said, out)
}

/// A name, what stands before the cell and after it, options, what is written.
type Filled<'f> = (&'f str, &'f [u8], &'f [u8], &'f [&'f str], &'f str);

#[test]
fn text_keeps_every_byte_but_the_points() {
    let place = course();
    let at = place.path();
    let mine = total(at, "04128");
    let comma = mine.replace('.', ",");
    let cases: [Filled; 9] = [
        (
            "semicolons and a comma",
            b"id;total;x\r\n04128;",
            b";1,5\r\n",
            &["--decimal-comma"],
            &comma,
        ),
        ("tabs", b"id\ttotal\n04128\t", b"\n", &[], &mine),
        (
            "windows-1252",
            b"id;N\xe4me;total\r\n04128;M\xfcller;",
            b"\r\n",
            &[],
            &mine,
        ),
        (
            "byte-order mark",
            b"\xef\xbb\xbfid,total\r\n04128,",
            b"\r\n",
            &[],
            &mine,
        ),
        ("lone CR", b"id,total\r04128,", b"\r", &[], &mine),
        (
            "a title above",
            b"Chemistry 101,,\r\n\r\nid,name,total\r\n04128,Abara,",
            b"\r\nx1,Other,\r\n",
            &[],
            &mine,
        ),
        (
            "a total below",
            b"id,name,total\n04128,Abara,",
            b"\n,,\nTotal,1\n",
            &[],
            &mine,
        ),
        (
            "two header lines",
            b"id,name,total\n,,(max 60)\n04128,Abara,",
            b"\n",
            &[],
            &mine,
        ),
        (
            "an id kept as text",
            b"id,total\n=\"04128\",",
            b"\n",
            &[],
            &mine,
        ),
    ];
    for (name, before, after, more, points) in cases {
        let file = [before, after].concat();
        let mut line = vec!["--id", "id", "--total", "total"];
        line.extend(more);
        let (said, out) = fill(at, "mine.csv", &file, &line);
        assert_eq!(said.code, Some(0), "{name}: {}", said.err);
        let expected = [before, points.as_bytes(), after].concat();
        assert_eq!(
            String::from_utf8_lossy(&out),
            String::from_utf8_lossy(&expected),
            "{name}"
        );
        assert_eq!(out, expected, "{name}");
    }
}

#[test]
fn grades_that_stand_there_stay_unless_they_are_to_be_replaced() {
    let place = course();
    let at = place.path();
    let mine = total(at, "04128");
    for old in ["12/15", "11.5", "85 %", "12,5"] {
        let file = format!("id;total\n04128;{old}\n");
        let (said, out) = fill(
            at,
            "mine.csv",
            file.as_bytes(),
            &["--id", "id", "--total", "total"],
        );
        assert_eq!(said.code, Some(0), "{}", said.err);
        assert_eq!(out, file.as_bytes(), "{old}");
        let line = ["--id", "id", "--total", "total", "--replace"];
        let (said, out) = fill(at, "mine.csv", file.as_bytes(), &line);
        assert_eq!(said.code, Some(0), "{}", said.err);
        assert_eq!(out, format!("id;total\n04128;{mine}\n").as_bytes(), "{old}");
    }
}

#[test]
fn files_that_are_not_filled_say_what_to_do() {
    let place = course();
    let at = place.path();
    let cases: [(&str, &[u8], &str); 4] = [
        (
            "m.csv",
            b"\xff\xfei\0d\0",
            "save it again as \u{201c}CSV UTF-8\u{201d}",
        ),
        (
            "m.xls",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
            "save it as .xlsx",
        ),
        (
            "m.ods",
            b"PK\x03\x04....mimetypeapplication/vnd.oasis.opendocument.spreadsheet",
            "save it as .xlsx",
        ),
        ("m.csv", b"id,total\n04128\n", "found 1 cells, expected 2"),
    ];
    for (name, bytes, words) in cases {
        let (said, out) = fill(at, name, bytes, &["--id", "id", "--total", "total"]);
        assert_eq!(said.code, Some(1), "{name}");
        assert!(said.err.contains(words), "{words} in {}", said.err);
        assert!(said.err.starts_with(name), "{}", said.err);
        assert!(out.is_empty());
    }
}

/// A gradebook with a title, formats, formulas, a hidden row, merged cells and another sheet.
fn workbook() -> Vec<u8> {
    let mut book = Workbook::new();
    let bold = Format::new().set_bold();
    let points = Format::new().set_num_format("0.0");
    let sheet = book.add_worksheet();
    sheet.set_name("Marks").expect("a name");
    sheet
        .merge_range(0, 0, 0, 4, "Chemistry 101, autumn", &bold)
        .expect("merged");
    for (column, name) in ["SIS ID", "Name", "Lab", "Exam", "Sum"]
        .into_iter()
        .enumerate()
    {
        sheet
            .write_with_format(2, u16::try_from(column).expect("few"), name, &bold)
            .expect("written");
    }
    let rows = [
        ("04128", "Abara, Noor"),
        ("x77", "Visitor"),
        ("04126", "Barrow, Hugo"),
    ];
    for (row, (id, name)) in (3..).zip(rows) {
        sheet.write(row, 0, id).expect("written");
        sheet.write(row, 1, name).expect("written");
        if row != 5 {
            sheet.write_blank(row, 2, &points).expect("written");
        }
        sheet
            .write_with_format(row, 3, 40.5, &points)
            .expect("written");
        let sum = Formula::new(format!("=C{0}+D{0}", row + 1)).set_result("40.5");
        sheet.write_formula(row, 4, sum).expect("written");
    }
    sheet.set_row_hidden(4).expect("hidden");
    let other = book.add_worksheet();
    other.write(0, 0, "Do not touch").expect("written");
    book.save_to_buffer().expect("a workbook")
}

fn parts(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip file");
    let mut all = Vec::new();
    for place in 0..zip.len() {
        let mut entry = zip.by_index(place).expect("an entry");
        let mut content = Vec::new();
        entry.read_to_end(&mut content).expect("unpacks");
        all.push((entry.name().to_owned(), content));
    }
    all
}

fn cells(bytes: &[u8]) -> (Vec<Vec<Data>>, Vec<Vec<String>>) {
    let mut book = open_workbook_auto_from_rs(Cursor::new(bytes.to_vec())).expect("a workbook");
    let range = book.worksheet_range("Marks").expect("a sheet");
    let formulas = book.worksheet_formula("Marks").expect("formulas");
    (
        range.rows().map(<[Data]>::to_vec).collect(),
        formulas.rows().map(<[String]>::to_vec).collect(),
    )
}

#[test]
fn a_workbook_keeps_every_other_cell_formula_and_part() {
    let place = course();
    let at = place.path();
    let book = workbook();
    let (said, out) = fill(
        at,
        "mine.xlsx",
        &book,
        &["--id", "SIS ID", "--total", "Lab"],
    );
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(
        said.err
            .contains("mine.xlsx:5: nobody of the course is x77"),
        "{}",
        said.err
    );
    let ((before, formulas), (after, formulas_after)) = (cells(&book), cells(&out));
    assert_eq!(formulas, formulas_after);
    for (row, (old, new)) in before.iter().zip(&after).enumerate() {
        for (column, (old, new)) in old.iter().zip(new).enumerate() {
            let filled = |id: &str| Data::Float(total(at, id).parse().expect("a number"));
            match (row, column) {
                (3, 2) => assert_eq!(*new, filled("04128")),
                (5, 2) => assert_eq!(*new, filled("04126")),
                // sums wait for whoever opens the file: no program takes the old ones for those of the points
                (3..=5, 4) => assert_eq!(*new, Data::Empty),
                _ => assert_eq!(old, new, "row {row}, column {column}"),
            }
        }
    }
    let (before, after) = (parts(&book), parts(&out));
    let names = |parts: &[(String, Vec<u8>)]| parts.iter().map(|p| p.0.clone()).collect::<Vec<_>>();
    assert_eq!(names(&before), names(&after));
    for ((name, old), (_, new)) in before.iter().zip(&after) {
        let changed = name == "xl/worksheets/sheet1.xml";
        assert_eq!(old == new, !changed, "{name}");
    }
    // the cell keeps its format
    let sheet = String::from_utf8(
        after
            .iter()
            .find(|p| p.0.ends_with("sheet1.xml"))
            .expect("a sheet")
            .1
            .clone(),
    );
    let sheet = sheet.expect("is text");
    assert!(sheet.contains("<c r=\"C4\" s=\""), "{sheet}");
    // sums are worked out anew when it is opened
    let book_part = String::from_utf8_lossy(
        &after
            .iter()
            .find(|p| p.0 == "xl/workbook.xml")
            .expect("a part")
            .1,
    )
    .into_owned();
    assert!(book_part.contains("fullCalcOnLoad=\"1\""), "{book_part}");

    let (said, _) = fill(
        at,
        "mine.xlsx",
        &book,
        &["--id", "SIS ID", "--total", "Sum", "--replace"],
    );
    assert_eq!(said.code, Some(1));
    assert!(
        said.err.contains("found formulas in the column “Sum”"),
        "{}",
        said.err
    );
}

#[test]
fn a_workbook_whose_first_columns_are_empty_is_filled_in_where_its_table_stands() {
    let place = course();
    let at = place.path();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Marks").expect("a sheet");
    for (column, name) in [(2, "id"), (3, "name"), (4, "total")] {
        sheet.write(1, column, name).expect("is written");
    }
    sheet.write(2, 2, "04128").expect("is written");
    sheet.write(2, 3, "Abara").expect("is written");
    let bytes = book.save_to_buffer().expect("a workbook");
    let line = ["--id", "id", "--total", "total"];
    let (said, out) = fill(at, "mine.xlsx", &bytes, &line);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let mut book = open_workbook_auto_from_rs(Cursor::new(out)).expect("a workbook");
    let range = book.worksheet_range("Marks").expect("a sheet");
    let cell = |column| range.get_value((2, column)).cloned();
    let points = total(at, "04128").parse().expect("a number");
    assert_eq!(cell(3), Some(Data::String("Abara".to_owned())));
    assert_eq!(cell(4), Some(Data::Float(points)));
}

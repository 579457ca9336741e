//! What a reasonable person expects of files of the world, written down before the program was tried on them.

use std::io::Cursor;

use calamine::Reader as _;

use super::filled::{self, book, expected, points, read};
use super::rosters::{HEADER, PEOPLE, cell, document, noise, people, plain, prefixed, table};
use super::{
    Book, blank, brought_in, empty_course, error, fill, formula, graded_course, number, sheet,
    text, texts,
};

const STYLES: &str = "xl/styles.xml";

fn one_sheet(rows: &[Vec<String>]) -> Vec<u8> {
    Book::of(&[("L", "visible", sheet(rows))]).packed()
}

/// A table of an open document with these cells below the header.
fn open_table(name: &str, attributes: &str, of: impl Fn(usize, &str) -> String) -> String {
    let rows = std::iter::once(&HEADER).chain(&PEOPLE).map(|one| {
        let cells = (0..).zip(one).map(|(place, text)| match one == &HEADER {
            true => cell(&format!("<text:p>{text}</text:p>")),
            false => of(place, text),
        });
        format!(
            "<table:table-row>{}</table:table-row>",
            cells.collect::<String>()
        )
    });
    format!(
        "<table:table table:name=\"{name}\"{attributes}>{}</table:table>",
        rows.collect::<String>()
    )
}

fn plain_cell(text: &str) -> String {
    cell(&format!("<text:p>{text}</text:p>"))
}

fn is_read(name: &str, bytes: &[u8], expected: &[Vec<String>]) {
    let place = empty_course();
    let read = brought_in(place.path(), name, bytes);
    let read = read.unwrap_or_else(|said| panic!("{name} is refused: {}", said.err));
    assert_eq!(read, expected, "{name}");
}

/// Refused with one of these words outside of the file's name.
fn is_refused(name: &str, bytes: &[u8], words: &[&str]) {
    let place = empty_course();
    match brought_in(place.path(), name, bytes) {
        Ok(read) => panic!("{name} is read as {read:?}"),
        Err(said) => {
            let told = said.err.replace(name, "").replace("html>", "");
            let told = told.to_lowercase();
            let named = words.iter().any(|word| told.contains(word));
            assert!(named, "{name}: {}", said.err);
        }
    }
}

/// The last cell of a row is not written where it is empty: the address of a student who has none.
#[test]
fn a_student_without_an_address_in_the_last_column_is_read() {
    let mut expected = people();
    expected[1][4].clear();
    let mut absent = table();
    absent[2].truncate(4);
    is_read("absent.xlsx", &one_sheet(&absent), &expected);
    let mut formatted = table();
    formatted[2][4] = blank(0);
    is_read("formatted.xlsx", &one_sheet(&formatted), &expected);
    let open = open_table("L", "", |_, text| match text == PEOPLE[1][4] {
        true => String::new(),
        false => plain_cell(text),
    });
    is_read("absent.ods", &document(&open, ""), &expected);
    let mut lines = HEADER.join(",") + "\n";
    for one in &expected {
        let cells = if one[4].is_empty() { &one[..4] } else { one };
        lines.push_str(&(cells.join(",") + "\n"));
    }
    is_read("absent.csv", lines.as_bytes(), &expected);
}

/// What nobody sees is not what somebody brings in (ISO/IEC 29500-1, 18.18.68; OpenDocument 1.3 part 3, table:display).
#[test]
fn a_hidden_sheet_with_an_old_roster_is_passed_over() {
    let old = ["0099999", "Old", "Student", "A", "old@uni.example"];
    for state in ["hidden", "veryHidden"] {
        let before = sheet(&[texts(&HEADER), texts(&old)]);
        let book = Book::of(&[
            ("2025", state, before),
            ("2026", "visible", sheet(&table())),
        ]);
        is_read("hidden.xlsx", &book.packed(), &people());
    }
    let style = "<style:style style:name=\"ta1\" style:family=\"table\"><style:table-properties table:display=\"false\"/></style:style>";
    let row = |cells: &[&str]| {
        let cells: String = cells.iter().map(|text| plain_cell(text)).collect();
        format!("<table:table-row>{cells}</table:table-row>")
    };
    let before = format!(
        "<table:table table:name=\"2025\" table:style-name=\"ta1\">{}{}</table:table>",
        row(&HEADER),
        row(&old)
    );
    let tables = format!(
        "{before}{}",
        open_table("2026", "", |_, text| plain_cell(text))
    );
    is_read("hidden.ods", &document(&tables, style), &people());
}

/// A number shown with seven digits is seen with its zeros, and its owner knows no other.
#[test]
fn ids_are_read_with_the_zeros_that_are_seen() {
    let mut rows = table();
    for (row, one) in rows.iter_mut().skip(1).zip(PEOPLE) {
        row[0] = number(one[0].trim_start_matches('0'), 1);
    }
    is_read("zeros.xlsx", &one_sheet(&rows), &people());
}

/// A spreadsheet keeps fifteen digits of a number: of an id of eighteen three are gone, and no two can be told apart.
#[test]
fn ids_of_which_digits_are_lost_are_refused() {
    let mut rows = table();
    rows[4][0] = number("2.0261234567890001E+17", 0);
    is_refused("digits.xlsx", &one_sheet(&rows), &["text", "digits"]);
}

#[test]
fn errors_are_no_names_and_no_sections() {
    let mut sections = table();
    sections[3][3] = error("#N/A");
    is_refused("section.xlsx", &one_sheet(&sections), &["#n/a"]);
    let mut names = table();
    names[3][1] = formula("-Smith", "e", "#NAME?");
    is_refused("name.xlsx", &one_sheet(&names), &["#name?"]);
}

/// “3-10” that a spreadsheet took for the third of October.
#[test]
fn a_section_that_became_a_day_is_refused() {
    let mut rows = table();
    for row in &mut rows[1..] {
        row[3] = number("46298", 3);
    }
    is_refused("day.xlsx", &one_sheet(&rows), &["date", "a day"]);
    let day = "<table:table-cell office:value-type=\"date\" office:date-value=\"2026-10-03\"><text:p>3-10</text:p></table:table-cell>";
    let open = open_table("L", "", |place, text| match place {
        3 => day.to_owned(),
        _ => plain_cell(text),
    });
    is_refused("day.ods", &document(&open, ""), &["date", "a day"]);
}

/// A sheet to each section: both are brought in, or it is said that only one is.
#[test]
fn a_second_sheet_with_a_roster_is_not_passed_over_in_silence() {
    let place = empty_course();
    let all = table();
    let first = [vec![all[0].clone()], all[1..3].to_vec()].concat();
    let second = [vec![all[0].clone()], all[3..].to_vec()].concat();
    let book = Book::of(&[
        ("Sec A", "visible", sheet(&first)),
        ("Sec B", "visible", sheet(&second)),
    ]);
    std::fs::write(place.path().join("two.xlsx"), book.packed()).expect("written");
    let line = ["import", "two.xlsx", "--db", "c.db"];
    let said = super::run(place.path(), &line);
    let (out, err) = (&said.out, &said.err);
    assert!(
        out.contains(PEOPLE[3][0]) || out.contains("Sec B") || err.contains("Sec B"),
        "{out}{err}"
    );
}

/// The relationship of the package names the workbook, whatever it is called (ISO/IEC 29500-1, 12.3.23).
#[test]
fn the_workbook_part_may_have_any_name() {
    let name = |text: &str| text.replace("xl/workbook.xml", "xl/workbook2.xml");
    let book = plain()
        .renamed(|path| name(path).replace("workbook.xml.rels", "workbook2.xml.rels"))
        .changed("_rels/.rels", name)
        .changed("[Content_Types].xml", name);
    is_read("two.xlsx", &book.packed(), &people());
}

#[test]
fn a_workbook_with_macros_is_read_under_its_own_name() {
    let book = plain()
        .changed("[Content_Types].xml", |text| {
            text.replace(
                "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
                "application/vnd.ms-excel.sheet.macroEnabled.main+xml",
            )
        })
        .with("xl/vbaProject.bin", noise(5_000));
    is_read("list.xlsm", &book.packed(), &people());
}

/// A bitmap of one colour, as a scan or a logo leaves it: the roster beside it is small.
#[test]
fn a_large_picture_is_no_reason_to_refuse_a_roster() {
    let book = plain().with("xl/media/image1.bmp", vec![255; 70_000_000]);
    is_read("picture.xlsx", &book.packed(), &people());
}

#[test]
fn a_file_with_a_password_is_named_so() {
    let words = ["password", "encrypted"];
    let bytes = include_bytes!("saved/roster-password.xlsx");
    is_refused("locked.xlsx", bytes, &words);
    let parts = super::parts(&document("", ""));
    let keyed = "<manifest:manifest xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\"><manifest:file-entry manifest:full-path=\"content.xml\" manifest:media-type=\"text/xml\" manifest:size=\"4000\"><manifest:encryption-data manifest:checksum-type=\"SHA1/1K\" manifest:checksum=\"AA==\"/></manifest:file-entry></manifest:manifest>";
    let parts = parts.into_iter().map(|(path, bytes)| {
        let bytes = match path.as_str() {
            "content.xml" => noise(4_000),
            "META-INF/manifest.xml" => keyed.as_bytes().to_vec(),
            _ => bytes,
        };
        (path, bytes)
    });
    let locked = Book(parts.collect());
    is_refused("locked.ods", &locked.packed(), &words);
}

/// As registrars' systems export lists.
#[test]
fn a_web_page_under_a_spreadsheets_name_is_named_so() {
    let row = |cells: &[&str]| format!("<tr><td>{}</td></tr>", cells.join("</td><td>"));
    let rows: String = PEOPLE.iter().map(|one| row(one)).collect();
    let page = format!(
        "<html><body><table>{}{rows}</table></body></html>",
        row(&HEADER)
    );
    for name in ["list.xls", "list.xlsx", "list.csv"] {
        is_refused(name, page.as_bytes(), &["html", "web page"]);
    }
}

/// Written by a program that works out nothing.
#[test]
fn formulas_that_were_never_worked_out_are_named_so() {
    let mut rows = table();
    for row in &mut rows[1..] {
        row[0] = formula("TEXT(Z1,\"0000000\")", "str", "").replace("<v></v>", "");
    }
    is_refused("formulas.xlsx", &one_sheet(&rows), &["formula"]);
}

/// Half the programs that open a file show what was worked out when it was saved: no sum without the points may stay.
#[test]
fn no_sum_of_before_stays_beside_new_points() {
    let place = graded_course();
    let at = place.path();
    for (name, bytes) in [
        ("a.xlsx", &include_bytes!("saved/marks-a.xlsx")[..]),
        ("b.xlsx", &include_bytes!("saved/marks-b.xlsx")[..]),
    ] {
        let (filled, _) = fill(at, name, bytes).unwrap_or_else(|said| panic!("{}", said.err));
        let rows = read(&filled, "Marks");
        for (row, (id, points)) in rows[1..].iter().zip(expected(at)) {
            let quiz: f64 = row[2].to_string().parse().expect("a number");
            let points: f64 = points.parse().expect("points");
            let shown = row.get(4).map(ToString::to_string).unwrap_or_default();
            let is_right = shown
                .parse()
                .is_ok_and(|sum: f64| (sum - quiz - points).abs() < 1e-9);
            assert!(
                shown.is_empty() || is_right,
                "{name}: {id} {quiz} + {points} = {shown}"
            );
        }
        let mut book =
            calamine::open_workbook_auto_from_rs(Cursor::new(&filled[..])).expect("a workbook");
        let summary = book.worksheet_range("Summary").expect("a sheet");
        let shown = summary
            .get((0, 1))
            .map(ToString::to_string)
            .unwrap_or_default();
        assert_ne!(shown, "34", "{name}: the sum of all before");
    }
}

/// 20 points would be seen as 2000 %, or as a day of 1900.
#[test]
fn points_do_not_go_into_percentages_or_days_in_silence() {
    let place = graded_course();
    for (style, words) in [(2, ["percent", "%"]), (3, ["date", "a day"])] {
        let mut rows = filled::table();
        for row in &mut rows[1..] {
            row[2] = blank(style);
        }
        let told = match fill(place.path(), "mine.xlsx", &book(sheet(&rows)).packed()) {
            Ok((_, said)) | Err(said) => said.err,
        };
        assert!(words.iter().any(|word| told.contains(word)), "{told}");
    }
}

#[test]
fn ids_shown_with_their_zeros_are_matched() {
    let place = graded_course();
    let mut rows = filled::table();
    for (row, id) in rows[1..].iter_mut().zip(["4128", "4126", "4142", "4147"]) {
        row[0] = number(id, 1);
    }
    let book = book(sheet(&rows)).changed(STYLES, |text| text.replace("0000000", "00000"));
    let filled = fill(place.path(), "mine.xlsx", &book.packed());
    let (filled, _) = filled.unwrap_or_else(|said| panic!("{}", said.err));
    let mut rows = read(&filled, "Marks");
    for (row, (id, _)) in rows[1..].iter_mut().zip(expected(place.path())) {
        row[0] = calamine::Data::String(id);
    }
    assert_eq!(points(&rows, 2), expected(place.path()));
}

#[test]
fn a_line_of_groups_may_stand_above_the_header() {
    let place = graded_course();
    let groups = vec![text("Student"), text("Marks"), String::new(), text("Notes")];
    let rows = [vec![groups], filled::table()].concat();
    let filled = fill(place.path(), "mine.xlsx", &book(sheet(&rows)).packed());
    let (filled, _) = filled.unwrap_or_else(|said| panic!("{}", said.err));
    assert_eq!(points(&read(&filled, "Marks"), 2), expected(place.path()));
}

#[test]
fn elements_with_a_prefix_are_filled_in() {
    let place = graded_course();
    let book = book(prefixed(&sheet(&filled::table()))).changed("xl/workbook.xml", prefixed);
    let filled = fill(place.path(), "mine.xlsx", &book.packed());
    let (filled, _) = filled.unwrap_or_else(|said| panic!("{}", said.err));
    assert_eq!(points(&read(&filled, "Marks"), 2), expected(place.path()));
}

/// A class list with the crest of the university, of 700 kB.
#[tokio::test]
async fn a_roster_with_a_picture_is_taken_by_the_page() {
    let app = crate::week::app().await;
    let mut person = app.person("i.quell").await;
    let bytes = plain().with("xl/media/image1.png", noise(700_000)).packed();
    let looked = person
        .post_file("/course/roster/preview", "list.xlsx", &bytes)
        .await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    assert!(looked.body.contains("4 join the roster"), "{}", looked.body);
}

//! Workbooks with a roster: what somebody sees who opens them comes in, and what nobody can mean is refused by its cell.

use concordant::files::tables::{RosterFile, RosterRead, read_grids, read_roster};

use super::books::{open_document, parts, with_part, zipped};

const HEADER: [&str; 5] = [
    "Student ID",
    "Family name",
    "Given name",
    "Section",
    "Email",
];

/// A cell with a text.
pub fn text(text: &str) -> String {
    format!("<c t=\"inlineStr\"><is><t>{text}</t></is></c>")
}

pub fn row(cells: &[String]) -> String {
    format!("<row>{}</row>", cells.concat())
}

pub fn header(names: &[&str]) -> String {
    row(&names.iter().map(|name| text(name)).collect::<Vec<_>>())
}

/// A row of one student, whose last cell is not there.
fn student(id: &str, section: &str) -> String {
    let cells = [id, &text("Ng"), &text("Wei"), section].map(str::to_owned);
    row(&cells)
}

/// A workbook of sheets: name, state and rows. Cells may be of the styles 1 (`0000000`), 2 (a date), 3 (percent) and 4
/// (`"S"0000000`).
pub fn book(sheets: &[(&str, &str, String)]) -> Vec<u8> {
    let office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let relations = |all: &str| format!("<Relationships>{all}</Relationships>");
    let relation = |id: &str, kind: &str, target: &str| {
        format!("<Relationship Id=\"{id}\" Type=\"{office}/{kind}\" Target=\"{target}\"/>")
    };
    let (mut listed, mut related) = (String::new(), relation("s", "styles", "styles.xml"));
    let mut parts = Vec::new();
    for (number, (name, state, rows)) in sheets.iter().enumerate() {
        listed.push_str(&format!(
            "<sheet name=\"{name}\" sheetId=\"{number}\" state=\"{state}\" r:id=\"r{number}\"/>"
        ));
        let path = format!("tables/{number}.part");
        related.push_str(&relation(
            &format!("r{number}"),
            "worksheet",
            &format!("/xl/{path}"),
        ));
        parts.push((
            format!("xl/{path}"),
            format!("<worksheet><sheetData>{rows}</sheetData></worksheet>"),
        ));
    }
    let main = format!("<workbook xmlns:r=\"{office}\"><sheets>{listed}</sheets></workbook>");
    // the names are free: only the relationships say which part is what
    let first = relation("r", "officeDocument", "xl/workbook2.xml");
    parts.push(("_rels/.rels".to_owned(), relations(&first)));
    parts.push(("xl/workbook2.xml".to_owned(), main));
    parts.push((
        "xl/_rels/workbook2.xml.rels".to_owned(),
        relations(&related),
    ));
    let styles = "<styleSheet><numFmts><numFmt numFmtId=\"164\" formatCode=\"0000000\"/><numFmt numFmtId=\"165\" formatCode=\"d\\-m\"/><numFmt numFmtId=\"166\" formatCode=\"&quot;S&quot;0000000\"/></numFmts><cellStyleXfs><xf numFmtId=\"9\"/></cellStyleXfs><cellXfs><xf numFmtId=\"0\"/><xf numFmtId=\"164\"/><xf numFmtId=\"165\"/><xf numFmtId=\"9\"/><xf numFmtId=\"166\"/></cellXfs></styleSheet>";
    parts.push(("xl/styles.xml".to_owned(), styles.to_owned()));
    let named: Vec<(&str, String)> = parts
        .iter()
        .map(|(path, text)| (path.as_str(), text.clone()))
        .collect();
    zipped(&named)
}

/// A workbook with formats, formulas, merged cells and a second sheet.
pub fn with_everything() -> Vec<u8> {
    let rows = header(&["Student ID", "Name", "Points", "Sum"])
        + "<row r=\"2\"><c r=\"A2\" s=\"1\"><v>17</v></c><c t=\"str\"><f t=\"shared\" si=\"0\">TEXT($A2,\"0\")</f><v>17</v></c><c s=\"4\"/><c t=\"e\"><f>SUM(C2:C2)+'It''s'!A1</f><v>#N/A</v></c></row><row r=\"3\"/></sheetData><mergeCells><mergeCell ref=\"A9:B9\"/></mergeCells><sheetData>";
    let other = "<row><c><f>Marks!C2</f><v>1</v></c><c s=\"2\"><v>46300</v></c></row>".to_owned();
    book(&[("Marks", "visible", rows), ("It's", "visible", other)])
}

/// A workbook with one sheet of students.
fn roster(rows: &[String]) -> Vec<u8> {
    book(&[("Class", "visible", header(&HEADER) + rows.concat().as_str())])
}

fn ids(read: &RosterRead) -> Vec<&str> {
    read.students
        .iter()
        .map(|student| student.id.as_str())
        .collect()
}

fn said(name: &str, bytes: &[u8]) -> String {
    let faults = read_roster(name, bytes).expect_err(name);
    faults.iter().map(|fault| format!("{fault}\n")).collect()
}

#[test]
fn a_row_that_ends_sooner_says_nothing_in_its_last_columns() {
    let bytes = roster(&[student(&text("0017"), &text("A"))]);
    let read = read_roster("r.xlsx", &bytes).expect("is read");
    assert_eq!(
        (ids(&read), read.students[0].email.as_str()),
        (vec!["0017"], "")
    );
    let start = "student_id,family_name,given_name,section,email\n0017,Ng,Wei,A,w@example.org\n";
    let read = read_roster("r.csv", format!("{start}0018,Roe,Ann,B\n").as_bytes());
    assert_eq!(ids(&read.expect("is read")), ["0017", "0018"]);
    // a cell that is missing in the middle moves all others
    let shifted = said(
        "r.csv",
        format!("{start}0018,Roe Ann,B,a@example.org\n").as_bytes(),
    );
    assert!(
        shifted.contains("r.csv:3: found 4 cells, expected 5"),
        "{shifted}"
    );
}

#[test]
fn a_sheet_that_nobody_sees_is_not_read() {
    let rows = |id: &str| header(&HEADER) + student(&text(id), &text("A")).as_str();
    for state in ["hidden", "veryHidden"] {
        let bytes = book(&[
            ("Old", state, rows("0099")),
            ("New", "visible", rows("0017")),
        ]);
        let read = read_roster("r.xlsx", &bytes).expect("is read");
        assert_eq!(ids(&read), ["0017"], "{state}");
    }
    let parts = parts(&open_document());
    let (before, table) = parts[2].1.split_once("<office:body>").expect("a body");
    let old = "<office:automatic-styles><style:style style:name=\"gone\"><style:table-properties table:display=\"false\"/></style:style></office:automatic-styles><office:body>";
    let hidden = table.replace("table:name=", "table:style-name=\"gone\" table:name=");
    let bytes = with_part(&parts, "content.xml", format!("{before}{old}{hidden}"));
    assert_eq!(read_grids("r.ods", &bytes).expect("is read"), []);
}

#[test]
fn an_id_is_what_its_cell_shows() {
    let number = |style: u32, value: &str| format!("<c s=\"{style}\"><v>{value}</v></c>");
    let cases = [
        (number(1, "12301"), "0012301"),
        (number(4, "12302"), "S0012302"),
        (number(0, "12303.0"), "12303"),
        (number(0, "2.02612345600E+11"), "202612345600"),
    ];
    let rows = cases.clone().map(|(id, _)| student(&id, &text("A")));
    let read = read_roster("r.xlsx", &roster(&rows)).expect("is read");
    assert_eq!(ids(&read), cases.map(|(_, shown)| shown));
    let parts = parts(&open_document());
    let number = |shown: &str| {
        format!("office:value-type=\"float\" office:value=\"712\"><text:p>{shown}</text:p>")
    };
    let text = "office:value-type=\"string\"><text:p>00712</text:p>";
    for (shown, id) in [("00712", "00712"), ("712.00", "712"), ("7.12E+02", "712")] {
        let content = parts[2].1.replace(text, &number(shown));
        assert_ne!(content, parts[2].1);
        let read = read_roster("r.ods", &with_part(&parts, "content.xml", content));
        assert_eq!(ids(&read.expect("is read"))[0], id);
    }
}

#[test]
fn a_cell_that_lost_what_was_typed_is_refused_with_the_remedy() {
    let good = text("A");
    for (id, section, words) in [
        (
            &good,
            "<c t=\"e\"><v>#N/A</v></c>",
            "r.xlsx:2, column Section: found the error “#N/A”",
        ),
        (
            &good,
            "<c s=\"2\"><v>46300</v></c>",
            "found the date 2026-10-05, expected text: format the column as text",
        ),
        (
            &good,
            "<c t=\"b\"><v>1</v></c>",
            "found the logical value TRUE",
        ),
        (
            &good,
            "<c t=\"str\"><f>D1&amp;1</f></c>",
            "found a formula without a value",
        ),
        (
            &good,
            "<c><f>D1&amp;1</f><v/></c>",
            "found a formula without a value",
        ),
        (
            &"<c><v>202612345678900001</v></c>".to_owned(),
            good.as_str(),
            "column Student ID: found the number 202612345678900000, of which a spreadsheet keeps 15 digits",
        ),
    ] {
        let said = said("r.xlsx", &roster(&[student(id, section)]));
        assert!(said.contains(words), "{words} in {said}");
    }
    // in a column that nobody asks for it is nothing, and rows that links fill with 0 are about nobody
    let other = student(
        &good,
        &format!("{good}{}<c t=\"e\"><v>#N/A</v></c>", text("a@example.org")),
    );
    let zero = "<c><f>Old!A3</f><v>0</v></c>";
    let zeros = row(&[zero, zero, zero, &good].map(str::to_owned));
    let rows = header(&[
        "Student ID",
        "Family name",
        "Given name",
        "Section",
        "Email",
        "Note",
    ]);
    let bytes = book(&[("Class", "visible", rows + other.as_str() + zeros.as_str())]);
    assert_eq!(ids(&read_roster("r.xlsx", &bytes).expect("is read")), ["A"]);
    // a day is what is wanted of the day somebody left
    let names = ["Student ID", "Family name", "Given name", "Section", "Left"];
    let gone = student(&good, &format!("{good}<c s=\"2\"><v>46300</v></c>"));
    let bytes = book(&[("Class", "visible", header(&names) + gone.as_str())]);
    let read = read_roster("r.xlsx", &bytes).expect("is read");
    let left = read.students[0].left.expect("has left");
    assert_eq!(left.to_string(), "2026-10-05");
}

#[tokio::test]
async fn another_sheet_with_a_roster_is_named() {
    let rows = |id: &str| header(&HEADER) + student(&text(id), &text("A")).as_str();
    let bytes = book(&[
        ("Sec A", "visible", rows("0017")),
        ("Notes", "visible", header(&["Ask", "the", "office"])),
        ("Sec B", "visible", rows("0018")),
    ]);
    let read = RosterFile::read("r.xlsx", &bytes, &[]).expect("is read");
    assert_eq!(
        (read.sheet.as_str(), read.other_sheets.as_slice()),
        ("Sec A", &["Sec B".to_owned()][..])
    );
    let words = read.says_of_sheets().expect("says something");
    assert!(
        words.contains("the sheet “Sec B” looks like a roster too"),
        "{words}"
    );
    let app = crate::week::app().await;
    let mut person = app.person("i.quell").await;
    let page = person
        .post_file("/course/roster/preview", "r.xlsx", &bytes)
        .await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(
        page.body.contains("looks like a roster too"),
        "{}",
        page.body
    );
}

#[test]
fn only_parts_that_are_read_are_counted() {
    let rows = header(&HEADER) + student(&text("0017"), &text("A")).as_str();
    let sheet = [("Class", "visible", rows)];
    let with = |path: &str, filling: String| {
        let mut all = parts(&book(&sheet));
        all.retain(|(known, _)| known != path);
        all.push((path.to_owned(), filling));
        let all: Vec<(&str, String)> = all
            .iter()
            .map(|(path, text)| (path.as_str(), text.clone()))
            .collect();
        zipped(&all)
    };
    let picture = with("xl/media/seal.bmp", format!("<{}", "0".repeat(70 << 20)));
    assert_eq!(
        ids(&read_roster("r.xlsx", &picture).expect("is read")),
        ["0017"]
    );
    let large = with(
        "xl/tables/0.part",
        format!("<worksheet>{}</worksheet>", " ".repeat(70 << 20)),
    );
    assert!(said("r.xlsx", &large).contains("unpacked it has more than"));
    let tag = with(
        "xl/tables/0.part",
        format!("<worksheet a=\"{}\"/>", "0".repeat(20 << 10)),
    );
    assert!(said("r.xlsx", &tag).contains("a tag of more than 16384 bytes"));
}

#[test]
fn a_file_of_another_kind_is_called_what_it_is() {
    let wide: Vec<u8> = "EncryptedPackage"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let compound = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec();
    let part = |path: &str, text: &str| zipped(&[(path, text.to_owned())]);
    let mut cut = roster(&[student(&text("0017"), &text("A"))]);
    cut.truncate(cut.len() - 40);
    for (bytes, words) in [
        ([compound.clone(), wide].concat(), "opens only with a password"),
        (compound, "of the old kind (.xls): save it as .xlsx"),
        (b"\xef\xbb\xbf\r\n<html><table><tr><td>Student ID</td>".to_vec(), "this is a web page (HTML)"),
        (b"<?xml version=\"1.0\"?><Workbook xmlns=\"urn:schemas-microsoft-com:office:spreadsheet\">".to_vec(), "XML Spreadsheet 2003"),
        (b"<?xml version=\"1.0\"?><office:document xmlns:office=\"x\">".to_vec(), "a flat open document"),
        (part("META-INF/manifest.xml", "<m><encryption-data/></m>"), "opens only with a password"),
        (part("mimetype", "application/vnd.oasis.opendocument.text"), "not a workbook"),
        (part("word/document.xml", "<w/>"), "not a workbook"),
        (part("xl/workbook.bin", "x"), "a binary workbook (.xlsb): save it as .xlsx"),
        (cut, "damaged or was cut off"),
    ] {
        let said = said("r.xlsx", &bytes);
        assert!(said.contains(words), "{words} in {said}");
    }
}

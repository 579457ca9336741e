//! Workbooks of others with sums, formats and dialects of their own, filled in by the program.

use std::path::Path;

use super::books::parts;
use super::gradebooks::{course, fill, total};
use super::seen::{book, header, row, text};

const SHEET: &str = "xl/tables/0.part";

/// The XML of the first sheet of a workbook that was filled in.
fn sheet(bytes: &[u8]) -> String {
    let mut parts = parts(bytes).into_iter();
    parts.find(|(path, _)| path == SHEET).expect("the sheet").1
}

fn filled(at: &Path, rows: String) -> (super::Said, Vec<u8>) {
    let bytes = book(&[("Marks", "visible", rows)]);
    fill(at, "g.xlsx", &bytes, &["--id", "id", "--total", "total"])
}

#[test]
fn values_of_formulas_go_where_their_cells_changed() {
    let place = course();
    let at = place.path();
    let id = "<c r=\"A2\" t=\"str\"><f>TEXT(B2,\"00000\")</f><v>04128</v></c>";
    let rest = "<c r=\"B2\"><v>4128</v></c><c r=\"C2\" s=\"4\"/><c r=\"D2\" t=\"str\" s=\"1\"><f>SUM(C2:C2)</f><v>7</v></c><c r='E2'><f>D2*2</f><v>14</v></c>";
    let rows = header(&["id", "n", "total", "sum", "twice"])
        + format!("<row r=\"2\">{id}{rest}</row>").as_str();
    let other = "<row r=\"1\"><c r=\"A1\"><f>Marks!E2</f><v>14</v></c><c r=\"B1\"><f>Marks!B2</f><v>4128</v></c></row>";
    let bytes = book(&[
        ("Marks", "visible", rows),
        ("Summary", "hidden", other.to_owned()),
    ]);
    let (said, out) = fill(at, "g.xlsx", &bytes, &["--id", "id", "--total", "total"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let points = total(at, "04128").trim_end_matches('0').to_owned();
    let xml = sheet(&out);
    assert!(xml.contains(id), "{xml}");
    assert!(
        xml.contains(&format!("<c r=\"C2\" s=\"4\"><v>{points}")),
        "{xml}"
    );
    assert!(
        xml.contains("<c r=\"D2\" s=\"1\"><f>SUM(C2:C2)</f></c><c r=\"E2\"><f>D2*2</f></c>"),
        "{xml}"
    );
    let parts = parts(&out);
    let part = |path: &str| {
        &parts
            .iter()
            .find(|(known, _)| known == path)
            .expect("a part")
            .1
    };
    let summary = part("xl/tables/1.part");
    assert!(
        summary
            .contains("<c r=\"A1\"><f>Marks!E2</f></c><c r=\"B1\"><f>Marks!B2</f><v>4128</v></c>"),
        "{summary}"
    );
    assert!(part("xl/workbook2.xml").contains("</sheets><calcPr fullCalcOnLoad=\"1\"/>"));
}

#[test]
fn a_column_whose_format_says_otherwise_is_not_filled() {
    let place = course();
    for (style, named) in [(2, "a date"), (3, "percent")] {
        let rows = header(&["id", "total"])
            + row(&[text("04128"), format!("<c s=\"{style}\"/>")]).as_str();
        let (said, out) = filled(place.path(), rows);
        let words = format!("found cells formatted as {named} such as B2");
        assert!(
            said.code == Some(1) && out.is_empty() && said.err.contains(&words),
            "{}",
            said.err
        );
        assert!(!said.err.contains("cells written"), "{}", said.err);
    }
}

#[test]
fn ids_that_lost_their_zeros_are_told() {
    let place = course();
    let rows = header(&["id", "total"])
        + row(&[text("04126"), "<c/>".to_owned()]).as_str()
        + row(&["<c><v>4128</v></c>".to_owned()]).as_str();
    let (said, _) = filled(place.path(), rows);
    let words =
        "nobody of the course is 4128; 04128 is: where a spreadsheet took leading zeros off";
    assert!(said.err.contains(words), "{}", said.err);
}

#[test]
fn two_header_lines_prefixes_and_quotes_are_filled_in() {
    let place = course();
    let rows = header(&["Student", "", "", "Marks"])
        + header(&["id", "name", "quiz", "lab", "total"]).as_str()
        + row(&[text("04128"), text("Ng"), "<c><v>3</v></c>".to_owned()]).as_str()
        + "<row r='5' spans='1:4'/>";
    let rows = rows
        .replace("<c", "<x:c")
        .replace("</c", "</x:c")
        .replace("\"", "'");
    let rows = rows.replace("<row", "<x:row").replace("</row", "</x:row");
    let (said, out) = filled(place.path(), rows);
    assert_eq!(said.code, Some(0), "{}", said.err);
    let points = total(place.path(), "04128")
        .trim_end_matches('0')
        .to_owned();
    let xml = sheet(&out);
    assert!(
        xml.contains(&format!("<x:c r=\"E3\"><x:v>{points}")),
        "{xml}"
    );
}

#[test]
fn what_is_kept_is_named_and_so_are_sheets_and_formulas() {
    let place = course();
    let at = place.path();
    let rows = |points: &str| {
        header(&["id", "name", "total"])
            + row(&[text("04128"), text("Ng"), points.to_owned()]).as_str()
    };
    let (said, _) = filled(at, rows("<c><v>1.5</v></c>"));
    assert!(
        said.err
            .contains("g.xlsx:2, column total: 04128 has “1.5” there, which is kept"),
        "{}",
        said.err
    );
    let (said, _) = filled(at, rows("<c><f>B2</f><v>1.5</v></c>"));
    assert!(
        said.code == Some(1) && said.err.contains("found formulas in the column “total”"),
        "{}",
        said.err
    );
    let bytes = book(&[
        ("A", "visible", rows("<c/>")),
        ("B", "visible", rows("<c/>")),
    ]);
    let (said, _) = fill(at, "g.xlsx", &bytes, &["--id", "id", "--total", "total"]);
    let words = "the sheet “A” is filled in alone; the sheet “B” has the same columns";
    assert!(
        said.code == Some(0) && said.err.contains(words),
        "{}",
        said.err
    );
    let formula = header(&["id", "name", "total"])
        + row(&["<c><f>B2</f></c>".to_owned(), text("Ng")]).as_str();
    let (said, _) = filled(at, formula);
    assert!(
        said.code == Some(1)
            && said
                .err
                .contains("found formulas without a value in the column “id”"),
        "{}",
        said.err
    );
}

//! Spreadsheets that are larger than they look, or broken off: each is refused in words, and soon.

use concordant::files::tables::{Grid, read_grids};

use super::books::{open_document, parts, with_part, workbook};

const SHEET: &str = "xl/worksheets/sheet2.xml";

/// An open document with these rows in a table.
fn document(rows: &str) -> Vec<u8> {
    let parts = parts(&open_document());
    let (_, content) = &parts[2];
    let (before, rest) = content.split_once("<table:table-row>").expect("rows");
    let (_, after) = rest.rsplit_once("</table:table-row>").expect("rows");
    with_part(&parts, "content.xml", format!("{before}{rows}{after}"))
}

/// A workbook with these rows on its second sheet.
fn sheet(rows: &str) -> Vec<u8> {
    let parts = parts(&workbook());
    let text = format!(
        "<worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>{rows}</sheetData></worksheet>"
    );
    with_part(&parts, SHEET, text)
}

fn row(attributes: &str, cells: &str) -> String {
    format!("<table:table-row{attributes}>{cells}</table:table-row>")
}

fn cell(attributes: &str, text: &str) -> String {
    format!(
        "<table:table-cell office:value-type=\"string\"{attributes}><text:p>{text}</text:p></table:table-cell>"
    )
}

fn rows_of(grids: &[Grid], sheet: usize) -> Vec<(u64, Vec<String>)> {
    let rows = grids[sheet].rows.iter();
    rows.map(|row| (row.line, row.cells.clone())).collect()
}

/// What is said of a file that is refused.
fn why(bytes: &[u8]) -> String {
    let faults = read_grids("book", bytes).expect_err("is refused");
    assert_eq!(faults.len(), 1);
    faults[0].to_string()
}

#[test]
fn a_document_that_breaks_off_is_refused() {
    // every place at which its content can end: the reader of one library waits for ever for the end of a table
    let parts = parts(&open_document());
    let content = &parts[2].1;
    for (end, _) in content.char_indices().skip(1) {
        let bytes = with_part(&parts, "content.xml", content[..end].to_owned());
        let read = read_grids("list.ods", &bytes);
        // in its first line it is a document without a table
        assert!(read.is_err() || end <= 21, "{end}: {read:?}");
    }
    let bytes = with_part(&parts, "content.xml", content.replace("</table:table>", ""));
    assert!(read_grids("list.ods", &bytes).is_err());
}

#[test]
fn what_stands_for_many_cells_is_counted_before_it_is_written_out() {
    let many = " table:number-rows-repeated=\"1048576\"";
    let wide = " table:number-columns-repeated=\"16384\"";
    let said = why(&document(&row(many, &cell("", "17"))));
    assert!(said.contains("more than 50000 rows"), "{said}");
    let said = why(&document(&row("", &cell(wide, "17"))));
    assert!(said.contains("at most 2000 columns"), "{said}");
    let half = " table:number-columns-repeated=\"1900\"";
    let said = why(&document(&row(
        " table:number-rows-repeated=\"40000\"",
        &cell(half, "17"),
    )));
    assert!(said.contains("more than 1000000 cells"), "{said}");
    let long = "x".repeat(1_000_000);
    let said = why(&document(&row("", &cell(half, &long))));
    assert!(said.contains("bytes in its cells"), "{said}");
    let said = why(&document(&row(" table:number-rows-repeated=\"many\"", "")));
    assert!(said.contains("\u{201c}many\u{201d}"), "{said}");
}

#[test]
fn all_sheets_of_a_file_share_its_bounds() {
    let parts = parts(&open_document());
    let (before, rest) = parts[2].1.split_once("<table:table ").expect("a table");
    let (_, after) = rest.split_once("</table:table>").expect("its end");
    let of = |rows: &str, times: usize| {
        let table = format!("<table:table table:name=\"t\">{rows}</table:table>");
        let text = format!("{before}{}{after}", table.repeat(times));
        with_part(&parts, "content.xml", text)
    };
    let half = " table:number-columns-repeated=\"1500\"";
    let many = row(" table:number-rows-repeated=\"400\"", &cell(half, "1"));
    assert!(read_grids("list.ods", &of(&many, 1)).is_ok());
    let said = why(&of(&many, 2));
    assert!(said.contains("more than 1000000 cells"), "{said}");
    assert!(read_grids("list.ods", &of("", 250)).is_ok());
    let said = why(&of("", 251));
    assert!(said.contains("more than 250 sheets"), "{said}");
    // a tag whose attributes would each be compared with all before it
    let attributes: String = (0..2_000).map(|n| format!(" a{n}=\"\"")).collect();
    let said = why(&document(&row(&attributes, "")));
    assert!(said.contains("a tag of more than 16384 bytes"), "{said}");
    let said = why(&sheet(&format!("<row{attributes}/>")));
    assert!(said.contains("a tag of more than 16384 bytes"), "{said}");
}

#[test]
fn what_spreadsheets_add_to_the_end_of_a_table_is_no_table() {
    // as they write it: the rest of the sheet, empty, and one row more with a style of its own
    let rest = row(
        " table:number-rows-repeated=\"1048570\"",
        "<table:table-cell table:number-columns-repeated=\"16384\"/>",
    );
    let spaces = cell("", "a<text:s text:c=\"4000000000\"/>b");
    let remark = "<table:table-cell office:value-type=\"string\"><office:annotation><text:p>ask her</text:p></office:annotation><text:p>Ng &amp; <text:span>S&#246;hne</text:span></text:p></table:table-cell>";
    let number = "<table:table-cell office:value-type=\"float\" office:value=\"12.5\"><text:p>12,50</text:p></table:table-cell>";
    let twice = " table:number-rows-repeated=\"2\"";
    let rows = [
        row("", &format!("<table:table-cell/>{remark}{number}")),
        row(
            twice,
            "<table:table-cell table:number-columns-repeated=\"3\"/>",
        ),
        row("", &format!("<table:table-cell/>{spaces}")),
        rest,
    ];
    let grids = read_grids("list.ods", &document(&rows.concat())).expect("is read");
    let rows = rows_of(&grids, 0);
    let texts = |row: &[&str]| row.iter().map(|&text| text.to_owned()).collect::<Vec<_>>();
    assert_eq!(rows[0], (1, texts(&["Ng & S\u{f6}hne", "12.5"])));
    assert_eq!((rows[1].0, rows.len()), (4, 2));
    assert!(rows[1].1[0].len() < 200, "{}", rows[1].1[0].len());
}

#[test]
fn a_sheet_of_two_cells_far_apart_takes_no_room() {
    let here = "<row r=\"1\"><c r=\"A1\"><v>17</v></c></row>";
    let far = format!("{here}<row r=\"1048576\"><c r=\"XFD1048576\"><v>18</v></c></row>");
    let said = why(&sheet(&far));
    assert!(said.contains("in column 16384 of row 1048576"), "{said}");
    let below = format!("{here}<row r=\"1048576\"><c r=\"B1048576\"><v>18</v></c></row>");
    let grids = read_grids("list.xlsx", &sheet(&below)).expect("is read");
    let expected = [
        (1, vec!["17".to_owned()]),
        (1_048_576, vec![String::new(), "18".to_owned()]),
    ];
    assert_eq!(rows_of(&grids, 1), expected);
}

#[test]
fn a_file_that_swells_is_refused() {
    let parts = parts(&workbook());
    let swollen = format!("<sst><si><t>{}</t></si></sst>", "0".repeat(70 << 20));
    let bytes = with_part(&parts, "xl/sharedStrings.xml", swollen);
    assert!(bytes.len() < 200_000);
    let said = why(&bytes);
    assert!(said.contains("unpacked it has more than"), "{said}");
    // a text that many cells point at
    let long = format!("<sst><si><t>{}</t></si></sst>", "0".repeat(1_000_000));
    let mut again = with_part(&parts, "xl/sharedStrings.xml", long);
    let cells: String = (1..=100)
        .map(|row| format!("<row r=\"{row}\"><c r=\"A{row}\" t=\"s\"><v>0</v></c></row>"))
        .collect();
    again = with_part(
        &super::books::parts(&again),
        SHEET,
        format!("<worksheet><sheetData>{cells}</sheetData></worksheet>"),
    );
    let said = why(&again);
    assert!(said.contains("bytes in its cells"), "{said}");
}

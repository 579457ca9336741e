//! Gradebooks of other makers filled in: the points in their cells, and every other part as it was, to the byte.

use std::io::Cursor;

use calamine::{Data, Reader as _, open_workbook_auto_from_rs};

use super::{
    Book, Packing, Sheet, blank, fill, graded_course, number, parts, sheet, sheet_with, text,
    texts, total,
};

const IDS: [&str; 4] = ["04128", "04126", "04142", "04147"];
const HEADER: [&str; 4] = ["Student ID", "Quiz", "Titration", "Remark"];

fn row(id: &str, cell: String) -> Vec<String> {
    vec![text(id), number("7", 0), cell, text("ok")]
}

pub fn table() -> Vec<Vec<String>> {
    let rows = IDS.iter().map(|id| row(id, blank(0)));
    std::iter::once(texts(&HEADER)).chain(rows).collect()
}

pub fn book(xml: String) -> Book {
    Book::of(&[("Marks", "visible", xml)])
}

/// What stands in a sheet, by another reader, row by row.
pub fn read(bytes: &[u8], name: &str) -> Vec<Vec<Data>> {
    let mut book = open_workbook_auto_from_rs(Cursor::new(bytes)).expect("a workbook");
    let range = book.worksheet_range(name).expect("the sheet");
    range.rows().map(<[Data]>::to_vec).collect()
}

/// The points, in the row of each student, of the column with that number.
pub fn points(rows: &[Vec<Data>], column: usize) -> Vec<(String, String)> {
    let rows = rows.iter().filter_map(|row| {
        let id = row[0].to_string();
        IDS.contains(&id.as_str())
            .then(|| (id, row.get(column).map(Data::to_string).unwrap_or_default()))
    });
    rows.collect()
}

pub fn expected(at: &std::path::Path) -> Vec<(String, String)> {
    let points = IDS.map(|id| {
        let points: f64 = total(at, id).parse().expect("points");
        (id.to_owned(), Data::Float(points).to_string())
    });
    points.to_vec()
}

#[test]
fn gradebooks_saved_by_other_programs_are_filled_in() {
    let place = graded_course();
    let at = place.path();
    let saved: [(&str, &[u8]); 2] = [
        ("a.xlsx", include_bytes!("saved/marks-a.xlsx")),
        ("b.xlsx", include_bytes!("saved/marks-b.xlsx")),
    ];
    for (name, bytes) in saved {
        let (filled, _) =
            fill(at, name, bytes).unwrap_or_else(|said| panic!("{name}: {}", said.err));
        assert_eq!(points(&read(&filled, "Marks"), 3), expected(at), "{name}");
        let (before, after) = (parts(bytes), parts(&filled));
        assert_eq!(before.len(), after.len(), "{name}");
        for ((path, old), (same, new)) in before.iter().zip(&after) {
            assert_eq!(path, same, "{name}");
            let may_change = path.ends_with("sheet1.xml") || path == "xl/workbook.xml";
            let same = match path.starts_with("xl/worksheets/") {
                // sums over what was filled in are worked out by whoever opens it
                true => without_values(old) == without_values(new),
                false => old == new,
            };
            assert!(may_change || same, "{name}: {path}");
        }
    }
}

/// The text of a sheet without the values of its cells, and without the word that they are numbers, which they are anyway.
fn without_values(sheet: &[u8]) -> String {
    let text = String::from_utf8_lossy(sheet).replace(" t=\"n\"", "");
    let mut parts = text.split("<v>");
    let first = parts.next().unwrap_or_default().to_owned();
    let rests = parts.map(|part| part.split_once("</v>").map_or(part, |(_, rest)| rest));
    rests.fold(first, |all, rest| all + rest)
}

#[test]
fn any_packing_of_a_gradebook_is_filled_in() {
    let place = graded_course();
    let at = place.path();
    let mut with_parts = book(sheet(&table()))
        .with(
            "xl/vbaProject.bin",
            (0..60_000_u32)
                .flat_map(|n| (n * n).to_le_bytes())
                .collect(),
        )
        .with("xl/media/image1.png", vec![137; 2_000_000]);
    with_parts = with_parts.changed("xl/worksheets/sheet1.xml", |text| format!("\u{feff}{text}"));
    for how in [
        Packing::Usual,
        Packing::Stored,
        Packing::Zip64,
        Packing::Stream,
    ] {
        let bytes = with_parts.packed_as(how);
        let (filled, _) =
            fill(at, "mine.xlsx", &bytes).unwrap_or_else(|said| panic!("{how:?}: {}", said.err));
        assert_eq!(points(&read(&filled, "Marks"), 2), expected(at), "{how:?}");
        for ((path, old), (_, new)) in parts(&bytes).iter().zip(&parts(&filled)) {
            let may_change = path.ends_with("sheet1.xml") || path == "xl/workbook.xml";
            assert!(may_change || old == new, "{how:?}: {path}");
        }
    }
}

/// Cells that are there, or not, or hold an empty text; rows above, below and out of sight.
#[test]
fn the_cell_is_found_or_made_in_any_row() {
    let place = graded_course();
    let at = place.path();
    let of = |cell: &dyn Fn() -> String| {
        let rows = IDS.iter().map(|id| row(id, cell()));
        std::iter::once(texts(&HEADER))
            .chain(rows)
            .collect::<Vec<_>>()
    };
    let short: Vec<_> = std::iter::once(texts(&HEADER))
        .chain(IDS.iter().map(|id| vec![text(id)]))
        .collect();
    let titled = [vec![texts(&["CHEM 231"]), Vec::new(), Vec::new()], table()].concat();
    let below = [
        table(),
        vec![Vec::new(), texts(&["Released by the registry"])],
    ]
    .concat();
    let protection = "<sheetProtection sheet=\"1\" password=\"83AF\"/>";
    let after = "<autoFilter ref=\"A1:D5\"/><extLst><ext uri=\"{A}\"/></extLst>";
    let books = [
        ("no cell", sheet(&of(&String::new))),
        ("an empty text", sheet(&of(&|| text("")))),
        ("a blank", sheet(&of(&|| text(" ")))),
        ("a format for text", sheet(&of(&|| blank(4)))),
        ("rows that end before", sheet(&short)),
        ("a title above", sheet(&titled)),
        ("lines below", sheet(&below)),
        (
            "rows out of sight",
            sheet_with(&table(), " hidden=\"1\"", after),
        ),
        ("a protected sheet", sheet_with(&table(), "", protection)),
    ];
    for (name, xml) in books {
        let (filled, _) = fill(at, "mine.xlsx", &book(xml).packed())
            .unwrap_or_else(|said| panic!("{name}: {}", said.err));
        assert_eq!(points(&read(&filled, "Marks"), 2), expected(at), "{name}");
    }
}

/// Last year's sheet is out of sight and has the same header.
#[test]
fn a_hidden_sheet_is_passed_over() {
    let place = graded_course();
    let at = place.path();
    for state in ["hidden", "veryHidden"] {
        let sheets: [Sheet; 2] = [
            ("2025", state, sheet(&table())),
            ("Marks", "visible", sheet(&table())),
        ];
        let bytes = Book::of(&sheets).packed();
        let (filled, _) =
            fill(at, "mine.xlsx", &bytes).unwrap_or_else(|said| panic!("{}", said.err));
        assert_eq!(points(&read(&filled, "Marks"), 2), expected(at), "{state}");
        assert_eq!(read(&filled, "2025"), read(&bytes, "2025"), "{state}");
    }
}

#[test]
fn doubtful_places_are_left_alone_and_named() {
    let place = graded_course();
    let at = place.path();
    let merged = "<mergeCells count=\"1\"><mergeCell ref=\"C3:D3\"/></mergeCells>";
    let said = fill(
        at,
        "mine.xlsx",
        &book(sheet_with(&table(), "", merged)).packed(),
    );
    let said = said.err().expect("is refused");
    assert!(said.err.contains("merged cells at C3"), "{}", said.err);
    // a student in two rows is filled in in neither
    let twice = [table(), vec![row("04128", blank(0))]].concat();
    let (filled, said) = fill(at, "mine.xlsx", &book(sheet(&twice)).packed())
        .ok()
        .expect("is filled in");
    assert!(
        said.err.contains("04128 stands on lines 2, 6"),
        "{}",
        said.err
    );
    let rows = points(&read(&filled, "Marks"), 2);
    let empty = rows.iter().filter(|(_, points)| points.is_empty()).count();
    assert_eq!((rows.len(), empty), (5, 2));
    let mut two = table();
    for row in &mut two {
        row.push(row[2].clone());
    }
    let said = fill(at, "mine.xlsx", &book(sheet(&two)).packed())
        .err()
        .expect("is refused");
    assert!(said.err.contains("“Titration” twice"), "{}", said.err);
}

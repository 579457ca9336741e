//! Rosters in workbooks as the world saves them, each read to the letter.

use super::super::books::zipped;
use super::{
    Book, MAIN, Packing, blank, brought_in, empty_course, error, formula, number, sheet,
    sheet_with, text, texts,
};

pub const HEADER: [&str; 5] = [
    "Student ID",
    "Family name",
    "Given name",
    "Section",
    "Email",
];
pub const PEOPLE: [[&str; 5]; 4] = [
    ["0012301", "Ågren", "Zoë", "A", "s01@uni.example"],
    [
        "0012302",
        "García López",
        "José María",
        "B",
        "s02@uni.example",
    ],
    ["0012303", "O'Neill", "Siobhán", "A", "s03@uni.example"],
    ["202612345678", "田中", "Yuki", "B", "s04@uni.example"],
];
const SHEET: &str = "xl/worksheets/sheet1.xml";

pub fn people() -> Vec<Vec<String>> {
    PEOPLE.map(|one| one.map(str::to_owned).to_vec()).to_vec()
}

pub fn table() -> Vec<Vec<String>> {
    let rows = PEOPLE.iter().map(|one| texts(one));
    std::iter::once(texts(&HEADER)).chain(rows).collect()
}

pub fn plain() -> Book {
    Book::of(&[("Class list", "visible", sheet(&table()))])
}

/// Bytes that do not deflate.
pub fn noise(count: usize) -> Vec<u8> {
    let mut state = 88_172_645_463_325_252_u64;
    let mut next = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.to_le_bytes()[0]
    };
    (0..count).map(|_| next()).collect()
}

/// The files that programs of other makers saved hold the people of `saved/people.csv`.
#[test]
fn rosters_saved_by_other_programs_are_read() {
    let place = empty_course();
    let mut reader = csv::Reader::from_reader(&include_bytes!("saved/people.csv")[..]);
    let mut expected: Vec<Vec<String>> = reader
        .records()
        .map(|row| row.expect("a row").iter().map(str::to_owned).collect())
        .collect();
    expected.sort();
    assert_eq!(expected.len(), 12);
    let saved: [(&str, &[u8]); 4] = [
        ("a.xlsx", include_bytes!("saved/roster-a.xlsx")),
        ("a.ods", include_bytes!("saved/roster-a.ods")),
        ("b.xlsx", include_bytes!("saved/roster-b.xlsx")),
        ("b.ods", include_bytes!("saved/roster-b.ods")),
    ];
    for (name, bytes) in saved {
        let read = brought_in(place.path(), name, bytes);
        let read = read.unwrap_or_else(|said| panic!("{name}: {}", said.err));
        assert_eq!(read, expected, "{name}");
    }
}

/// How a workbook is packed, and what its parts are called, says nothing about its roster.
#[test]
fn any_packing_of_a_workbook_is_read() {
    let place = empty_course();
    let at = place.path();
    for how in [
        Packing::Usual,
        Packing::Stored,
        Packing::Zip64,
        Packing::Stream,
        Packing::Comment,
    ] {
        let read = brought_in(at, "list.xlsx", &plain().packed_as(how));
        let read = read.unwrap_or_else(|said| panic!("{how:?}: {}", said.err));
        assert_eq!(read, people(), "{how:?}");
    }
    let absolute = plain()
        .changed("xl/_rels/workbook.xml.rels", |text| {
            text.replace("Target=\"", "Target=\"/xl/")
        })
        .changed("_rels/.rels", |text| {
            text.replace("Target=\"xl/", "Target=\"/xl/")
        });
    let strict = |book: Book| {
        let parts = book.0.into_iter().map(|(path, bytes)| {
            let text = String::from_utf8(bytes).expect("text");
            // the strict namespaces of ISO/IEC 29500-1
            let text = text
                .replace(MAIN, "http://purl.oclc.org/ooxml/spreadsheetml/main")
                .replace(
                    super::OFFICE,
                    "http://purl.oclc.org/ooxml/officeDocument/relationships",
                );
            (path, text.into_bytes())
        });
        Book(parts.collect())
    };
    let books = [
        ("absolute targets", absolute),
        ("strict", strict(plain())),
        (
            "backslashes",
            plain().renamed(|path| path.replace('/', "\\")),
        ),
        // names of parts are one whatever their letters' case (ISO/IEC 29500-2, equivalence of part names)
        (
            "other case",
            plain().renamed(|path| path.replace("xl/workbook", "xl/Workbook")),
        ),
        (
            "a mark",
            plain().changed(SHEET, |text| format!("\u{feff}{text}")),
        ),
        (
            "pictures and settings of printers",
            plain()
                .with("xl/media/image1.png", noise(3_000_000))
                .with("xl/printerSettings/printerSettings1.bin", noise(100_000))
                .with("xl/embeddings/oleObject1.bin", vec![0; 20_000_000]),
        ),
    ];
    for (name, book) in books {
        let read = brought_in(at, "list.xlsx", &book.packed());
        let read = read.unwrap_or_else(|said| panic!("{name}: {}", said.err));
        assert_eq!(read, people(), "{name}");
    }
}

/// A prefix before the names of all elements, as some libraries write it.
pub fn prefixed(xml: &str) -> String {
    let (declared, rest) = xml.split_once("?>").expect("a declaration");
    let rest = rest
        .replace("</", "\u{2}")
        .replace('<', "<x:")
        .replace('\u{2}', "</x:")
        .replace(&format!("xmlns=\"{MAIN}\""), &format!("xmlns:x=\"{MAIN}\""));
    format!("{declared}?>{rest}")
}

#[test]
fn any_way_of_writing_cells_is_read() {
    let place = empty_course();
    let at = place.path();
    let mut styled = table();
    for row in &mut styled {
        row.extend((0..12).map(|_| blank(1)));
    }
    styled.extend((0..300).map(|_| (0..17).map(|_| blank(1)).collect()));
    let mut worked_out = table();
    for (row, one) in worked_out.iter_mut().skip(1).zip(PEOPLE) {
        row[0] = formula("TEXT(Z1,\"0000000\")", "str", one[0]);
        row[1] = formula("PROPER(Y1)", "str", one[1]);
    }
    let prepared: Vec<_> = (0..30)
        .map(|_| {
            (0..5)
                .map(|_| formula("IF(Z1=\"\",\"\",Z1)", "str", ""))
                .collect()
        })
        .collect();
    let mut others = table();
    others[0].extend(texts(&["Average", "Enrolled", "Paid"]));
    for row in &mut others[1..] {
        row.push(error("#DIV/0!"));
        row.push(number("46300", 3));
        row.push(format!("<c r=\"{}\" t=\"b\"><v>1</v></c>", super::HERE));
    }
    // every digit of a number that is shown as 2.02612E+11
    let mut long = table();
    long[4][0] = number("2.02612345678E+11", 0);
    let mut guided = table();
    let runs = "<is><r><t>田</t></r><r><rPr><b/></rPr><t>中</t></r><rPh sb=\"0\" eb=\"2\"><t>タナカ</t></rPh></is>";
    guided[4][1] = format!("<c r=\"{}\" t=\"inlineStr\">{runs}</c>", super::HERE);
    guided[1][2] = text("  Zoë \n");
    guided[2][0] = text("0012302\u{a0}");
    let titled: Vec<_> = [texts(&["CHEM 231, class list"]), Vec::new(), Vec::new()]
        .into_iter()
        .chain(table())
        .collect();
    let merged = "<mergeCells count=\"1\"><mergeCell ref=\"A1:E1\"/></mergeCells>";
    let books = [
        ("rows of formats only", sheet(&styled)),
        ("formulas that were worked out", sheet(&worked_out)),
        ("prepared rows below", sheet(&[table(), prepared].concat())),
        ("columns of other kinds", sheet(&others)),
        ("a long id as a number", sheet(&long)),
        ("runs, guides and spaces", sheet(&guided)),
        ("a merged title", sheet_with(&titled, "", merged)),
        (
            "rows hidden by a filter",
            sheet_with(&table(), " hidden=\"1\"", "<autoFilter ref=\"A1:E5\"/>"),
        ),
        ("no places", without_places(&sheet(&table()))),
        ("a prefix", prefixed(&sheet(&table()))),
    ];
    for (name, xml) in books {
        let book = Book::of(&[("L", "visible", xml)]);
        let read = brought_in(at, "list.xlsx", &book.packed());
        let read = read.unwrap_or_else(|said| panic!("{name}: {}", said.err));
        assert_eq!(read, people(), "{name}");
    }
    // an empty sheet and a note stand before the one with the roster
    let note = sheet(&[texts(&["Do not edit"]), texts(&["Registry, ext. 4411"])]);
    let book = Book::of(&[
        ("Empty", "visible", sheet(&[])),
        ("Read me", "visible", note),
        ("List", "visible", sheet(&table())),
    ]);
    assert_eq!(
        brought_in(at, "list.xlsx", &book.packed()).ok(),
        Some(people())
    );
}

/// Rows and cells that do not say where they are follow one another (ISO/IEC 29500-1, 18.3.1.4 and 18.3.1.73).
fn without_places(xml: &str) -> String {
    let mut out = String::new();
    for piece in xml.split_inclusive('>') {
        let bare = piece.starts_with("<row") || piece.starts_with("<c ");
        match piece.split_once(" r=\"").filter(|_| bare) {
            Some((before, after)) => {
                let (_, after) = after.split_once('"').expect("a place");
                out.push_str(before);
                out.push_str(after);
            }
            None => out.push_str(piece),
        }
    }
    out
}

pub fn document(tables: &str, styles: &str) -> Vec<u8> {
    let office = "urn:oasis:names:tc:opendocument:xmlns";
    let kind = "application/vnd.oasis.opendocument.spreadsheet";
    zipped(&[
        ("mimetype", kind.to_owned()),
        (
            "META-INF/manifest.xml",
            format!(
                "<manifest:manifest xmlns:manifest=\"{office}:manifest:1.0\"><manifest:file-entry manifest:full-path=\"/\" manifest:media-type=\"{kind}\"/></manifest:manifest>"
            ),
        ),
        (
            "content.xml",
            format!(
                "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"{office}:office:1.0\" xmlns:style=\"{office}:style:1.0\" xmlns:table=\"{office}:table:1.0\" xmlns:text=\"{office}:text:1.0\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:xlink=\"http://www.w3.org/1999/xlink\"><office:automatic-styles>{styles}</office:automatic-styles><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
            ),
        ),
    ])
}

pub fn cell(inner: &str) -> String {
    format!("<table:table-cell office:value-type=\"string\">{inner}</table:table-cell>")
}

fn open_rows(of: impl Fn(usize, &str) -> String) -> Vec<String> {
    let row = |one: &[&str; 5]| {
        let cells = one.iter().enumerate();
        let cells: String = cells.map(|(place, cell)| of(place, cell)).collect();
        format!("<table:table-row>{cells}</table:table-row>")
    };
    std::iter::once(&HEADER).chain(&PEOPLE).map(row).collect()
}

#[test]
fn open_documents_with_what_offices_add_are_read() {
    let place = empty_course();
    let said = |place: usize, text: &str| match place {
        1 => cell(&format!(
            "<office:annotation><dc:creator>r</dc:creator><text:p>was 0099999</text:p></office:annotation><text:p><text:span>{text}</text:span></text:p>"
        )),
        2 => cell(&format!(
            "<text:p>{}</text:p>",
            text.replace(' ', "<text:s/>")
        )),
        4 => cell(&format!(
            "<text:p><text:a xlink:href=\"mailto:x\">{text}</text:a></text:p>"
        )),
        _ => cell(&format!("<text:p>{text}</text:p>")),
    };
    let rows = open_rows(said);
    let table =
        |name: &str, rows: &str| format!("<table:table table:name=\"{name}\">{rows}</table:table>");
    let grouped = format!(
        "<table:table-header-rows>{}</table:table-header-rows><table:table-row-group>{}</table:table-row-group>",
        rows[0],
        rows[1..].concat()
    );
    let all = rows.concat();
    // what was taken out while changes were being kept is in the file still (OpenDocument 1.3 part 3, 9.9)
    let taken_out = "<table:tracked-changes><table:deletion table:id=\"c1\" table:type=\"row\" table:position=\"3\"><table:deletions><table:cell-content-deletion><table:change-track-table-cell office:value-type=\"string\"><text:p>0099999</text:p></table:change-track-table-cell></table:cell-content-deletion></table:deletions></table:deletion></table:tracked-changes>";
    let rest = "<table:table-row table:number-rows-repeated=\"1048563\"><table:table-cell table:number-columns-repeated=\"1024\" table:style-name=\"ce1\"/></table:table-row>";
    let files = [
        ("comments and spans", table("L", &all)),
        ("groups", table("L", &grouped)),
        ("changes kept", format!("{taken_out}{}", table("L", &all))),
        ("formatted to the end", table("L", &format!("{all}{rest}"))),
        (
            "an empty table first",
            format!("{}{}", table("E", ""), table("L", &all)),
        ),
    ];
    for (name, tables) in files {
        let read = brought_in(place.path(), "list.ods", &document(&tables, ""));
        let read = read.unwrap_or_else(|said| panic!("{name}: {}", said.err));
        assert_eq!(read, people(), "{name}");
    }
}

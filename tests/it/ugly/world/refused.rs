//! Files that are no workbook to be read, each with its remedy; nothing of them is brought in.

use super::rosters::{plain, table};
use super::{Book, Packing, brought_in, empty_course, sheet, text};

#[test]
fn the_old_format_is_named_whatever_the_file_is_called() {
    let place = empty_course();
    for name in ["list.xls", "list.xlsx", "list.csv"] {
        let bytes = include_bytes!("saved/roster-old.xls");
        let said = brought_in(place.path(), name, bytes).expect_err(name);
        assert_eq!(said.code, Some(1), "{name}");
        assert!(
            said.err.contains("(.xls): save it as .xlsx"),
            "{}",
            said.err
        );
    }
}

/// A byte altered on the way shows in the checksum of its part, be it stored or deflated.
#[test]
fn a_damaged_file_is_refused_whole() {
    let place = empty_course();
    let stored = plain().packed_as(Packing::Stored);
    let at = stored
        .windows(7)
        .position(|seven| seven == b"0012303")
        .expect("the id");
    let mut altered = stored.clone();
    altered[at + 6] ^= 1;
    let deflated = plain().packed();
    let at = deflated
        .windows(24)
        .position(|name| name == b"xl/worksheets/sheet1.xml");
    let mut bent = deflated.clone();
    bent[at.expect("the part") + 24 + 200] ^= 0x10;
    let half = deflated[..deflated.len() / 2].to_vec();
    for (name, bytes) in [("altered", altered), ("bent", bent), ("half", half)] {
        let said = brought_in(place.path(), "list.xlsx", &bytes).expect_err(name);
        assert_eq!(said.code, Some(1), "{name}");
        assert!(said.err.contains("cannot be read"), "{name}: {}", said.err);
    }
}

#[test]
fn ids_that_a_spreadsheet_shortened_are_refused() {
    let place = empty_course();
    let mut rows = table();
    rows[4][0] = text("2.02612E+11");
    let book = Book::of(&[("L", "visible", sheet(&rows))]);
    let said = brought_in(place.path(), "list.xlsx", &book.packed()).expect_err("is refused");
    assert!(
        said.err.contains("format the column as text"),
        "{}",
        said.err
    );
}

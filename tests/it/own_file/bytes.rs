//! Any table at all, put together from pieces whose places are known: filled in, every other byte is where it was.

use concordant::files::{Filling, Separator, Sheet};
use proptest::prelude::*;

/// A table as pieces of bytes.
#[derive(Clone, Debug)]
struct Pieces {
    before: Vec<u8>,
    separator: u8,
    /// Raw cells of each line and how the line ends.
    lines: Vec<(Vec<Vec<u8>>, &'static str)>,
    /// Blank lines after that many lines.
    blank_after: usize,
}

impl Pieces {
    /// The bytes, with some raw cells in place of others.
    fn bytes(&self, instead: &dyn Fn(usize, usize) -> Option<Vec<u8>>) -> Vec<u8> {
        let mut out = self.before.clone();
        for (line, (cells, end)) in self.lines.iter().enumerate() {
            for (column, cell) in cells.iter().enumerate() {
                if column > 0 {
                    out.push(self.separator);
                }
                let new = line.checked_sub(1).and_then(|row| instead(row, column));
                out.extend(new.as_ref().unwrap_or(cell));
            }
            out.extend(end.as_bytes());
            if line == self.blank_after && !end.is_empty() {
                out.extend(b"\n\r\n");
            }
        }
        out
    }
}

/// A raw cell: plain, quoted with anything inside, in another encoding.
fn cell(separator: u8) -> impl Strategy<Value = Vec<u8>> {
    let plain = "[A-Za-z0-9 .'=+@_-]{1,8}".prop_map(String::into_bytes);
    let latin = Just(b"M\xfcller".to_vec());
    let greek = Just("Ωμέγα".as_bytes().to_vec());
    let inside = "[A-Za-z0-9,;\t\r\n\" é]{0,10}";
    let quoted = inside.prop_map(|text| format!("\"{}\"", text.replace('"', "\"\"")).into_bytes());
    let odd = Just(b"a\"b".to_vec());
    let empty = Just(Vec::new());
    prop_oneof![4 => plain, 1 => latin, 1 => greek, 4 => quoted, 1 => odd, 2 => empty].prop_filter(
        "a raw cell holds no separator outside quotation marks",
        move |cell| cell.first() == Some(&b'"') || !cell.contains(&separator),
    )
}

fn pieces() -> impl Strategy<Value = Pieces> {
    let separator = prop_oneof![Just(b','), Just(b';'), Just(b'\t')];
    (
        separator,
        2..6_usize,
        1..7_usize,
        any::<bool>(),
        any::<bool>(),
        0..9_usize,
    )
        .prop_flat_map(|(separator, columns, rows, mark, ends, blank_after)| {
            // names without separators, so that the first line shows which one it is; and no blank line of one cell
            let names =
                proptest::collection::vec("[A-Za-z]{1,6}".prop_map(String::into_bytes), columns);
            let row = proptest::collection::vec(cell(separator), columns);
            let rows = proptest::collection::vec(row, rows);
            let end = prop_oneof![Just("\n"), Just("\r\n"), Just("\r")];
            let line_ends = proptest::collection::vec(end, 8);
            (names, rows, line_ends).prop_map(move |(names, rows, line_ends)| {
                let last = rows.len();
                let all = [names].into_iter().chain(rows).zip(line_ends).enumerate();
                Pieces {
                    before: if mark {
                        b"\xef\xbb\xbf".to_vec()
                    } else {
                        Vec::new()
                    },
                    separator,
                    lines: all
                        .map(|(line, (cells, end))| {
                            (cells, if line == last && !ends { "" } else { end })
                        })
                        .collect(),
                    blank_after,
                }
            })
        })
}

/// How a text has to be written, by the rules alone.
fn raw(text: &str, separator: u8) -> Vec<u8> {
    let must = |c: char| c == char::from(separator) || matches!(c, '"' | '\r' | '\n');
    if text.chars().any(must) {
        format!("\"{}\"", text.replace('"', "\"\"")).into_bytes()
    } else {
        text.as_bytes().to_vec()
    }
}

fn cases() -> ProptestConfig {
    let long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    ProptestConfig::with_cases(if long { 200_000 } else { 3_000 })
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn every_byte_outside_the_cells_filled_in_stays(
        pieces in pieces(),
        wanted in proptest::collection::vec((0..8_usize, 0..7_usize, "[0-9]{1,2}[.,][0-9]{2}|[a-z,;\"\n]{0,4}"), 0..5),
    ) {
        let before = pieces.bytes(&|_, _| None);
        let sheet = Sheet::read("x.csv", &before).expect("is sound");
        let separator = match sheet.separator() {
            Separator::Comma => b',',
            Separator::Semicolon => b';',
            Separator::Tab => b'\t',
        };
        prop_assert_eq!(separator, pieces.separator);
        prop_assert_eq!(sheet.rows(), pieces.lines.len() - 1);
        let mut wanted = wanted;
        // the first wish for a cell is the one asked for here
        let mut seen = std::collections::BTreeSet::new();
        wanted.retain(|(row, column, _)| seen.insert((*row, *column)));
        let fillings: Vec<Filling> = wanted
            .iter()
            .map(|(row, column, text)| Filling { row: *row, column: *column, text: text.clone() })
            .collect();
        let after = sheet.filled(&fillings);
        let expected = pieces.bytes(&|row, column| {
            let (_, _, text) = wanted.iter().find(|(r, c, _)| (*r, *c) == (row, column))?;
            (sheet.cell(row, column) != text.as_str()).then(|| raw(text, separator))
        });
        prop_assert_eq!(&after, &expected);
        // what is filled in is read back, and filling it in again changes nothing
        let again = Sheet::read("x.csv", &after).expect("is sound");
        for (row, column, text) in &wanted {
            if *row < again.rows() && *column < again.columns().len() {
                prop_assert_eq!(again.cell(*row, *column), text.as_str());
            }
        }
        prop_assert_eq!(&again.filled(&fillings), &after);
        prop_assert_eq!(sheet.filled(&[]), before.clone());
    }

    /// Whatever the bytes: they are read, and come back as they were, or are refused with faults.
    #[test]
    fn any_bytes_come_back_or_are_refused(bytes in proptest::collection::vec(prop_oneof![Just(b'"'), Just(b','), Just(b';'), Just(b'\n'), Just(b'\r'), any::<u8>()], 0..60)) {
        match Sheet::read("x.csv", &bytes) {
            Ok(sheet) => prop_assert_eq!(sheet.filled(&[]), bytes),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }
}

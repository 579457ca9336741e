//! Text in any encoding and with any separator, as plain CSV.

use std::borrow::Cow;

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};

use crate::files::office::no_table;
use crate::files::separator::Separator;
use crate::text::Fault;

/// The text of a file, whatever encoding it is in; lines end in LF or CRLF.
pub fn any_text<'b>(file: &str, bytes: &'b [u8]) -> Result<Cow<'b, str>, Fault> {
    if let Some(what) = no_text(bytes) {
        return Err(Fault::of_file(file, what));
    }
    let text = match Encoding::for_bom(bytes) {
        Some((encoding, _)) => encoding.decode(bytes).0,
        None => match std::str::from_utf8(bytes) {
            Ok(text) if !text.contains('\0') => Cow::Borrowed(text),
            _ => without_mark(bytes).decode_without_bom_handling(bytes).0,
        },
    };
    if text.contains('\0') {
        let what = "found bytes that are no text, expected a table as a .csv file";
        return Err(Fault::of_file(file, what));
    }
    // lines that end in CR alone, as old programs write them
    Ok(match text.contains('\r') && !text.contains('\n') {
        true => Cow::Owned(text.replace('\r', "\n")),
        false => text,
    })
}

/// The encoding of a text that is not UTF-8 and has no mark.
fn without_mark(bytes: &[u8]) -> &'static Encoding {
    let nothing_at = |odd: usize| {
        let pairs = bytes.chunks_exact(2).take(64);
        pairs.filter(|pair| pair.get(odd) == Some(&0)).count() * 2
    };
    let looked_at = bytes.len().min(128) / 2;
    match (nothing_at(1) > looked_at, nothing_at(0) > looked_at) {
        (true, false) => UTF_16LE,
        (false, true) => UTF_16BE,
        _ => WINDOWS_1252,
    }
}

/// What a file is that is no text at all, and what to do.
fn no_text(bytes: &[u8]) -> Option<&'static str> {
    if bytes.starts_with(b"PK\x03\x04") {
        return Some(
            "this is a spreadsheet file (.xlsx or .ods) and not a .csv file: save its sheet as \u{201c}CSV UTF-8\u{201d}",
        );
    }
    no_table(bytes)
}

/// A CSV file of a course folder as the contract has it: UTF-8, commas, no columns or cells that are all empty at the
/// end. Its lines stay where they are.
pub fn plain_csv<'b>(file: &str, bytes: &'b [u8]) -> Result<Cow<'b, [u8]>, Fault> {
    let text = any_text(file, bytes)?;
    let (text, skipped, separator) = after_hint(text.trim_start_matches('\u{feff}'));
    let separator = separator.unwrap_or_else(|| likely(text));
    let rows = rows_of(text, separator);
    let width = width(&rows);
    let is_plain = separator == Separator::Comma
        && skipped == 0
        && std::str::from_utf8(bytes).is_ok()
        && text.len() + 3 >= bytes.len()
        && rows.iter().all(|(_, cells)| cells.len() <= width);
    if is_plain {
        return Ok(Cow::Borrowed(bytes));
    }
    let mut out = String::new();
    let mut line = 1_u64;
    for (at, mut cells) in rows {
        for _ in line..at.saturating_add(skipped) {
            out.push('\n');
        }
        if cells.iter().skip(width).all(|cell| cell.trim().is_empty()) {
            cells.truncate(width);
        }
        let row = crate::text::write_csv(&[], [cells]);
        // the empty header is one line
        let row = row.split_once('\n').map_or("", |(_, row)| row);
        out.push_str(row);
        let breaks = row.bytes().filter(|b| *b == b'\n').count();
        line = at.saturating_add(skipped).saturating_add(breaks as u64);
    }
    Ok(Cow::Owned(out.into_bytes()))
}

/// Cells of the header, what is empty at its end left out where nothing stands below either.
fn width(rows: &[(u64, Vec<String>)]) -> usize {
    let Some((_, header)) = rows.first() else {
        return 0;
    };
    let used = rows.iter().filter_map(|(_, cells)| {
        let cells = cells.get(..header.len()).unwrap_or(cells);
        cells.iter().rposition(|cell| !cell.trim().is_empty())
    });
    used.max().map_or(0, |last| last.saturating_add(1))
}

/// Past a first line `sep=;`.
pub(super) fn after_hint(text: &str) -> (&str, u64, Option<Separator>) {
    let Some((first, rest)) = text.split_once('\n') else {
        return (text, 0, None);
    };
    let said = first.trim_end_matches('\r').strip_prefix("sep=");
    match said.and_then(Separator::of) {
        Some(separator) => (rest, 1, Some(separator)),
        None => (text, 0, None),
    }
}

/// The separator that stands most often in the line that has most of them, among the first.
pub(super) fn likely(text: &str) -> Separator {
    let counts = Separator::ALL.map(|separator| {
        let rows = rows_of(text, separator);
        let widths = rows.iter().take(20).map(|(_, cells)| cells.len());
        let widths: Vec<usize> = widths.collect();
        // columns that most lines have
        let most = widths.iter().copied().max().unwrap_or(0);
        let of_most = widths.iter().filter(|width| **width == most).count();
        match most {
            0 | 1 => 0,
            most => of_most.saturating_mul(100).saturating_add(most),
        }
    });
    let best = Separator::ALL.into_iter().zip(counts);
    let best = best.max_by_key(|(separator, count)| (*count, *separator == Separator::Comma));
    best.map_or(Separator::Comma, |(separator, _)| separator)
}

/// The rows that are not blank, each with its line.
pub(super) fn rows_of(text: &str, separator: Separator) -> Vec<(u64, Vec<String>)> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator.byte())
        .from_reader(text.as_bytes());
    let (mut rows, mut record) = (Vec::new(), csv::StringRecord::new());
    let (mut line, mut counted) = (1_u64, 0_usize);
    let bytes = text.as_bytes();
    loop {
        let mut start = usize::try_from(reader.position().byte()).unwrap_or(usize::MAX);
        if !reader.read_record(&mut record).unwrap_or(false) {
            return rows;
        }
        while matches!(bytes.get(start), Some(b'\r' | b'\n')) {
            start = start.saturating_add(1);
        }
        let passed = bytes.get(counted..start).unwrap_or_default();
        line = line.saturating_add(passed.iter().filter(|b| **b == b'\n').count() as u64);
        counted = start;
        let cells: Vec<String> = record.iter().map(str::to_owned).collect();
        if cells.iter().any(|cell| !cell.trim().is_empty()) {
            rows.push((line, cells));
        }
    }
}

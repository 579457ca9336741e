//! Files as the world makes them: saved by spreadsheets, by registrars' systems, by hand.

pub mod books;
mod gradebooks;
mod kept;
mod large_books;
mod rosters;
mod saves;
pub mod seen;
mod sums;
mod typed;
mod unread;
mod world;

use std::ffi::OsStr;
use std::path::Path;
use std::process::Command;

use concordant::files::Folder;

/// What a command says.
pub struct Said {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

/// Runs the program itself in a directory.
pub fn run<S: AsRef<OsStr>>(at: &Path, arguments: &[S]) -> Said {
    let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(arguments)
        .current_dir(at)
        .output()
        .expect("runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Said {
        code: done.status.code(),
        out: text(&done.stdout),
        err: text(&done.stderr),
    }
}

pub fn demo() -> Folder {
    Folder::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/demo")).expect("a folder")
}

/// A folder with the CSV files that `chosen` names saved otherwise.
pub fn saved(
    folder: &Folder,
    chosen: impl Fn(&str) -> bool,
    save: impl Fn(Vec<Vec<String>>) -> Vec<Vec<String>>,
) -> Folder {
    let mut out = Folder::default();
    for (path, bytes) in folder.files() {
        let bytes = match path.ends_with(".csv") && chosen(path) {
            true => csv_of(&save(rows_of(bytes))),
            false => bytes.to_vec(),
        };
        out.insert(path, bytes).expect("fits");
    }
    out
}

fn rows_of(bytes: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(bytes);
    let rows = reader.records().map(|row| {
        let row = row.expect("a row");
        row.iter().map(str::to_owned).collect()
    });
    rows.collect()
}

fn csv_of(rows: &[Vec<String>]) -> Vec<u8> {
    let mut writer = csv::WriterBuilder::new()
        .flexible(true)
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for row in rows {
        writer.write_record(row).expect("is written");
    }
    writer.into_inner().expect("is written")
}

/// Every cell below the header, altered.
pub fn cells(rows: Vec<Vec<String>>, alter: impl Fn(&str, &str) -> String) -> Vec<Vec<String>> {
    let header = rows.first().cloned().unwrap_or_default();
    let below = rows.iter().skip(1).map(|row| {
        let named = row.iter().zip(&header);
        named.map(|(cell, name)| alter(name, cell)).collect()
    });
    std::iter::once(header.clone()).chain(below).collect()
}

//! Workbooks as programs of several makers save them, built part by part here or kept in `saved/` (an office suite, a second
//! spreadsheet program, a library for the old format, a password). What each ought to do was written down before it was
//! tried: see the sections of ISO/IEC 29500 (parts, relationships, cells) and OASIS OpenDocument 1.3 named beside them.

mod filled;
mod refused;
mod rosters;
mod told;

use std::io::{Cursor, Write as _};
use std::path::Path;

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::{Said, demo, run};

pub const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006";
const HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n";
/// Stands for where a cell is, until its row is known.
const HERE: &str = "\u{1}";

/// How a file is put into the zip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Packing {
    Usual,
    Stored,
    Zip64,
    /// Sizes and checksums behind each part, as whoever cannot go back writes them.
    Stream,
    Comment,
}

#[derive(Clone)]
pub struct Book(pub Vec<(String, Vec<u8>)>);

/// Name, state and cells of a sheet.
pub type Sheet<'s> = (&'s str, &'s str, String);

impl Book {
    pub fn of(sheets: &[Sheet]) -> Self {
        let mut kinds = String::new();
        let mut relations =
            format!("<Relationship Id=\"rId99\" Type=\"{OFFICE}/styles\" Target=\"styles.xml\"/>");
        let mut listed = String::new();
        let mut parts = Vec::new();
        for (number, (name, state, xml)) in (1..).zip(sheets) {
            kinds.push_str(&format!("<Override PartName=\"/xl/worksheets/sheet{number}.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml\"/>"));
            relations.push_str(&format!("<Relationship Id=\"rId{number}\" Type=\"{OFFICE}/worksheet\" Target=\"worksheets/sheet{number}.xml\"/>"));
            listed.push_str(&format!(
                "<sheet name=\"{name}\" sheetId=\"{number}\" state=\"{state}\" r:id=\"rId{number}\"/>"
            ));
            parts.push((format!("xl/worksheets/sheet{number}.xml"), xml.clone()));
        }
        let first = [
            (
                "[Content_Types].xml",
                format!(
                    "{HEAD}<Types xmlns=\"{PACKAGE}/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"xml\" ContentType=\"application/xml\"/><Default Extension=\"bin\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.printerSettings\"/><Override PartName=\"/xl/workbook.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml\"/><Override PartName=\"/xl/styles.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml\"/>{kinds}</Types>"
                ),
            ),
            (
                "_rels/.rels",
                format!(
                    "{HEAD}<Relationships xmlns=\"{PACKAGE}/relationships\"><Relationship Id=\"rId1\" Type=\"{OFFICE}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
                ),
            ),
            (
                "xl/workbook.xml",
                format!(
                    "{HEAD}<workbook xmlns=\"{MAIN}\" xmlns:r=\"{OFFICE}\"><sheets>{listed}</sheets></workbook>"
                ),
            ),
            (
                "xl/_rels/workbook.xml.rels",
                format!(
                    "{HEAD}<Relationships xmlns=\"{PACKAGE}/relationships\">{relations}</Relationships>"
                ),
            ),
            ("xl/styles.xml", styles()),
        ];
        let first = first.map(|(path, text)| (path.to_owned(), text));
        let all = first.into_iter().chain(parts);
        Self(all.map(|(path, text)| (path, text.into_bytes())).collect())
    }

    pub fn with(mut self, path: &str, bytes: Vec<u8>) -> Self {
        self.0.push((path.to_owned(), bytes));
        self
    }

    pub fn changed(mut self, path: &str, change: impl Fn(&str) -> String) -> Self {
        let part = self.0.iter_mut().find(|(known, _)| known == path);
        let (_, bytes) = part.expect("such a part");
        *bytes = change(std::str::from_utf8(bytes).expect("text")).into_bytes();
        self
    }

    pub fn renamed(self, rename: impl Fn(&str) -> String) -> Self {
        let parts = self.0.into_iter();
        Self(parts.map(|(path, bytes)| (rename(&path), bytes)).collect())
    }

    pub fn packed(&self) -> Vec<u8> {
        self.packed_as(Packing::Usual)
    }

    pub fn packed_as(&self, how: Packing) -> Vec<u8> {
        if how == Packing::Stream {
            let zip = ZipWriter::new_stream(Vec::new());
            return written(zip, &self.0, how)
                .finish()
                .expect("ends")
                .into_inner();
        }
        let mut zip = written(ZipWriter::new(Cursor::new(Vec::new())), &self.0, how);
        if how == Packing::Comment {
            zip.set_comment("from the registry");
        }
        zip.finish().expect("ends").into_inner()
    }
}

fn written<W: std::io::Write + std::io::Seek>(
    mut zip: ZipWriter<W>,
    parts: &[(String, Vec<u8>)],
    how: Packing,
) -> ZipWriter<W> {
    let options = SimpleFileOptions::default()
        .large_file(how == Packing::Zip64)
        .compression_method(match how {
            Packing::Stored => zip::CompressionMethod::Stored,
            _ => zip::CompressionMethod::Deflated,
        });
    for (path, bytes) in parts {
        zip.start_file(path.as_str(), options).expect("starts");
        zip.write_all(bytes).expect("is written");
    }
    zip
}

/// Style 0 is plain; 1 shows seven digits, 2 a percentage, 3 a day, 4 text (ISO/IEC 29500-1, 18.8.30).
fn styles() -> String {
    let formats = [0, 164, 10, 14, 49];
    let formats = formats.map(|format| format!("<xf numFmtId=\"{format}\" fontId=\"0\" fillId=\"0\" borderId=\"0\" xfId=\"0\" applyNumberFormat=\"1\"/>"));
    format!(
        "{HEAD}<styleSheet xmlns=\"{MAIN}\"><numFmts count=\"1\"><numFmt numFmtId=\"164\" formatCode=\"0000000\"/></numFmts><fonts count=\"1\"><font/></fonts><fills count=\"1\"><fill/></fills><borders count=\"1\"><border/></borders><cellStyleXfs count=\"1\"><xf/></cellStyleXfs><cellXfs count=\"5\">{}</cellXfs></styleSheet>",
        formats.concat()
    )
}

pub fn text(text: &str) -> String {
    let text = text.replace('&', "&amp;").replace('<', "&lt;");
    format!("<c r=\"{HERE}\" t=\"inlineStr\"><is><t xml:space=\"preserve\">{text}</t></is></c>")
}

pub fn number(written: &str, style: u8) -> String {
    format!("<c r=\"{HERE}\" s=\"{style}\"><v>{written}</v></c>")
}

pub fn blank(style: u8) -> String {
    format!("<c r=\"{HERE}\" s=\"{style}\"/>")
}

/// With the value that whoever saved it had worked out, of a kind such as `str` or `e`.
pub fn formula(formula: &str, kind: &str, value: &str) -> String {
    format!("<c r=\"{HERE}\" t=\"{kind}\"><f>{formula}</f><v>{value}</v></c>")
}

pub fn error(code: &str) -> String {
    format!("<c r=\"{HERE}\" t=\"e\"><v>{code}</v></c>")
}

/// A sheet with these rows from its first on, an empty text standing for no cell; attributes of rows; what follows the data.
pub fn sheet_with(rows: &[Vec<String>], attributes: &str, after: &str) -> String {
    let rows: String = (1..)
        .zip(rows)
        .map(|(line, row)| {
            let cells: String = (b'A'..)
                .zip(row)
                .map(|(column, cell)| cell.replace(HERE, &format!("{}{line}", char::from(column))))
                .collect();
            format!("<row r=\"{line}\"{attributes}>{cells}</row>")
        })
        .collect();
    format!("{HEAD}<worksheet xmlns=\"{MAIN}\"><sheetData>{rows}</sheetData>{after}</worksheet>")
}

pub fn sheet(rows: &[Vec<String>]) -> String {
    sheet_with(rows, "", "")
}

pub fn texts(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|cell| text(cell)).collect()
}

/// A course with experiments and no students, in `c.db`.
pub fn empty_course() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a directory");
    let at = place.path();
    demo().write(&at.join("demo")).expect("written");
    std::fs::create_dir(at.join("course")).expect("made");
    std::fs::copy(at.join("demo/course.toml"), at.join("course/course.toml")).expect("copied");
    std::fs::write(
        at.join("course/roster.csv"),
        "student_id,family_name,given_name,section\n",
    )
    .expect("written");
    let said = run(at, &["import", "course", "--db", "c.db"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    place
}

/// The roster that such a file makes of the course, a line to a student in the order of ids; or what is said instead.
pub fn brought_in(at: &Path, name: &str, bytes: &[u8]) -> Result<Vec<Vec<String>>, Said> {
    std::fs::write(at.join(name), bytes).expect("written");
    std::fs::copy(at.join("c.db"), at.join("tried.db")).expect("copied");
    let said = run(at, &["import", name, "--db", "tried.db", "--yes"]);
    if said.code != Some(0) {
        return Err(said);
    }
    let said = run(
        at,
        &["export", "--db", "tried.db", "--out", "out", "--force"],
    );
    assert_eq!(said.code, Some(0), "{}", said.err);
    let mut reader = csv::Reader::from_path(at.join("out/roster.csv")).expect("a roster");
    let mut rows: Vec<Vec<String>> = reader
        .records()
        .map(|row| row.expect("a row").iter().map(str::to_owned).collect())
        .collect();
    rows.sort();
    Ok(rows)
}

/// A graded course, in `c.db`.
pub fn graded_course() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a directory");
    demo().write(&place.path().join("demo")).expect("written");
    for line in [
        ["import", "demo", "--db", "c.db"],
        ["grade", "demo", "--out", "grades"],
    ] {
        let said = run(place.path(), &line);
        assert_eq!(said.code, Some(0), "{}", said.err);
    }
    place
}

/// Points of a student, by the gradebook.
pub fn total(at: &Path, id: &str) -> String {
    let book = std::fs::read_to_string(at.join("grades/gradebook.csv")).expect("grades");
    let line = book.lines().find(|line| line.starts_with(id));
    let line = line.expect("the student");
    line.rsplit(',').next().expect("a total").to_owned()
}

/// What `fill` makes of a file whose column “Titration” is for the totals; or what is said instead.
pub fn fill(at: &Path, name: &str, bytes: &[u8]) -> Result<(Vec<u8>, Said), Said> {
    std::fs::write(at.join(name), bytes).expect("written");
    let line = [
        "fill",
        name,
        "--db",
        "c.db",
        "--id",
        "Student ID",
        "--total",
        "Titration",
        "--out",
        "filled.xlsx",
        "--force",
    ];
    let said = run(at, &line);
    if said.code != Some(0) {
        return Err(said);
    }
    Ok((std::fs::read(at.join("filled.xlsx")).expect("a file"), said))
}

/// The parts of a zip file, byte for byte.
pub fn parts(zip: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).expect("a zip file");
    let mut part = |number| {
        let mut part = archive.by_index(number).expect("a part");
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut part, &mut bytes).expect("is read");
        (part.name().to_owned(), bytes)
    };
    (0..)
        .take(
            zip::ZipArchive::new(Cursor::new(zip))
                .expect("a zip file")
                .len(),
        )
        .map(&mut part)
        .collect()
}

//! Workbooks with a roster, part by part as spreadsheet programs write them.

use std::io::{Cursor, Read as _, Write as _};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::rosters::PEOPLE;

/// A workbook with the parts that spreadsheet programs write: the roster on the second sheet, ids as numbers.
pub fn workbook() -> Vec<u8> {
    let mut shared = Vec::new();
    let mut text = |text: &str| {
        shared.push(format!("<si><t>{text}</t></si>"));
        format!("t=\"s\"><v>{}</v></c>", shared.len() - 1)
    };
    let mut rows = String::new();
    let header = ["Student Number", "Surname", "Forename", "Group"];
    let head: String = (0..4)
        .map(|place| {
            format!(
                "<c r=\"{}3\" {}",
                ["A", "B", "C", "D"][place],
                text(header[place])
            )
        })
        .collect();
    rows.push_str(&format!(
        "<row r=\"1\"><c r=\"A1\" {}</row><row r=\"3\">{head}</row>",
        text("Enrolment, autumn 2026")
    ));
    for (number, [_, family, given, section]) in PEOPLE.into_iter().enumerate() {
        let row = number + 4;
        rows.push_str(&format!(
            "<row r=\"{row}\"><c r=\"A{row}\" s=\"0\"><v>{}</v></c><c r=\"B{row}\" {}<c r=\"C{row}\" {}<c r=\"D{row}\" {}</row>",
            4_100_870 + number, text(family), text(given), text(section)
        ));
    }
    let head = "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>";
    let main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    let office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let package = "http://schemas.openxmlformats.org/package/2006";
    let sheet = |rows: &str| {
        format!("{head}<worksheet xmlns=\"{main}\"><sheetData>{rows}</sheetData></worksheet>")
    };
    let parts = [
        (
            "[Content_Types].xml",
            format!(
                "{head}<Types xmlns=\"{package}/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"xml\" ContentType=\"application/xml\"/><Override PartName=\"/xl/workbook.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml\"/><Override PartName=\"/xl/worksheets/sheet1.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml\"/><Override PartName=\"/xl/worksheets/sheet2.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml\"/><Override PartName=\"/xl/sharedStrings.xml\" ContentType=\"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml\"/></Types>"
            ),
        ),
        (
            "_rels/.rels",
            format!(
                "{head}<Relationships xmlns=\"{package}/relationships\"><Relationship Id=\"rId1\" Type=\"{office}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
            ),
        ),
        (
            "xl/workbook.xml",
            format!(
                "{head}<workbook xmlns=\"{main}\" xmlns:r=\"{office}\"><sheets><sheet name=\"Notes\" sheetId=\"1\" r:id=\"rId1\"/><sheet name=\"Enrolled\" sheetId=\"2\" r:id=\"rId2\"/></sheets></workbook>"
            ),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            format!(
                "{head}<Relationships xmlns=\"{package}/relationships\"><Relationship Id=\"rId1\" Type=\"{office}/worksheet\" Target=\"worksheets/sheet1.xml\"/><Relationship Id=\"rId2\" Type=\"{office}/worksheet\" Target=\"worksheets/sheet2.xml\"/><Relationship Id=\"rId3\" Type=\"{office}/sharedStrings\" Target=\"sharedStrings.xml\"/></Relationships>"
            ),
        ),
        (
            "xl/worksheets/sheet1.xml",
            sheet(
                "<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>Nothing of use</t></is></c></row>",
            ),
        ),
        ("xl/worksheets/sheet2.xml", sheet(&rows)),
        (
            "xl/sharedStrings.xml",
            format!("{head}<sst xmlns=\"{main}\">{}</sst>", shared.concat()),
        ),
    ];
    zipped(&parts)
}

pub fn zipped(parts: &[(&str, String)]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (path, text) in parts {
        let stored = SimpleFileOptions::default().compression_method(match *path {
            "mimetype" => zip::CompressionMethod::Stored,
            _ => zip::CompressionMethod::Deflated,
        });
        zip.start_file(*path, stored).expect("starts");
        zip.write_all(text.as_bytes()).expect("is written");
    }
    zip.finish().expect("ends").into_inner()
}

/// The parts of such a file by their paths.
pub fn parts(zip: &[u8]) -> Vec<(String, String)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).expect("a zip file");
    let part = |number| {
        let mut part = archive.by_index(number).expect("a part");
        let mut text = String::new();
        part.read_to_string(&mut text).expect("is text");
        (part.name().to_owned(), text)
    };
    (0..zip::ZipArchive::new(Cursor::new(zip))
        .expect("a zip file")
        .len())
        .map(part)
        .collect()
}

/// The file of these parts with another text in one of them.
pub fn with_part(parts: &[(String, String)], path: &str, text: String) -> Vec<u8> {
    let others = parts.iter().map(|(known, kept)| match known == path {
        true => (known.as_str(), text.clone()),
        false => (known.as_str(), kept.clone()),
    });
    zipped(&others.collect::<Vec<_>>())
}

pub fn open_document() -> Vec<u8> {
    let cell = |text: &str| {
        format!(
            "<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>"
        )
    };
    let row = |cells: [&str; 4]| {
        format!(
            "<table:table-row>{}</table:table-row>",
            cells.map(cell).concat()
        )
    };
    let rows: String = PEOPLE.map(row).concat();
    let header = row(["Matrikel-Nr.", "Nachname", "Vorname", "Praktikumsgruppe"]);
    let office = "urn:oasis:names:tc:opendocument:xmlns";
    let kind = "application/vnd.oasis.opendocument.spreadsheet";
    zipped(&[
        ("mimetype", kind.to_owned()),
        (
            "META-INF/manifest.xml",
            format!(
                "<?xml version=\"1.0\"?><manifest:manifest xmlns:manifest=\"{office}:manifest:1.0\"><manifest:file-entry manifest:full-path=\"/\" manifest:media-type=\"{kind}\"/><manifest:file-entry manifest:full-path=\"content.xml\" manifest:media-type=\"text/xml\"/></manifest:manifest>"
            ),
        ),
        (
            "content.xml",
            format!(
                "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"{office}:office:1.0\" xmlns:table=\"{office}:table:1.0\" xmlns:text=\"{office}:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"Teilnehmer\">{header}{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
            ),
        ),
    ])
}

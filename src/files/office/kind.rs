//! What a file is that holds no table to be read, and what to do about it.

use super::package::{Package, Unreadable};

/// How far into a text its kind is looked for.
const BEGINNING: usize = 4096;

const PASSWORD: &str = "this file opens only with a password: save a copy without one (as .xlsx or \u{201c}CSV UTF-8\u{201d})";

/// What a file is by its first bytes, where that is no table; none where it may be one.
pub fn no_table(bytes: &[u8]) -> Option<&'static str> {
    if bytes.starts_with(b"\xd0\xcf\x11\xe0") {
        return Some(of_compound(bytes));
    }
    if bytes.starts_with(b"%PDF") {
        return Some("this is a PDF file, expected a table: save it as \u{201c}CSV UTF-8\u{201d}");
    }
    let start = bytes.get(..BEGINNING).unwrap_or(bytes);
    // bytes of UTF-16 are those of its letters with others between them
    let start: Vec<u8> = start.iter().copied().filter(|byte| *byte != 0).collect();
    let start = String::from_utf8_lossy(&start).to_lowercase();
    let start = start.trim_start_matches(|c: char| !matches!(c, '<' | 'a'..='z' | '0'..='9' | '"'));
    if !start.starts_with('<') {
        return None;
    }
    let holds = |what: &str| start.contains(what);
    if holds("urn:schemas-microsoft-com:office:spreadsheet") && !holds("<html") {
        return Some(
            "this is an \u{201c}XML Spreadsheet 2003\u{201d}: open it in a spreadsheet program and save it as .xlsx",
        );
    }
    if holds("<office:document") {
        return Some(
            "this is a flat open document (.fods): open it in a spreadsheet program and save it as .ods or .xlsx",
        );
    }
    let of_web = [
        "<!doctype html",
        "<html",
        "<head",
        "<body",
        "<table",
        "<meta",
        "<style",
    ];
    of_web.iter().any(|tag| holds(tag)).then_some(
        "this is a web page (HTML) under the name of a table: open it in a spreadsheet program and save it as .xlsx",
    )
}

/// What a compound file holds: the old kinds of documents, and new ones with a password (MS-OFFCRYPTO, 2.3).
fn of_compound(bytes: &[u8]) -> &'static str {
    let named = |name: &str| {
        let wide: Vec<u8> = name.encode_utf16().flat_map(u16::to_le_bytes).collect();
        bytes.windows(wide.len()).any(|part| part == wide)
    };
    if named("EncryptedPackage") {
        return PASSWORD;
    }
    if named("WordDocument") {
        return "this is a text document of the old kind (.doc), expected a table: save it as \u{201c}CSV UTF-8\u{201d}";
    }
    "this is a spreadsheet file of the old kind (.xls): save it as .xlsx or as \u{201c}CSV UTF-8\u{201d}"
}

/// What a package is, where no sheet can be read in it.
pub fn no_table_within(package: &mut Package<'_>) -> Result<Option<&'static str>, Unreadable> {
    if let Some(manifest) = package.part("META-INF/manifest.xml")?
        && manifest.contains("encryption-data")
    {
        return Ok(Some(PASSWORD));
    }
    let kind = package.part("mimetype")?.unwrap_or_default();
    let kind = kind
        .trim()
        .strip_prefix("application/vnd.oasis.opendocument.");
    let is_sheet = |kind: &str| kind.starts_with("spreadsheet");
    let has = |start: &str| package.names().any(|name| name.starts_with(start));
    Ok(
        if kind.is_some_and(|kind| !is_sheet(kind)) || has("word/") || has("ppt/") {
            Some(
                "this is a text document or a presentation, not a workbook: save the table as .xlsx or as \u{201c}CSV UTF-8\u{201d}",
            )
        } else if has("xl/workbook.bin") {
            Some("this is a binary workbook (.xlsb): save it as .xlsx")
        } else if has("index/document.iwa") || has("index.zip") {
            Some("this is a document of Numbers: export it as .xlsx")
        } else {
            None
        },
    )
}

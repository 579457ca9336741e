//! A package: parts in a zip file, each read only when it is asked for, all of them together within bounds.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt::{self, Display, Formatter};
use std::io::{Cursor, Read as _, Write as _};
use std::ops::Range;

use encoding_rs::{UTF_16BE, UTF_16LE};
use quick_xml::events::BytesStart;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::xml::{Takes, attribute, go_through};

/// Most bytes of all parts that are read, unpacked. Pictures and the like are not read.
const MOST_UNPACKED: u64 = 64 * 1024 * 1024;
/// Most bytes of one tag: every one of its attributes is looked at when one of them is asked for.
const MOST_OF_TAG: usize = 16 * 1024;

/// A zip file by its parts, whatever case and strokes their names are written with.
pub struct Package<'b> {
    zip: ZipArchive<Cursor<&'b [u8]>>,
    places: BTreeMap<String, usize>,
    /// How many bytes may still be unpacked.
    left: u64,
}

/// Why a package cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unreadable {
    /// Its bytes are not what was written.
    Damaged(String),
    /// It holds something else than was expected.
    Other(String),
}

/// A sheet of a workbook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetPart {
    pub name: String,
    pub path: String,
    /// Whether nobody sees it who opens the file.
    pub is_hidden: bool,
}

/// A workbook (ISO/IEC 29500-1, 12.3) and where its parts are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BookParts {
    pub path: String,
    pub sheets: Vec<SheetPart>,
    pub strings: Option<String>,
    pub styles: Option<String>,
    /// Whether days are counted from 1904.
    pub from_1904: bool,
}

impl From<String> for Unreadable {
    fn from(why: String) -> Self {
        Self::Other(why)
    }
}

impl Display for Unreadable {
    fn fmt(&self, out: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Damaged(why) => write!(
                out,
                "found a file that cannot be read, since it is damaged or was cut off ({why}): fetch it or save it again"
            ),
            Self::Other(why) => out.write_str(why),
        }
    }
}

impl<'b> Package<'b> {
    pub fn open(bytes: &'b [u8]) -> Result<Self, Unreadable> {
        let zip = ZipArchive::new(Cursor::new(bytes));
        let zip = zip.map_err(|why| Unreadable::Damaged(why.to_string()))?;
        let named = |place| Some((known(zip.name_for_index(place)?), place));
        let places = (0..zip.len()).filter_map(named).collect();
        Ok(Self {
            zip,
            places,
            left: MOST_UNPACKED,
        })
    }

    /// Its parts, by their names in small letters.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.places.keys().map(String::as_str)
    }

    /// Which entry of the zip file a part is.
    pub fn place(&self, path: &str) -> Option<usize> {
        self.places.get(&known(path)).copied()
    }

    /// The text of a part; none where there is no such part.
    pub fn part(&mut self, path: &str) -> Result<Option<String>, Unreadable> {
        let Some(place) = self.place(path) else {
            return Ok(None);
        };
        let damaged = |why: String| Unreadable::Damaged(format!("{path}: {why}"));
        let part = self.zip.by_index(place);
        let part = part.map_err(|why| damaged(why.to_string()))?;
        let mut bytes = Vec::new();
        // whatever size it states
        part.take(self.left.saturating_add(1))
            .read_to_end(&mut bytes)
            .map_err(|why| damaged(why.to_string()))?;
        let left = self.left.checked_sub(bytes.len() as u64);
        self.left = left.ok_or_else(|| {
            format!("unpacked it has more than {MOST_UNPACKED} bytes, which are the most expected; empty rows that are formatted count too: delete those below the table")
        })?;
        let text = decoded(bytes).map_err(|why| format!("{path}: {why}"))?;
        within_tags(&text)?;
        Ok(Some(text))
    }

    /// A part that has to be there.
    pub fn needed(&mut self, path: &str) -> Result<String, Unreadable> {
        let part = self.part(path)?;
        Ok(part.ok_or_else(|| format!("found no part {path}"))?)
    }

    /// The workbook, wherever the package says that it is; none where it says nothing of one.
    pub fn workbook(&mut self) -> Result<Option<BookParts>, Unreadable> {
        let main = self.relations("")?;
        let main = main.into_iter().find(|one| one.is("officeDocument"));
        let path = main.map_or_else(|| "xl/workbook.xml".to_owned(), |one| one.target);
        let Some(text) = self.part(&path)? else {
            return Ok(None);
        };
        let mut listed = Listed::default();
        go_through(&text, &mut listed)?;
        let relations = self.relations(&path)?;
        let target = |kind| {
            let found = relations.iter().find(|one| one.is(kind));
            found.map(|one| one.target.clone())
        };
        let mut sheets = Vec::new();
        for (name, id, is_hidden) in listed.sheets {
            let Some(one) = relations.iter().find(|one| one.id == id) else {
                return Err(format!("found no part of the sheet {name}").into());
            };
            // a sheet may also be a chart or a dialogue
            if one.is("worksheet") {
                let path = one.target.clone();
                sheets.push(SheetPart {
                    name,
                    path,
                    is_hidden,
                });
            }
        }
        Ok(Some(BookParts {
            sheets,
            strings: target("sharedStrings"),
            styles: target("styles"),
            from_1904: listed.from_1904,
            path,
        }))
    }

    /// The same file with other texts in some of its entries; every other byte of its parts is as it was.
    pub fn with(&mut self, changed: &BTreeMap<usize, String>) -> Result<Vec<u8>, Unreadable> {
        let damaged = |why: zip::result::ZipError| Unreadable::Damaged(why.to_string());
        let mut out = ZipWriter::new(Cursor::new(Vec::new()));
        out.set_raw_comment(self.zip.comment().into());
        for place in 0..self.zip.len() {
            let entry = self.zip.by_index_raw(place).map_err(damaged)?;
            let Some(text) = changed.get(&place) else {
                out.raw_copy_file(entry).map_err(damaged)?;
                continue;
            };
            let options = SimpleFileOptions::default()
                .compression_method(CompressionMethod::Deflated)
                .last_modified_time(entry.last_modified().unwrap_or_default());
            out.start_file(entry.name(), options).map_err(damaged)?;
            out.write_all(as_utf_8(text).as_bytes())
                .map_err(|why| why.to_string())?;
        }
        Ok(out.finish().map_err(damaged)?.into_inner())
    }

    /// What a part refers to; the package itself where it has no name (ISO/IEC 29500-2, 6.5).
    fn relations(&mut self, part: &str) -> Result<Vec<Relation>, Unreadable> {
        let (folder, name) = part.rsplit_once('/').unwrap_or(("", part));
        let path = resolved(folder, &format!("_rels/{name}.rels"));
        let mut relations = Relations {
            folder,
            all: Vec::new(),
        };
        if let Some(text) = self.part(&path)? {
            go_through(&text, &mut relations)?;
        }
        Ok(relations.all)
    }
}

/// A relationship of a part.
struct Relation {
    id: String,
    kind: String,
    target: String,
}

impl Relation {
    /// By the end of its address, which is one in the strict and another in the transitional kind.
    fn is(&self, kind: &str) -> bool {
        self.kind
            .rsplit_once('/')
            .is_some_and(|(_, end)| end == kind)
    }
}

struct Relations<'f> {
    folder: &'f str,
    all: Vec<Relation>,
}

impl Takes for Relations<'_> {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        let of = |name| attribute(element, name);
        if element.local_name().as_ref() == b"Relationship"
            && of("TargetMode")?.is_none_or(|mode| mode != "External")
        {
            self.all.push(Relation {
                id: of("Id")?.unwrap_or_default(),
                kind: of("Type")?.unwrap_or_default(),
                target: resolved(self.folder, &of("Target")?.unwrap_or_default()),
            });
        }
        Ok(())
    }

    fn end(&mut self, _: &[u8], _: Range<usize>) -> Result<(), String> {
        Ok(())
    }

    fn said(&mut self, _: &str) {}
}

/// What a workbook lists: its sheets by name and relationship, and whether each is hidden.
#[derive(Default)]
struct Listed {
    sheets: Vec<(String, String, bool)>,
    from_1904: bool,
}

impl Takes for Listed {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        let of = |name| attribute(element, name);
        match element.local_name().as_ref() {
            b"workbookPr" => {
                let set = of("date1904")?;
                self.from_1904 = set.is_some_and(|set| matches!(set.as_str(), "1" | "true" | "on"));
            }
            b"sheet" => {
                let is_hidden = of("state")?.is_some_and(|state| state != "visible");
                let name = of("name")?.unwrap_or_default();
                self.sheets
                    .push((name, of("id")?.unwrap_or_default(), is_hidden));
            }
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, _: &[u8], _: Range<usize>) -> Result<(), String> {
        Ok(())
    }

    fn said(&mut self, _: &str) {}
}

/// A name of a part as it is looked for: case says nothing, and some programs write strokes the other way.
fn known(path: &str) -> String {
    let path = path.replace('\\', "/").to_ascii_lowercase();
    path.trim_start_matches('/').to_owned()
}

/// The path of a part that another one in a folder refers to.
fn resolved(folder: &str, target: &str) -> String {
    let target = target.replace('\\', "/");
    let whole = match target.starts_with('/') {
        true => target,
        false => format!("{folder}/{target}"),
    };
    let mut steps: Vec<&str> = Vec::new();
    for step in whole.split('/') {
        match step {
            "" | "." => {}
            ".." => drop(steps.pop()),
            step => steps.push(step),
        }
    }
    steps.join("/")
}

/// The text of a part, which is UTF-8 or UTF-16 (ISO/IEC 29500-2, 6.2.5).
fn decoded(bytes: Vec<u8>) -> Result<String, String> {
    let (other, skipped) = match bytes.as_slice() {
        [0xff, 0xfe, ..] => (Some(UTF_16LE), 2),
        [0xfe, 0xff, ..] => (Some(UTF_16BE), 2),
        [b'<', 0, ..] => (Some(UTF_16LE), 0),
        [0, b'<', ..] => (Some(UTF_16BE), 0),
        [0xef, 0xbb, 0xbf, ..] => (None, 3),
        _ => (None, 0),
    };
    if let Some(encoding) = other {
        let bytes = bytes.get(skipped..).unwrap_or_default();
        return Ok(encoding.decode_without_bom_handling(bytes).0.into_owned());
    }
    let mut text = String::from_utf8(bytes).map_err(|why| why.to_string())?;
    text.drain(..skipped);
    Ok(text)
}

/// A text that says of itself that it is UTF-8, as which it is written, whatever it was read as.
fn as_utf_8(text: &str) -> Cow<'_, str> {
    let (start, rest) = match text.split_once("?>") {
        Some((start, rest)) if start.starts_with("<?xml") => (start, rest),
        _ => return Cow::Borrowed(text),
    };
    match start.to_ascii_lowercase().contains("utf-16") {
        true => {
            let start = start.replace("UTF-16", "UTF-8").replace("utf-16", "UTF-8");
            Cow::Owned(format!("{start}?>{rest}"))
        }
        false => Cow::Borrowed(text),
    }
}

/// That no tag is longer than expected.
fn within_tags(text: &str) -> Result<(), String> {
    let mut of_tag = 0_usize;
    for byte in text.bytes() {
        // a bracket within an attribute begins a count anew, which makes no tag look longer than it is
        of_tag = match byte {
            b'<' => 1,
            b'>' => 0,
            _ if of_tag > 0 => of_tag.saturating_add(1),
            _ => 0,
        };
        if of_tag > MOST_OF_TAG {
            return Err(format!(
                "found a tag of more than {MOST_OF_TAG} bytes, which are the most expected"
            ));
        }
    }
    Ok(())
}

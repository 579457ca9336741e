//! What both kinds of office files ask of their XML.

use std::ops::Range;

use quick_xml::Reader;
use quick_xml::escape::{resolve_predefined_entity, unescape};
use quick_xml::events::{BytesRef, BytesStart, Event};

/// Something that takes in a document piece by piece.
pub trait Takes {
    /// A start tag, and where it stands; that of an empty element is followed by its end at once.
    fn start(&mut self, element: &BytesStart, at: Range<usize>) -> Result<(), String>;
    /// An end tag, by its name without prefix, and where it stands: nowhere where the element is an empty one.
    fn end(&mut self, name: &[u8], at: Range<usize>) -> Result<(), String>;
    fn said(&mut self, text: &str);
}

/// Goes through a whole document.
///
/// # Errors
/// XML that is not well-formed or ends before its elements do, and what is refused by whoever takes it in.
pub fn go_through(xml: &str, into: &mut impl Takes) -> Result<(), String> {
    let mut reader = Reader::from_str(xml);
    let mut depth = 0_usize;
    loop {
        let from = position(&reader);
        let event = reader.read_event().map_err(|why| why.to_string())?;
        let at = from..position(&reader);
        match event {
            Event::Start(element) => {
                depth = depth.saturating_add(1);
                into.start(&element, at)?;
            }
            Event::Empty(element) => {
                let end = at.end..at.end;
                into.start(&element, at)?;
                into.end(element.local_name().as_ref(), end)?;
            }
            Event::End(element) => {
                depth = depth.saturating_sub(1);
                into.end(element.local_name().as_ref(), at)?;
            }
            Event::Text(text) => {
                into.said(&text.xml10_content().map_err(|why| why.to_string())?);
            }
            Event::CData(text) => into.said(&text.decode().map_err(|why| why.to_string())?),
            Event::GeneralRef(reference) => into.said(&referred(&reference)?),
            Event::Eof if depth > 0 => {
                return Err("it ends in the middle of its content".to_owned());
            }
            Event::Eof => return Ok(()),
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::DocType(_) => {}
        }
    }
}

fn position(reader: &Reader<&[u8]>) -> usize {
    usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX)
}

/// An attribute by its name without prefix.
pub fn attribute(element: &BytesStart, name: &str) -> Result<Option<String>, String> {
    // twice the same says nothing here, and to look for it takes the square of their number
    for one in element.attributes().with_checks(false) {
        let one = one.map_err(|why| why.to_string())?;
        if one.key.local_name().as_ref() == name.as_bytes() {
            let value = std::str::from_utf8(&one.value).map_err(|why| why.to_string())?;
            let value = unescape(value).map_err(|why| why.to_string())?;
            return Ok(Some(value.into_owned()));
        }
    }
    Ok(None)
}

/// The character that a reference such as `&amp;` stands for.
fn referred(reference: &BytesRef) -> Result<String, String> {
    let character = reference.resolve_char_ref();
    if let Some(character) = character.map_err(|why| why.to_string())? {
        return Ok(character.to_string());
    }
    let name = reference.decode().map_err(|why| why.to_string())?;
    let text = resolve_predefined_entity(&name);
    let text = text.ok_or_else(|| format!("found the unknown reference \u{201c}{name}\u{201d}"))?;
    Ok(text.to_owned())
}

/// Column, from 0, and row, from 1, of a cell's name such as `D5`.
pub fn cell_place(name: &str) -> Option<(usize, u64)> {
    let at = name.find(|c: char| c.is_ascii_digit())?;
    let (letters, row) = name.split_at_checked(at)?;
    let column = letters.bytes().try_fold(0_usize, |sum, letter| {
        let letter = letter.to_ascii_uppercase();
        let digit = letter.checked_sub(b'A').filter(|digit| *digit < 26)?;
        sum.checked_mul(26)?
            .checked_add(usize::from(digit).checked_add(1)?)
    })?;
    Some((column.checked_sub(1)?, row.parse().ok()?))
}

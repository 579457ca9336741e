//! Number formats of cells (ISO/IEC 29500-1, 18.8.30 and 18.8.31): what a number looks like to whoever opens the file.

use std::collections::BTreeMap;
use std::ops::Range;

use quick_xml::events::BytesStart;

use super::xml::{Takes, attribute, go_through};

/// Most letters of a format that is looked at; spreadsheets take no longer ones.
const LONGEST: usize = 255;
/// Most styles of cells; spreadsheets take no more than 65,490.
const MOST_STYLES: usize = 65_536;

/// How a number is shown.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Format {
    /// As it is, for whoever wants to know the number: with decimals, thousands set apart, as money.
    #[default]
    Number,
    /// With zeros before it, or letters, as ids are: `0000000`, `000-0000`, `"S"0000000`.
    Padded(Vec<Piece>),
    Percent,
    Date,
}

/// A place of a format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece {
    /// A digit, or a zero in its place.
    Zero,
    /// A digit, or nothing in its place.
    Digit,
    Letter(char),
}

/// The formats of a workbook by the styles of its cells.
#[derive(Debug, Default)]
pub struct Formats {
    by_code: BTreeMap<u32, Format>,
    styles: Vec<u32>,
    in_styles: bool,
}

impl Formats {
    /// Out of `styles.xml`.
    pub fn read(xml: &str) -> Result<Self, String> {
        let mut formats = Self::default();
        go_through(xml, &mut formats)?;
        Ok(formats)
    }

    /// The format of cells of a style.
    pub fn of(&self, style: usize) -> Format {
        let code = self.styles.get(style).copied().unwrap_or(0);
        match code {
            9 | 10 => Format::Percent,
            14..=22 | 27..=36 | 45..=47 | 50..=58 => Format::Date,
            code => self.by_code.get(&code).cloned().unwrap_or_default(),
        }
    }
}

impl Takes for Formats {
    fn start(&mut self, element: &BytesStart, _: Range<usize>) -> Result<(), String> {
        let number = |name| {
            let text = attribute(element, name)?;
            Ok::<u32, String>(text.and_then(|text| text.parse().ok()).unwrap_or(0))
        };
        match element.local_name().as_ref() {
            b"numFmt" if self.by_code.len() < MOST_STYLES => {
                let code = attribute(element, "formatCode")?.unwrap_or_default();
                self.by_code
                    .insert(number("numFmtId")?, Format::of_code(&code));
            }
            b"cellXfs" => self.in_styles = true,
            b"xf" if self.in_styles && self.styles.len() < MOST_STYLES => {
                self.styles.push(number("numFmtId")?);
            }
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &[u8], _: Range<usize>) -> Result<(), String> {
        self.in_styles &= name != b"cellXfs";
        Ok(())
    }

    fn said(&mut self, _: &str) {}
}

impl Format {
    /// What a code means for numbers above zero.
    fn of_code(code: &str) -> Self {
        if code.len() > LONGEST || code.eq_ignore_ascii_case("general") {
            return Self::Number;
        }
        let (mut pieces, mut letters) = (Vec::new(), code.chars());
        let mut is_whole = true;
        while let Some(letter) = letters.next() {
            match letter {
                ';' => break,
                '"' => pieces.extend(
                    letters
                        .by_ref()
                        .take_while(|c| *c != '"')
                        .map(Piece::Letter),
                ),
                '\\' => pieces.extend(letters.next().map(Piece::Letter)),
                '[' => {
                    let within: String = letters.by_ref().take_while(|c| *c != ']').collect();
                    // time that has passed, such as [h]; all else is a colour, a currency or a condition
                    let within = within.to_ascii_lowercase();
                    if !within.is_empty() && within.chars().all(|c| "hms".contains(c)) {
                        return Self::Date;
                    }
                }
                // the width of a letter, and a letter that fills the cell
                '_' | '*' => drop(letters.next()),
                '0' => pieces.push(Piece::Zero),
                '#' | '?' => pieces.push(Piece::Digit),
                '%' => return Self::Percent,
                'd' | 'D' | 'm' | 'M' | 'y' | 'Y' | 'h' | 'H' | 's' | 'S' => return Self::Date,
                '.' | ',' | 'E' | 'e' | '/' | '@' => is_whole = false,
                letter => pieces.push(Piece::Letter(letter)),
            }
        }
        let zeros = pieces.iter().filter(|piece| **piece == Piece::Zero).count();
        let is_digit = |piece: &&Piece| !matches!(piece, Piece::Letter(_));
        let before = pieces.iter().take_while(|piece| !is_digit(piece));
        let named = before.filter(|piece| matches!(piece, Piece::Letter(c) if c.is_alphabetic()));
        let is_padded = zeros > 1 || zeros == 1 && named.count() > 0;
        match is_whole && is_padded {
            true => Self::Padded(pieces),
            false => Self::Number,
        }
    }
}

/// A whole number as such a format shows it.
pub fn padded(pieces: &[Piece], digits: &str) -> String {
    let mut digits = digits.chars().rev();
    let first = pieces
        .iter()
        .position(|piece| !matches!(piece, Piece::Letter(_)));
    let mut shown: Vec<char> = Vec::new();
    for (place, piece) in pieces.iter().enumerate().rev() {
        match piece {
            Piece::Letter(letter) => shown.push(*letter),
            Piece::Zero => shown.push(digits.next().unwrap_or('0')),
            Piece::Digit => shown.extend(digits.next()),
        }
        if Some(place) == first {
            shown.extend(digits.by_ref());
        }
    }
    shown.into_iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_shown_as_its_format_says() {
        // as a spreadsheet program (LibreOffice 7.4) shows 12301 by each
        let shown = |code: &str| match Format::of_code(code) {
            Format::Padded(pieces) => padded(&pieces, "12301"),
            other => format!("{other:?}"),
        };
        for (code, expected) in [
            ("0000000", "0012301"),
            ("000\\-0000", "001-2301"),
            ("\"S\"0000000", "S0012301"),
            ("\"S\"0", "S12301"),
            ("000", "12301"),
            ("[$-409]00000000;[Red]-0", "00012301"),
            ("0", "Number"),
            ("General", "Number"),
            ("#,##0.00\\ \"EUR\"", "Number"),
            ("0 \"pts\"", "Number"),
            ("0.0%", "Percent"),
            ("d\\-m", "Date"),
            ("[h]:mm", "Date"),
            ("yyyy\\-mm\\-dd;@", "Date"),
            ("@", "Number"),
        ] {
            assert_eq!(shown(code), expected, "{code}");
        }
    }
}

//! What a formula refers to (ISO/IEC 29500-1, 18.17.2), as far as it has to be known which values are still those of the
//! cells: by columns, and with doubt counted as yes.

use std::collections::BTreeSet;

/// Sheets by their places in the workbook, and columns from 0.
pub type Changed = BTreeSet<(usize, usize)>;

/// The columns that a formula refers to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Refers {
    /// It has a name, a table, another file or an address that is worked out: it may refer to anything.
    to_anything: bool,
    columns: BTreeSet<(usize, Column, Column)>,
}

/// A column, and whether it stays the same where the formula is copied to another cell.
type Column = (usize, bool);

impl Refers {
    /// What a formula says that stands on a sheet (`own`) of these, named in small letters.
    pub fn read(text: &str, own: usize, sheets: &[String]) -> Self {
        let mut refers = Self::default();
        let place = |name: &str| {
            let name = name.to_lowercase();
            sheets.iter().position(|known| *known == name)
        };
        let (mut rest, mut sheet, mut is_joined) = (text, Some(own), false);
        let mut last: Option<(usize, Column, Column)> = None;
        while let Some(first) = rest.chars().next() {
            let length = rest.find(|c| !is_of_word(c)).unwrap_or(rest.len());
            let (word, after) = rest.split_at(length);
            match first {
                '"' => rest = quoted(rest, '"').1,
                '\'' => {
                    let (name, after) = quoted(rest, '\'');
                    refers.to_anything |= !after.starts_with('!');
                    sheet = place(&name);
                    rest = after.trim_start_matches('!');
                }
                '[' => return Self::anything(),
                '#' => {
                    let error = |c: char| c.is_ascii_alphanumeric() || "#/!?_".contains(c);
                    rest = rest.trim_start_matches(error);
                }
                _ if first.is_whitespace() => rest = rest.trim_start(),
                _ if word.is_empty() => {
                    is_joined = first == ':' && last.is_some();
                    last = last.filter(|_| is_joined);
                    rest = rest.get(first.len_utf8()..).unwrap_or_default();
                }
                _ if after.starts_with('!') => {
                    sheet = place(word);
                    rest = after.trim_start_matches('!');
                }
                _ => {
                    let is_range = is_joined || after.starts_with(':');
                    rest = after;
                    match meant(word, is_range, after.starts_with('(')) {
                        Meant::Nothing => {}
                        Meant::Anything => return Self::anything(),
                        Meant::Column(column) => {
                            let Some(sheet) = sheet else {
                                return Self::anything();
                            };
                            let range = match last.take().filter(|_| is_joined) {
                                Some((sheet, from, _)) => (sheet, from, column),
                                None => (sheet, column, column),
                            };
                            refers.columns.insert(range);
                            last = Some(range);
                        }
                    }
                    (sheet, is_joined) = (Some(own), false);
                }
            }
        }
        refers
    }

    pub fn anything() -> Self {
        Self {
            to_anything: true,
            ..Self::default()
        }
    }

    /// Whether something has changed of what it refers to, copied so many columns further.
    pub fn meets(&self, changed: &Changed, further: isize) -> bool {
        let moved = |(column, is_fixed): Column| match is_fixed {
            true => column,
            false => column.saturating_add_signed(further),
        };
        let mut columns = self.columns.iter();
        self.to_anything
            || columns.any(|(sheet, from, to)| {
                let (from, to) = (moved(*from), moved(*to));
                let within = (*sheet, from.min(to))..=(*sheet, from.max(to));
                changed.range(within).next().is_some()
            })
    }
}

/// What a word of a formula means.
enum Meant {
    Nothing,
    Column(Column),
    Anything,
}

fn meant(word: &str, is_range: bool, is_function: bool) -> Meant {
    let upper = word.to_ascii_uppercase();
    if is_function {
        return match matches!(upper.as_str(), "INDIRECT" | "OFFSET") {
            true => Meant::Anything,
            false => Meant::Nothing,
        };
    }
    let is_number = word.starts_with(|c: char| c.is_ascii_digit() || c == '.');
    if is_number && !is_range || matches!(upper.as_str(), "TRUE" | "FALSE") {
        return Meant::Nothing;
    }
    let (is_fixed, name) = match upper.strip_prefix('$') {
        Some(name) => (true, name),
        None => (false, upper.as_str()),
    };
    let end = name.find(|c: char| !c.is_ascii_uppercase());
    let (letters, row) = name.split_at(end.unwrap_or(name.len()));
    let row = row.strip_prefix('$').unwrap_or(row);
    let is_cell = !row.is_empty() && row.bytes().all(|b| b.is_ascii_digit());
    let is_column = row.is_empty() && is_range;
    let place = match letters.len() {
        1..=3 if is_cell || is_column => super::xml::cell_place(&format!("{letters}1")),
        _ => None,
    };
    place.map_or(Meant::Anything, |(column, _)| {
        Meant::Column((column, is_fixed))
    })
}

fn is_of_word(c: char) -> bool {
    c.is_alphanumeric() || "_.$\\?".contains(c)
}

/// What stands in quotation marks at the beginning, doubled ones as one, and what follows.
fn quoted(text: &str, mark: char) -> (String, &str) {
    let mut within = String::new();
    let mut letters = text.char_indices().skip(1).peekable();
    while let Some((at, letter)) = letters.next() {
        if letter == mark && letters.next_if(|(_, next)| *next == mark).is_none() {
            let after = text.get(at.saturating_add(mark.len_utf8())..);
            return (within, after.unwrap_or_default());
        }
        within.push(letter);
    }
    (within, "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_is_known_by_its_columns() {
        let sheets = ["grades", "it's one"].map(str::to_owned);
        // columns C and D of the first sheet have changed, and F of the second
        let changed = Changed::from([(0, 2), (0, 3), (1, 5)]);
        let meets = |text: &str| Refers::read(text, 0, &sheets).meets(&changed, 0);
        for text in [
            "SUM(C2:D2)",
            "B2+$D$2",
            "SUM(A2 : E2)",
            "SUM(A2:Z2)",
            "SUM(B:E)",
            "'It''s one'!F3*2",
            "grades!C7",
            "INDIRECT(\"A1\")",
            "Table1[Points]",
            "Best_of",
            "1:3",
            "SUM(2:2)",
            "SUM('It''s one'!A1:G1)",
            "IF(TRUE,1,D9)",
            "Gone!A1",
        ] {
            assert!(meets(text), "{text}");
        }
        for text in [
            "TEXT(B2,\"0000000\")",
            "A2&\" C2 \"&B2",
            "SUM(E2:H2)",
            "'It''s one'!C2",
            "PROPER(\"Å\"\"C2\")",
            "TODAY()",
            "1E5+2.5",
            "LOG10(B2)",
            "IF(B2=#N/A,1,TRUE)",
            "_xlfn.STDEV.S(E2:F9)",
            "$E:$F",
        ] {
            assert!(!meets(text), "{text}");
        }
        // copied one column to the right
        let refers = Refers::read("SUM(A2:B2)+$B2", 0, &sheets);
        assert!(!refers.meets(&changed, 0) && refers.meets(&changed, 1));
        assert!(!Refers::read("$B2", 0, &sheets).meets(&changed, 1));
    }
}

//! What is wrong with a file: where, what was found, what was expected.

use std::fmt;

/// One fault of one file. It prints as `FILE:LINE, column NAME: found …, expected …` (`key` instead of `column` for
/// a TOML file).
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Path of the file within its folder.
    pub file: String,
    /// Line in the file, from 1.
    pub line: Option<u64>,
    /// Column of a CSV file, or dotted key of a TOML file.
    pub column: Option<String>,
    /// What was found and what was expected.
    pub what: String,
}

impl Fault {
    /// A fault of a file as a whole.
    pub fn of_file(file: impl Into<String>, what: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            line: None,
            column: None,
            what: one_line(&what.into()),
        }
    }

    /// A fault on a line.
    pub fn at(mut self, line: u64) -> Self {
        self.line = Some(line);
        self
    }

    /// A fault in a column, or at a key.
    pub fn in_column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(shown(&column.into()));
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        if let Some(column) = &self.column {
            let word = if self.file.ends_with(".toml") {
                "key"
            } else {
                "column"
            };
            write!(f, ", {word} {column}")?;
        }
        write!(f, ": {}", self.what)
    }
}

impl std::error::Error for Fault {}

/// “found “…”, expected …”, with a long text cut short so that a fault stays one readable line.
pub fn found(text: &str, expected: &str) -> String {
    if text.is_empty() {
        format!("found nothing, expected {expected}")
    } else {
        format!("found \u{201c}{}\u{201d}, expected {expected}", shown(text))
    }
}

/// The start of what somebody wrote.
pub fn shown(text: &str) -> String {
    const SHOWN: usize = 60;
    let mut chars = text.chars();
    let mut start = one_line(&chars.by_ref().take(SHOWN).collect::<String>());
    start.extend(chars.next().map(|_| '\u{2026}'));
    start
}

fn one_line(text: &str) -> String {
    let clean = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    text.chars().map(clean).collect()
}

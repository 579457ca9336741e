//! TOML files as tables whose keys are known, with the line of every fault; and tables back to text.

use std::cell::RefCell;

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::cells::{decimal, whole};
use super::fault::{Fault, found};

/// Of a longer text that is no TOML the first fault is told alone: there may be one at every sign.
const MOST_TOLD: usize = 16 * 1024;

/// A TOML file being read; faults gather in it.
pub struct Toml<'a> {
    file: &'a str,
    text: &'a str,
    /// Where each line ends: there may be as many faults as lines.
    ends: Vec<usize>,
    faults: RefCell<Vec<Fault>>,
}

/// A table of a TOML file.
#[derive(Clone, Copy)]
pub struct Section<'t> {
    toml: &'t Toml<'t>,
    table: &'t DeTable<'t>,
    path: &'t str,
    start: usize,
}

impl<'a> Toml<'a> {
    /// Reads a text and hands its root table to `read`, whose answer counts if there was no fault.
    pub fn read<T>(
        file: &str,
        text: &str,
        read: impl FnOnce(Section) -> Option<T>,
    ) -> Result<T, Vec<Fault>> {
        let toml = Toml {
            file,
            text,
            ends: text.match_indices('\n').map(|(at, _)| at).collect(),
            faults: RefCell::default(),
        };
        match DeTable::parse(text) {
            Ok(root) => {
                let section = Section {
                    toml: &toml,
                    table: root.get_ref(),
                    path: "",
                    start: 0,
                };
                let answer = read(section);
                if let (Some(answer), true) = (answer, toml.faults.borrow().is_empty()) {
                    return Ok(answer);
                }
            }
            Err(first) if text.len() > MOST_TOLD => toml.push_error(&first),
            Err(_) => {
                let (_, errors) = DeTable::parse_recoverable(text);
                errors.iter().for_each(|error| toml.push_error(error));
            }
        }
        let mut faults = toml.faults.into_inner();
        faults.sort_by_key(|fault| fault.line);
        Err(faults)
    }

    fn push_error(&self, error: &toml::de::Error) {
        let at = error.span().map_or(0, |span| span.start);
        self.push(at, None, error.message().replace('\n', "; "));
    }

    fn push(&self, at: usize, key: Option<String>, what: String) {
        let fault = Fault::of_file(self.file, what).at(self.line(at));
        self.faults.borrow_mut().push(match key {
            Some(key) => fault.in_column(key),
            None => fault,
        });
    }

    fn line(&self, at: usize) -> u64 {
        let before = self.ends.partition_point(|end| *end < at);
        (before as u64).saturating_add(1)
    }

    fn source(&self, value: &Spanned<DeValue>) -> &str {
        self.text.get(value.span()).unwrap_or_default()
    }
}

impl<'t> Section<'t> {
    /// Refuses every other key by name.
    pub fn only(&self, known: &[&str]) {
        let mut unknown: Vec<_> = self
            .table
            .iter()
            .filter(|(key, _)| !known.contains(&key.get_ref().as_ref()))
            .collect();
        unknown.sort_by_key(|(key, _)| key.span().start);
        for (key, _) in unknown {
            let what = found(
                key.get_ref(),
                &format!("one of the keys {}", known.join(", ")),
            );
            self.toml
                .push(key.span().start, Some(self.name(key.get_ref())), what);
        }
    }

    /// Whether the key is there.
    pub fn has(&self, key: &str) -> bool {
        self.table.get(key).is_some()
    }

    /// A fault at a key, which may be dotted, or at the table if the key is not there.
    pub fn fault(&self, key: &str, what: impl Into<String>) {
        self.toml
            .push(self.place(key), Some(self.name(key)), what.into());
    }

    /// A fault kept as it is.
    pub fn keep(&self, fault: Fault) {
        self.toml.faults.borrow_mut().push(fault);
    }

    /// How many faults there are so far.
    pub fn faults(&self) -> usize {
        self.toml.faults.borrow().len()
    }

    /// The line a key stands on, or the table's.
    pub fn line(&self, key: &str) -> u64 {
        self.toml.line(self.place(key))
    }

    fn place(&self, key: &str) -> usize {
        let mut at = self.start;
        let mut table = Some(self.table);
        for part in key.split('.') {
            let Some((name, value)) = table.and_then(|t| t.get_key_value(part)) else {
                break;
            };
            at = name.span().start;
            table = value.get_ref().as_table();
        }
        at
    }

    fn name(&self, key: &str) -> String {
        match (self.path, key) {
            ("", _) => key.to_owned(),
            (path, "") => path.to_owned(),
            (path, _) => format!("{path}.{key}"),
        }
    }

    fn missing(&self, key: &str, expected: &str) {
        self.fault(key, format!("found none, expected {expected}"));
    }

    fn wrong(&self, key: &str, value: &Spanned<DeValue>, expected: &str) {
        let what = match value.get_ref() {
            DeValue::String(text) => found(text, expected),
            DeValue::Table(_) => format!("found a table, expected {expected}"),
            DeValue::Array(_) => format!("found a list, expected {expected}"),
            _ => found(self.toml.source(value), expected),
        };
        self.fault(key, what);
    }

    fn text_of(&self, value: &Spanned<DeValue>) -> Option<String> {
        match value.get_ref() {
            DeValue::String(text) => Some(text.to_string()),
            DeValue::Integer(_) | DeValue::Float(_) | DeValue::Datetime(_) => {
                Some(self.toml.source(value).to_owned())
            }
            _ => None,
        }
    }

    /// A text that may be missing; a number or a date is taken as it is written.
    pub fn text_if_any(&self, key: &str) -> Option<String> {
        let value = self.table.get(key)?;
        let text = self.text_of(value);
        if text.is_none() {
            self.wrong(key, value, "a text");
        }
        text
    }

    /// A text that must be there.
    pub fn text(&self, key: &str) -> Option<String> {
        if !self.has(key) {
            self.missing(key, "a text");
        }
        self.text_if_any(key)
    }

    /// A text read further by `read`; it must be there.
    pub fn parsed<T>(&self, key: &str, read: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let text = self.text(key)?;
        read(&text).map_err(|what| self.fault(key, what)).ok()
    }

    /// A text read further by `read`, if it is there.
    pub fn parsed_if_any<T>(
        &self,
        key: &str,
        read: impl FnOnce(&str) -> Result<T, String>,
    ) -> Option<T> {
        let text = self.text_if_any(key)?;
        read(&text).map_err(|what| self.fault(key, what)).ok()
    }

    /// A number that must be there, quoted or bare.
    pub fn number(&self, key: &str) -> Option<Decimal> {
        if !self.has(key) {
            self.missing(key, "a number");
            return None;
        }
        self.parsed(key, decimal)
    }

    /// A number, or another one if the key is missing.
    pub fn number_or(&self, key: &str, default: Decimal) -> Option<Decimal> {
        if self.has(key) {
            self.number(key)
        } else {
            Some(default)
        }
    }

    /// A whole number in a range; it must be there.
    pub fn whole(&self, key: &str, range: std::ops::RangeInclusive<u32>) -> Option<u32> {
        if !self.has(key) {
            self.missing(key, "a whole number");
            return None;
        }
        self.parsed(key, |text| whole(text, range))
    }

    /// True or false, or another value if the key is missing.
    pub fn boolean_or(&self, key: &str, default: bool) -> bool {
        match self.table.get(key) {
            None => default,
            Some(value) => value.get_ref().as_bool().unwrap_or_else(|| {
                self.wrong(key, value, "true or false");
                default
            }),
        }
    }

    /// A list of texts; empty if the key is missing.
    pub fn texts(&self, key: &str) -> Vec<String> {
        let Some(value) = self.table.get(key) else {
            return Vec::new();
        };
        let items = value.get_ref().as_array();
        let texts = items.map(|items| {
            items
                .iter()
                .map(|item| self.text_of(item))
                .collect::<Option<Vec<_>>>()
        });
        texts.flatten().unwrap_or_else(|| {
            self.wrong(key, value, "a list of texts");
            Vec::new()
        })
    }

    /// A list of pairs of numbers; none if it is not one.
    pub fn pairs(&self, key: &str) -> Option<Vec<(Decimal, Decimal)>> {
        let value = self.table.get(key)?;
        let pair = |item: &Spanned<DeValue>| {
            let two = item.get_ref().as_array().filter(|two| two.len() == 2)?;
            let number = |at: usize| decimal(&self.text_of(two.get(at)?)?).ok();
            number(0).zip(number(1))
        };
        let items = value.get_ref().as_array();
        let pairs = items.and_then(|items| items.iter().map(pair).collect::<Option<Vec<_>>>());
        if pairs.is_none() {
            self.wrong(
                key,
                value,
                "a list of pairs of numbers such as [[\"0.5\", \"10\"], [\"1\", \"9\"]]",
            );
        }
        pairs
    }

    /// Hands the table at a key to `read`, if it is there.
    pub fn table<T>(&self, key: &str, read: impl FnOnce(Section) -> T) -> Option<T> {
        let value = self.table.get(key)?;
        let Some(table) = value.get_ref().as_table() else {
            self.wrong(key, value, "a table");
            return None;
        };
        let path = self.name(key);
        Some(read(Section {
            toml: self.toml,
            table,
            path: &path,
            start: self.place(key),
        }))
    }

    /// As [`Section::table`], for a table that must be there.
    pub fn needed<T>(&self, key: &str, read: impl FnOnce(Section) -> Option<T>) -> Option<T> {
        if !self.has(key) {
            self.missing(key, "a table of that name");
        }
        self.table(key, read).flatten()
    }

    /// Hands every table of a list of tables to `read`, in order.
    pub fn tables<T>(&self, key: &str, mut read: impl FnMut(Section) -> T) -> Vec<T> {
        let Some(value) = self.table.get(key) else {
            return Vec::new();
        };
        let path = self.name(key);
        let items = value.get_ref().as_array().map(|items| {
            items
                .iter()
                .map(|item| {
                    item.get_ref()
                        .as_table()
                        .map(|table| (table, item.span().start))
                })
                .collect::<Option<Vec<_>>>()
        });
        let Some(items) = items.flatten() else {
            self.wrong(key, value, "a list of tables");
            return Vec::new();
        };
        items
            .into_iter()
            .map(|(table, start)| {
                read(Section {
                    toml: self.toml,
                    table,
                    path: &path,
                    start,
                })
            })
            .collect()
    }

    /// Keys with their values, in the order of the file.
    pub fn in_order(&self) -> Vec<(&'t str, &'t Spanned<DeValue<'t>>)> {
        let mut entries: Vec<_> = self.table.iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        entries
            .into_iter()
            .map(|(key, value)| (key.get_ref().as_ref(), value))
            .collect()
    }

    /// The table written anew, in the order of the file: its own keys one to a line, then the tables in it under a
    /// header `[path.key]`, whose own tables are written inline. The key `without` is left
    /// out. The same table always gives the same text.
    pub fn written(&self, path: &str, without: &[&str]) -> String {
        let (tables, plain): (Vec<_>, Vec<_>) = self
            .in_order()
            .into_iter()
            .filter(|(key, _)| !without.contains(key))
            .partition(|(_, value)| !path.is_empty() && value.get_ref().is_table());
        let mut text = String::new();
        for (key, value) in plain {
            text.push_str(&format!(
                "{} = {}\n",
                bare_or_quoted(key),
                self.inline(value)
            ));
        }
        for (key, value) in tables {
            text.push_str(&format!("\n[{path}.{}]\n", bare_or_quoted(key)));
            let inner = value
                .get_ref()
                .as_table()
                .map(|table| Section { table, ..*self });
            text.push_str(
                &inner
                    .map(|inner| inner.written("", &[]))
                    .unwrap_or_default(),
            );
        }
        text
    }

    fn inline(&self, value: &Spanned<DeValue>) -> String {
        match value.get_ref() {
            DeValue::String(text) => quoted(text),
            DeValue::Array(items) => {
                let items: Vec<String> = items.iter().map(|item| self.inline(item)).collect();
                format!("[{}]", items.join(", "))
            }
            DeValue::Table(table) => {
                let mut entries: Vec<_> = table.iter().collect();
                entries.sort_by_key(|(key, _)| key.span().start);
                let entries: Vec<String> = entries
                    .into_iter()
                    .map(|(key, value)| {
                        format!("{} = {}", bare_or_quoted(key.get_ref()), self.inline(value))
                    })
                    .collect();
                format!("{{ {} }}", entries.join(", "))
            }
            _ => self.toml.source(value).to_owned(),
        }
    }
}

/// A text as a TOML string on one line.
pub fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A key as it stands in TOML.
pub fn bare_or_quoted(key: &str) -> String {
    let bare = !key.is_empty()
        && key
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'-'));
    if bare { key.to_owned() } else { quoted(key) }
}

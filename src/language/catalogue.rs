//! The files of a language: a text a line, `key = text with {places}`.
//!
//! A line that begins with a blank goes on with the text above it. A text that goes by a number has two lines, `key.one`
//! and `key.other`, and its number is `{n}`. `**words**` stand out, `[words]({place})` is a link.

use std::collections::BTreeMap;

/// The texts of a language, by key.
#[derive(Debug, Default)]
pub struct Catalogue {
    texts: BTreeMap<&'static str, Text>,
    /// Lines that could not be read.
    faults: Vec<String>,
}

/// What a key says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Text {
    /// Where `{n}` is one; none where the text does not go by a number.
    pub one: Option<String>,
    pub other: String,
}

impl Catalogue {
    /// Reads files of texts.
    pub fn read(files: &[&'static str]) -> Self {
        let mut all = Self::default();
        let mut last: Option<&'static str> = None;
        for line in files.iter().flat_map(|file| file.lines()) {
            if line.trim().is_empty() || line.starts_with('#') {
                last = None;
                continue;
            }
            if line.starts_with(' ') {
                match last.and_then(|key| all.form(key)) {
                    Some(text) => {
                        text.push(' ');
                        text.push_str(line.trim());
                    }
                    None => all.faults.push(format!("nothing goes on here: {line}")),
                }
                continue;
            }
            match line.split_once(" = ") {
                Some((key, text)) => {
                    last = Some(key);
                    all.add(key, text);
                }
                None => all
                    .faults
                    .push(format!("found {line}, expected `key = text`")),
            }
        }
        all
    }

    /// The text of a key.
    pub fn text(&self, key: &str) -> Option<&Text> {
        self.texts.get(key)
    }

    /// Every key, in order.
    pub fn keys(&self) -> impl Iterator<Item = &'static str> {
        self.texts.keys().copied()
    }

    /// What is wrong with the file.
    pub fn faults(&self) -> &[String] {
        &self.faults
    }

    fn add(&mut self, key: &'static str, text: &str) {
        let (name, is_one) = split(key);
        let entry = self.texts.entry(name).or_default();
        let known = match is_one {
            true => entry.one.replace(text.to_owned()).is_some(),
            false => !std::mem::replace(&mut entry.other, text.to_owned()).is_empty(),
        };
        if known {
            self.faults.push(format!("found {key} twice"));
        }
    }

    /// The text that a line has begun.
    fn form(&mut self, key: &'static str) -> Option<&mut String> {
        let (name, is_one) = split(key);
        let entry = self.texts.get_mut(name)?;
        match is_one {
            true => entry.one.as_mut(),
            false => Some(&mut entry.other),
        }
    }
}

/// The key without its form, and whether the form is that of one.
fn split(key: &'static str) -> (&'static str, bool) {
    match key.strip_suffix(".one") {
        Some(name) => (name, true),
        None => (key.strip_suffix(".other").unwrap_or(key), false),
    }
}

/// A text with what stands in its places; a place that nothing is known of stays as it is.
pub fn filled(text: &str, value: impl Fn(&str) -> Option<String>) -> String {
    let mut whole = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        whole.push_str(before);
        match after.split_once('}') {
            Some((name, behind)) => {
                match value(name) {
                    Some(value) => whole.push_str(&value),
                    None => whole.push_str(&format!("{{{name}}}")),
                }
                rest = behind;
            }
            None => {
                whole.push('{');
                rest = after;
            }
        }
    }
    whole.push_str(rest);
    whole
}

/// The places of a text, in alphabetical order.
pub fn places(text: &str) -> Vec<&str> {
    let parts = text.split('{').skip(1);
    let mut names: Vec<&str> = parts
        .filter_map(|part| Some(part.split_once('}')?.0))
        .collect();
    names.sort_unstable();
    names.dedup();
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_with_its_forms_and_long_lines() {
        let file = "# a remark\na.b = Hello\n  {who}\nc.one = {n} drop\nc.other = {n} drops\n";
        let read = Catalogue::read(&[file]);
        assert!(read.faults().is_empty(), "{:?}", read.faults());
        let text = |key| read.text(key).cloned().unwrap_or_default();
        assert_eq!(text("a.b").other, "Hello {who}");
        assert_eq!(text("c").one.as_deref(), Some("{n} drop"));
        assert_eq!(text("c").other, "{n} drops");
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let read = Catalogue::read(&["a.b = x\na.b = y\nno text\n\n  goes on"]);
        assert_eq!(read.faults().len(), 3, "{:?}", read.faults());
    }

    #[test]
    fn places_are_filled_and_unknown_ones_stay() {
        let value = |name: &str| (name == "a").then(|| "{b}".to_owned());
        assert_eq!(filled("{a} and {c} {", value), "{b} and {c} {");
        assert_eq!(places("{a} and {c} and {a}"), ["a", "c"]);
    }
}

//! A record of the prep room written from the fields of a form, so that a fault of the text leads back to its field.

use crate::text::{Fault, quoted};

/// The text of a record in the making.
#[derive(Clone, Debug, Default)]
pub struct RecordText {
    text: String,
    /// Of each line, the field it comes from; empty for a heading.
    fields: Vec<String>,
}

impl RecordText {
    /// The heading of a table, such as `[lot.prepared]`; `field` is where a key is entered that the table lacks.
    pub fn heading(&mut self, heading: &str, field: &str) {
        self.line(heading, field);
    }

    /// A key with the text of a field, as it was typed. A decimal comma is taken for a point.
    pub fn entry(&mut self, key: &str, value: &str, field: &str) {
        self.line(&format!("{key} = {}", quoted(value.trim())), field);
    }

    /// A number that may have a decimal comma.
    pub fn number(&mut self, key: &str, value: &str, field: &str) {
        self.entry(key, &value.replace(',', "."), field);
    }

    /// The same, unless nothing is typed.
    pub fn number_if_any(&mut self, key: &str, value: &str, field: &str) {
        if !value.trim().is_empty() {
            self.number(key, value, field);
        }
    }

    pub fn text(&self) -> &str {
        &self.text
    }

    /// The field a fault of the text belongs to.
    pub fn field_of(&self, fault: &Fault) -> &str {
        let index = fault.line.and_then(|line| usize::try_from(line).ok());
        let field = index.and_then(|line| self.fields.get(line.checked_sub(1)?));
        field.map_or("", String::as_str)
    }

    fn line(&mut self, line: &str, field: &str) {
        self.text.push_str(line);
        self.text.push('\n');
        self.fields.push(field.to_owned());
    }
}

/// What a record says, as pairs of a path and a text: `prepared.weighed_g`, `prepared.dilutions.1.flask`. A form is filled
/// in with it.
pub fn record_entries(record: &str) -> Vec<(String, String)> {
    let Ok(root) = record.parse::<toml::Table>() else {
        return Vec::new();
    };
    let mut entries = Vec::new();
    for (_, value) in &root {
        let tables = value.as_array().into_iter().flatten();
        if let Some(table) = tables.filter_map(toml::Value::as_table).next() {
            walk("", table, &mut entries);
        }
    }
    entries
}

fn walk(path: &str, table: &toml::Table, into: &mut Vec<(String, String)>) {
    for (key, value) in table {
        let path = format!("{path}{key}");
        match value {
            toml::Value::String(text) => into.push((path, text.clone())),
            toml::Value::Table(inner) => walk(&format!("{path}."), inner, into),
            toml::Value::Array(items) => {
                let tables = items.iter().filter_map(toml::Value::as_table);
                for (place, inner) in (1_usize..).zip(tables) {
                    walk(&format!("{path}.{place}."), inner, into);
                }
            }
            other => into.push((path, other.to_string())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{RecordText, record_entries};
    use crate::text::Fault;

    #[test]
    fn a_fault_leads_back_to_its_field() {
        let mut record = RecordText::default();
        record.heading("[[lot]]", "");
        record.entry("lot", " N-\"1\" ", "lot");
        record.heading("[lot.prepared]", "formula");
        record.number("weighed_g", "4,0001", "weighed");
        record.number_if_any("purity", " ", "purity");
        assert_eq!(
            record.text(),
            "[[lot]]\nlot = \"N-\\\"1\\\"\"\n[lot.prepared]\nweighed_g = \"4.0001\"\n"
        );
        let at = |line| Fault::of_file("form", "x").at(line);
        assert_eq!(record.field_of(&at(4)), "weighed");
        assert_eq!(record.field_of(&at(9)), "");
    }

    #[test]
    fn a_record_is_taken_apart() {
        let record = "[[unknown]]\nunknown = \"U\"\n[unknown.prepared]\nweighed_g = 1.20\n\
             dilutions = [{ pipette = \"p\", flask = \"f\" }]\n";
        let entries = record_entries(record);
        let has = |path: &str, text: &str| entries.contains(&(path.to_owned(), text.to_owned()));
        assert!(has("unknown", "U"));
        assert!(has("prepared.dilutions.1.flask", "f"), "{entries:?}");
        assert_eq!(record_entries("= nonsense"), []);
    }
}

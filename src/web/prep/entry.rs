//! A form of the prep room in the making: its fields, as the page shows them.

use crate::web::Fields;

/// A field with its words and what is wrong with it.
pub struct Entry {
    pub name: String,
    /// What it is called.
    pub label: String,
    /// What goes into it.
    pub hint: &'static str,
    /// What is in it.
    pub value: String,
    /// What is wrong with that.
    pub fault: Option<String>,
    /// How it is filled in.
    pub kind: Kind,
}

/// How a field is filled in.
pub enum Kind {
    Text,
    Decimal,
    Day,
    Lines,
    /// By choosing: what is sent, and what it says.
    Choice(Vec<(String, String)>),
}

/// Fields that belong together.
pub struct Group {
    /// What they are about.
    pub title: String,
    /// A sentence before them.
    pub words: &'static str,
    pub entries: Vec<Entry>,
}

/// What is wrong with a form: the field and a sentence.
pub type Faults = Vec<(String, String)>;

/// Makes fields from what was typed.
pub struct Maker<'a> {
    pub typed: &'a Fields,
    /// What is wrong with it.
    pub faults: &'a Faults,
}

impl Entry {
    /// What can be chosen; nothing for a field to type into.
    pub fn choices(&self) -> &[(String, String)] {
        match &self.kind {
            Kind::Choice(choices) => choices,
            _ => &[],
        }
    }

    /// `text`, `decimal`, `date`, `lines` or `choice`.
    pub fn kind(&self) -> &'static str {
        match self.kind {
            Kind::Text => "text",
            Kind::Decimal => "decimal",
            Kind::Day => "date",
            Kind::Lines => "lines",
            Kind::Choice(_) => "choice",
        }
    }

    /// What describes it, for `aria-describedby`.
    pub fn described(&self) -> String {
        let mut ids = Vec::new();
        if !self.hint.is_empty() {
            ids.push(format!("{}-hint", self.name));
        }
        if self.fault.is_some() {
            ids.push(format!("{}-fault", self.name));
        }
        ids.join(" ")
    }
}

impl Maker<'_> {
    pub fn entry(
        &self,
        name: impl Into<String>,
        label: impl Into<String>,
        hint: &'static str,
        kind: Kind,
    ) -> Entry {
        let name = name.into();
        let faults = self.faults.iter().filter(|(field, _)| *field == name);
        let said: Vec<&str> = faults.map(|(_, what)| what.as_str()).collect();
        Entry {
            value: self.typed.one(&name).unwrap_or_default().to_owned(),
            fault: (!said.is_empty()).then(|| said.join("; ")),
            label: label.into(),
            name,
            hint,
            kind,
        }
    }
}

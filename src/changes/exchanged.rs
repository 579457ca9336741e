//! What the OneRoster exchange that the roster came from calls its classes, sessions and line items, and its version:
//! results go back under the same names. Students carry their own.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, newer};
use crate::ids::StudentId;
use crate::term::Term;
use crate::text::{RecordFile, column, line_of_text, line_within};

/// `class`, `cls-1`, `Monday`, `org-1`, `term-a`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Exchanged {
    /// `version`, `class`, `lineItem`, or the type of a session such as `term` or `gradingPeriod`.
    pub kind: String,
    /// The sourcedId; the number of the version.
    pub sourced_id: String,
    /// The section a class is here, the title of a line item.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// The school of a class, the category of a line item.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub belongs_to: String,
    /// Terms of a class, parent of a session, class of a line item.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub within: String,
    /// First and last day of a session.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub start: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub end: String,
}

impl Exchanged {
    pub const VERSION: &'static str = "version";
    pub const CLASS: &'static str = "class";
    pub const LINE_ITEM: &'static str = "lineItem";

    /// What it is the name of: of two classes for one section the later counts.
    fn key(&self) -> String {
        let Self {
            sourced_id,
            name,
            within,
            ..
        } = self;
        match self.kind.as_str() {
            Self::VERSION => Self::VERSION.to_owned(),
            Self::CLASS => format!("class {name}"),
            Self::LINE_ITEM => format!("line item {within} {name}"),
            _ => format!("session {sourced_id}"),
        }
    }

    pub fn is_held(&self, term: &Term) -> bool {
        term.exchanged.get(&self.key()) == Some(self)
    }
}

impl ChangeKind for Exchanged {
    const NAME: &'static str = "exchanged";
    const FILE: Option<fn() -> RecordsOf<Self>> = Some(file);

    fn subject(&self) -> String {
        self.key()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.exchanged.insert(self.key(), self.clone());
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer(&held.exchanged, &incoming.exchanged);
        fresh.map(|(_, one)| one.clone()).collect()
    }
}

/// `oneroster.csv`.
pub fn exchanged_file() -> RecordFile<Exchanged> {
    RecordFile {
        name: "oneroster.csv",
        new: Exchanged::default,
        columns: vec![
            column!(Exchanged: "kind", kind, line_of_text),
            column!(Exchanged: "sourced_id", sourced_id, sourced_id_text),
            column!(Exchanged: "name", name, line_of_text),
            column!(Exchanged: "belongs_to", belongs_to, line_of_text),
            column!(Exchanged: "within", within, line_of_text),
            column!(Exchanged: "start", start, line_of_text),
            column!(Exchanged: "end", end, line_of_text),
        ],
        once: &["kind", "sourced_id"],
    }
}

/// As long as the standard lets it be.
fn sourced_id_text(text: &str) -> Result<String, String> {
    line_within(text, 255)
}

fn file() -> RecordsOf<Exchanged> {
    let all = |term: &Term| term.exchanged.values().cloned().collect();
    (exchanged_file(), all)
}

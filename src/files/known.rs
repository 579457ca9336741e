//! What later files of a folder may name: students, sections, experiments, lots, unknowns.

use std::collections::HashSet;

use super::cells::code;
use super::fault::found;

/// Names by kind. A kind that is none could not be read at all: its faults are told where it should stand, and
/// nothing that names it is held against it.
#[derive(Default)]
pub(super) struct Known {
    pub students: Option<HashSet<String>>,
    pub sections: Option<HashSet<String>>,
    pub experiments: Option<HashSet<String>>,
    pub lots: Option<HashSet<String>>,
    pub unknowns: Option<HashSet<(String, String)>>,
}

impl Known {
    /// The id of a student on the roster.
    pub fn student(&self, text: &str) -> Result<String, String> {
        one_of(
            self.students.as_ref(),
            text,
            "the id of a student on the roster",
        )
    }

    /// A section of the roster.
    pub fn section(&self, text: &str) -> Result<String, String> {
        one_of(self.sections.as_ref(), text, "a section of the roster")
    }

    /// The key of an experiment of the course.
    pub fn experiment(&self, text: &str) -> Result<String, String> {
        one_of(
            self.experiments.as_ref(),
            text,
            "the key of an experiment in course.toml",
        )
    }

    /// The code of a lot.
    pub fn lot(&self, text: &str) -> Result<String, String> {
        one_of(
            self.lots.as_ref(),
            text,
            "the code of a lot in lots.csv or prep-room.toml",
        )
    }

    /// The code of an unknown of an experiment.
    pub fn unknown(&self, experiment: &str, text: &str) -> Result<String, String> {
        let code = code(text)?;
        let pair = (experiment.to_owned(), code);
        match &self.unknowns {
            Some(known) if !known.contains(&pair) => {
                let expected = format!(
                    "the code of an unknown of {experiment} in unknowns.csv or prep-room.toml"
                );
                Err(found(&pair.1, &expected))
            }
            _ => Ok(pair.1),
        }
    }
}

fn one_of(known: Option<&HashSet<String>>, text: &str, expected: &str) -> Result<String, String> {
    let name = code(text)?;
    match known {
        Some(known) if !known.contains(&name) => Err(found(&name, expected)),
        _ => Ok(name),
    }
}

//! What later files of a folder may name: students, sections, experiments, lots, unknowns.

use std::collections::{HashMap, HashSet};
use std::hash::Hash;

use rust_decimal::Decimal;

use super::cells::code;
use super::fault::found;
use crate::ids::{ExperimentKey, LotCode, SectionName, StudentId, UnknownCode};

/// Names by kind. A kind that is none could not be read at all: its faults are told where it should stand, and
/// nothing that names it is held against it.
#[derive(Default)]
pub struct Known {
    pub students: Option<HashSet<StudentId>>,
    pub sections: Option<HashSet<SectionName>>,
    pub experiments: Option<HashSet<ExperimentKey>>,
    pub lots: Option<HashSet<LotCode>>,
    pub unknowns: Option<HashSet<(ExperimentKey, UnknownCode)>>,
    /// Most points by hand of every experiment whose procedure could be read; none: its marking has no such part.
    pub by_hand: HashMap<ExperimentKey, Option<Decimal>>,
}

impl Known {
    pub fn student(&self, text: &str) -> Result<StudentId, String> {
        let id = StudentId::parse(text)?;
        one_of(
            self.students.as_ref(),
            id,
            "the id of a student on the roster",
        )
    }

    pub fn section(&self, text: &str) -> Result<SectionName, String> {
        let name = SectionName::parse(text)?;
        one_of(self.sections.as_ref(), name, "a section of the roster")
    }

    pub fn experiment(&self, text: &str) -> Result<ExperimentKey, String> {
        let key = ExperimentKey::new(code(text)?);
        let expected = "the key of an experiment in course.toml";
        one_of(self.experiments.as_ref(), key, expected)
    }

    pub fn lot(&self, text: &str) -> Result<LotCode, String> {
        let expected = "the code of a lot in lots.csv or prep-room.toml";
        one_of(self.lots.as_ref(), LotCode::parse(text)?, expected)
    }

    pub fn unknown(&self, experiment: &ExperimentKey, text: &str) -> Result<UnknownCode, String> {
        let pair = (experiment.clone(), UnknownCode::parse(text)?);
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

fn one_of<T: Hash + Eq + AsRef<str>>(
    known: Option<&HashSet<T>>,
    name: T,
    expected: &str,
) -> Result<T, String> {
    match known {
        Some(known) if !known.contains(&name) => Err(found(name.as_ref(), expected)),
        _ => Ok(name),
    }
}

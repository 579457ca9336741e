//! The text that another one replaces, kept.

pub use crate::term::Amendment;

use super::{ChangeKind, Made, Reach, RecordsOf};
use crate::ids::StudentId;
use crate::term::{Amended, Term};
use crate::text::{RecordColumn, RecordFile, code, found, instant, line_of_text, or_empty};

impl ChangeKind for Amendment {
    const NAME: &'static str = "amendment";

    fn subject(&self) -> String {
        format!("{} {}", self.what.name(), self.key)
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.amendments.push(self.clone());
    }

    fn reach(&self) -> Reach {
        Reach::Nothing
    }

    fn file() -> Option<RecordsOf<Self>> {
        let file = RecordFile {
            name: "amendments.csv",
            new: Self::default,
            columns: vec![
                RecordColumn::new(
                    "what",
                    |one: &mut Self, text, _| what(text.trim()).map(|what| one.what = what),
                    |one| one.what.name().to_owned(),
                ),
                RecordColumn::new(
                    "key",
                    |one: &mut Self, text, _| code(text).map(|key| one.key = key),
                    |one| one.key.clone(),
                ),
                RecordColumn::new(
                    "at",
                    |one: &mut Self, text, _| instant(text).map(|at| one.at = at),
                    |one| one.at.to_string(),
                ),
                RecordColumn::new(
                    "by",
                    |one: &mut Self, text, _| line_of_text(text).map(|by| one.by = by),
                    |one| one.by.clone(),
                ),
                RecordColumn::new(
                    "reason",
                    |one: &mut Self, text, _| line_of_text(text).map(|reason| one.reason = reason),
                    |one| one.reason.clone(),
                ),
                RecordColumn::new(
                    "before",
                    |one: &mut Self, text, _| {
                        one.before = (!text.is_empty()).then(|| text.to_owned());
                        Ok(())
                    },
                    |one| or_empty(one.before.as_ref()),
                ),
            ],
            once: &[],
        };
        Some((file, |term| term.amendments.clone()))
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let amendments = incoming.amendments.iter();
        let fresh = amendments.filter(|one| !held.amendments.contains(one));
        fresh.cloned().collect()
    }
}

fn what(text: &str) -> Result<Amended, String> {
    let what = Amended::from_name(text);
    what.ok_or_else(|| found(text, "marking, trials or procedure"))
}

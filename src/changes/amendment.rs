//! The text that another one replaces, kept.

pub use crate::term::Amendment;

use super::{ChangeKind, Made, Reach, RecordsOf};
use crate::ids::StudentId;
use crate::term::{Amended, Term};
use crate::text::{RecordColumn, RecordFile, code, column, found, instant, line_of_text, or_empty};

impl ChangeKind for Amendment {
    const NAME: &'static str = "amendment";
    const FILE: Option<fn() -> RecordsOf<Self>> = Some(file);

    fn subject(&self) -> String {
        format!("{} {}", self.what.name(), self.key)
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.amendments.push(self.clone());
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let amendments = incoming.amendments.iter();
        let fresh = amendments.filter(|one| !held.amendments.contains(one));
        fresh.cloned().collect()
    }
}

fn file() -> RecordsOf<Amendment> {
    let file = RecordFile {
        name: "amendments.csv",
        new: Amendment::default,
        columns: vec![
            RecordColumn::new(
                "what",
                |one: &mut Amendment, text, _| what(text.trim()).map(|what| one.what = what),
                |one| one.what.name().to_owned(),
            ),
            column!(Amendment: "key", key, code),
            column!(Amendment: "at", at, instant),
            column!(Amendment: "by", by, line_of_text),
            column!(Amendment: "reason", reason, line_of_text),
            RecordColumn::new(
                "before",
                |one: &mut Amendment, text, _| {
                    one.before = (!text.is_empty()).then(|| text.to_owned());
                    Ok(())
                },
                |one| or_empty(one.before.as_ref()),
            ),
        ],
        once: &[],
    };
    (file, |term| term.amendments.to_vec())
}

fn what(text: &str) -> Result<Amended, String> {
    let what = Amended::from_name(text);
    what.ok_or_else(|| found(text, "marking, trials or procedure"))
}

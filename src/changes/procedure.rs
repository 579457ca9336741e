//! The text of a procedure the course uses. The experiments by it follow by changes of their own.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, Replaced, newer};
use crate::ids::StudentId;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetProcedure {
    pub key: String,
    pub text: String,
}

impl ChangeKind for SetProcedure {
    const NAME: &'static str = "procedure";
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = texts;

    fn subject(&self) -> String {
        self.key.clone()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let texts = &mut term.sources.procedures;
        texts.insert(self.key.clone(), self.text.clone());
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let texts = newer(&held.sources.procedures, &incoming.sources.procedures);
        let change = |(key, text): (&String, &String)| Self {
            key: key.clone(),
            text: text.clone(),
        };
        texts.map(change).collect()
    }
}

fn texts(change: &SetProcedure, term: &Term) -> Vec<Replaced> {
    let known = term.sources.procedures.contains_key(&change.key);
    let before = if known { "as it is" } else { "as shipped" };
    let name = format!("Text of {}", change.key);
    vec![Replaced::plain(name, "", before, "the file sent")]
}

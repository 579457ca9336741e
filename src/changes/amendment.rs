//! The text that another one replaces, kept.

pub use crate::term::Amendment;

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::Term;

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

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let amendments = incoming.amendments.iter();
        let fresh = amendments.filter(|one| !held.amendments.contains(one));
        fresh.cloned().collect()
    }
}

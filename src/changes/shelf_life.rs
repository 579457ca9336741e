//! When a lot or an unknown was made, and until when it keeps.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, newer, nothing};
use crate::ids::StudentId;
use crate::term::Term;
use crate::truth::{Bottle, ShelfLife};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Keep {
    pub bottle: Bottle,
    #[serde(flatten)]
    pub life: ShelfLife,
}

impl ChangeKind for Keep {
    const NAME: &'static str = "shelf-life";
    const FILE: Option<fn() -> RecordsOf<Self>> = None;
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = nothing;

    fn subject(&self) -> String {
        match &self.bottle {
            Bottle::Lot(code) => code.to_string(),
            Bottle::Unknown { experiment, code } => format!("{experiment}/{code}"),
        }
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        if self.life.is_empty() {
            term.shelf.remove(&self.bottle);
        } else {
            term.shelf.insert(self.bottle.clone(), self.life);
        }
    }

    fn reach(&self) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let change = |(bottle, life): (&Bottle, &ShelfLife)| Self {
            bottle: bottle.clone(),
            life: *life,
        };
        newer(&held.shelf, &incoming.shelf).map(change).collect()
    }
}

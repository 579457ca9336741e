//! Points given by hand.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, newer};
use crate::ids::StudentId;
use crate::term::{Slot, Term};

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct GivePoints {
    #[serde(flatten)]
    pub slot: Slot,
    pub points: Decimal,
}

impl ChangeKind for GivePoints {
    const NAME: &'static str = "by-hand";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.by_hand.insert(self.slot.clone(), self.points);
    }

    fn reach(&self) -> Reach {
        Reach::Section(self.slot.clone())
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let change = |(slot, points): (&Slot, &Decimal)| Self {
            slot: slot.clone(),
            points: *points,
        };
        newer(&held.by_hand, &incoming.by_hand).map(change).collect()
    }
}

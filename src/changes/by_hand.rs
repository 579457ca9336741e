//! Points given by hand.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, newer, slot_columns};
use crate::ids::StudentId;
use crate::term::{Slot, Term};
use crate::text::{RecordColumn, RecordFile, decimal, found};

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct GivePoints {
    #[serde(flatten)]
    pub slot: Slot,
    pub points: Decimal,
}

of_slot!(GivePoints);

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

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        let points = RecordColumn::new(
            "points",
            |one: &mut Self, text, known| {
                let most = known.by_hand.get(&one.slot.experiment);
                within(text, &one.slot.experiment, most).map(|points| one.points = points)
            },
            |one| one.points.to_string(),
        );
        let file = RecordFile {
            name: "by-hand.csv",
            new: Self::default,
            columns: slot_columns([points.plain()]),
            once: &["experiment", "student_id"],
        };
        Some((file, |term| {
            let given = |slot: Slot| {
                let points = *term.by_hand.get(&slot)?;
                Some(Self { slot, points })
            };
            term.slots().filter_map(given).collect()
        }))
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let change = |(slot, points): (&Slot, &Decimal)| Self {
            slot: slot.clone(),
            points: *points,
        };
        newer(&held.by_hand, &incoming.by_hand).map(change).collect()
    }
}

/// Points that the marking of an experiment has room for; of one that could not be read, any.
fn within(text: &str, experiment: &str, most: Option<&Option<Decimal>>) -> Result<Decimal, String> {
    let points = decimal(text)?;
    match most {
        Some(None) => {
            let none = format!("none: the marking of {experiment} has no part by_hand");
            Err(found(text, &none))
        }
        Some(Some(most)) if points.is_sign_negative() || points > *most => {
            let within = format!("0 to the {most} points of the part by_hand");
            Err(found(text, &within))
        }
        Some(Some(_)) | None => Ok(points),
    }
}

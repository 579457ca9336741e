//! Points given by hand.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::{Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind, records};
use crate::term::{Slot, Term};
use crate::text::{RecordColumn, decimal, found, or_empty};

pub type GivePoints = OfSlot<PointsByHand>;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PointsByHand {
    /// None: those given are taken back.
    pub points: Option<Decimal>,
}

impl SlotKind for PointsByHand {
    const NAME: &'static str = "by-hand";
    const FILE: Option<fn() -> RecordsOf<GivePoints>> = Some(file);

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        match self.points {
            Some(points) => term.by_hand.insert(slot.clone(), points),
            None => term.by_hand.remove(slot),
        };
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Student(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        let points = term.by_hand.get(slot).cloned();
        let given = points.map(|points| Self {
            points: Some(points),
        });
        given.into_iter().collect()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        None
    }
}

fn file() -> RecordsOf<GivePoints> {
    let points = RecordColumn::new(
        "points",
        |one: &mut GivePoints, text, known| {
            let most = known.by_hand.get(&one.slot.experiment);
            within(text, &one.slot.experiment, most).map(|points| one.body.points = Some(points))
        },
        |one| or_empty(one.body.points.as_ref()),
    );
    records(
        "by-hand.csv",
        &["experiment", "student_id"],
        [points.plain()],
    )
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

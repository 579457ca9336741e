//! Where the class lies, told so that nobody can be singled out and no true value follows from it.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::{Judged, Slot, Term, Told};

/// Fewest others of whom a picture is shown.
pub const FEWEST_OTHERS: usize = 10;

/// Numbers of a class without names, in order of size.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassView {
    pub of: ClassNumber,
    /// Those of everybody, the student's own included.
    pub all: Vec<f64>,
    pub own: f64,
}

/// What the class is shown by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ClassNumber {
    /// How far results are off what was in the bottles, percent, with sign; only where that is shown.
    Off,
    Points {
        possible: f64,
    },
}

impl Term {
    /// The class as one student may see it: results where the truth is shown, else points. None before release, for a
    /// student without a number, and where there are fewer than [`FEWEST_OTHERS`] others.
    pub fn class_of<'a>(
        &self,
        judged: impl IntoIterator<Item = (&'a Slot, &'a Judged)>,
        slot: &Slot,
    ) -> Option<ClassView> {
        let sections: BTreeMap<&str, &str> = self
            .students
            .iter()
            .map(|student| (student.id.as_str(), student.section.as_str()))
            .collect();
        let is_out = |slot: &Slot| {
            let section = sections.get(slot.student.as_str());
            section.is_some_and(|one| self.released_to(&slot.experiment, one).is_some())
        };
        if !is_out(slot) {
            return None;
        }
        let shown = self.shows_truth(&slot.experiment);
        // those who share readings are one result
        let reader = self.handed_in_by(slot)?.0;
        let (mut own, mut others, mut possible) = (None, Vec::new(), 0.0);
        for (other, one) in judged {
            if other.experiment != slot.experiment || !is_out(other) {
                continue;
            }
            let number = if shown {
                let told = Told::of(one).and_then(|told| told.off_percent);
                told.and_then(|off| off.to_f64())
            } else {
                one.evaluation.marks.total.to_f64()
            };
            let Some(number) = number else { continue };
            if other == slot {
                own = Some(number);
                possible = most(one.evaluation.marks.possible);
            } else if !shown || self.reads_for_itself(other) && other != reader {
                others.push(number);
            }
        }
        let own = own?;
        if others.len() < FEWEST_OTHERS {
            return None;
        }
        others.push(own);
        others.sort_by(f64::total_cmp);
        let of = if shown {
            ClassNumber::Off
        } else {
            ClassNumber::Points { possible }
        };
        Some(ClassView {
            of,
            all: others,
            own,
        })
    }

    fn reads_for_itself(&self, slot: &Slot) -> bool {
        self.handed_in_by(slot)
            .is_some_and(|(reader, _)| reader == slot)
    }
}

fn most(possible: Decimal) -> f64 {
    possible.to_f64().unwrap_or(0.0)
}

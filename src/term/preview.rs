//! What changes would come to: made in a copy, judged, and compared.

use std::collections::HashMap;

use rust_decimal::Decimal;

use super::{BySlot, ClassBook, Judged, Slot, Status, Term};
use crate::changes::{Change, Reach};

/// A term as changes would leave it. Nothing is changed by making one.
#[derive(Clone, Debug)]
pub struct Preview {
    /// The term after the changes.
    pub term: Term,
    pub judged: BySlot<Judged>,
    /// Judgements that would be others.
    pub altered: Vec<Altered>,
}

/// A judgement that would be another.
#[derive(Clone, Debug, PartialEq)]
pub struct Altered {
    pub slot: Slot,
    /// As it stands; none if there is nothing judged.
    pub before: Option<Judged>,
    /// As it would be; none if nothing were left to judge.
    pub after: Option<Judged>,
}

impl Altered {
    /// Points before and after.
    pub fn points(&self) -> (Decimal, Decimal) {
        let total = |one: &Option<Judged>| one.as_ref().map(|j| j.evaluation.marks.total);
        (
            total(&self.before).unwrap_or_default(),
            total(&self.after).unwrap_or_default(),
        )
    }

    /// Points gained; negative for points lost.
    pub fn gain(&self) -> Decimal {
        let (before, after) = self.points();
        after.saturating_sub(before)
    }

    /// Whether it waits for a person, before and after.
    pub fn waits(&self) -> (bool, bool) {
        let waits = |one: &Option<Judged>| one.as_ref().map(|j| j.status) == Some(Status::ToReview);
        (waits(&self.before), waits(&self.after))
    }
}

impl Term {
    /// What changes would come to. `judged` holds the judgements as they stand, `book` what is known of the classes.
    pub fn preview(
        &self,
        judged: &BySlot<Judged>,
        book: &mut ClassBook,
        changes: &[Change],
    ) -> Preview {
        let (mut term, mut after) = (self.clone(), judged.clone());
        let reaches: Vec<Reach> = changes.iter().map(|change| change.reach(self)).collect();
        changes.iter().for_each(|change| term.apply(change, None));
        let mut altered = Vec::new();
        for (slot, fresh) in term.judge_reached(judged, book, &reaches) {
            let before = judged.get(&slot);
            if before == fresh.as_ref() {
                continue;
            }
            match &fresh {
                Some(fresh) => after.insert(slot.clone(), fresh.clone()),
                None => after.remove(&slot),
            };
            altered.push(Altered {
                before: before.cloned(),
                after: fresh,
                slot,
            });
        }
        let order: HashMap<&str, usize> = (term.in_order().into_iter().enumerate())
            .map(|(place, student)| (student.id.as_str(), place))
            .collect();
        altered.sort_by_key(|one| order.get(one.slot.student.as_str()).copied());
        Preview {
            term,
            judged: after,
            altered,
        }
    }
}

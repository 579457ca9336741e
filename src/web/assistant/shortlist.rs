//! The short list: submissions in the order in which they deserve a look.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::filter::Filter;
use crate::course::{Experiment, Student};
use crate::desk::Image;
use crate::judge::{Flag, FlagCode};
use crate::term::{Judged, Slot};
use crate::web::AssistantVisitor;

/// One submission on the list.
pub struct Entry<'a> {
    pub slot: &'a Slot,
    pub experiment: &'a Experiment,
    pub student: &'a Student,
    /// What came of it.
    pub judged: &'a Judged,
    /// The student's request for another look that waits for an answer.
    pub asked: Option<&'a str>,
}

/// What the filter asks for of the visitor's sections: most consequential flag first, then the largest error.
pub fn short_list<'a>(
    view: &'a Image,
    visitor: &AssistantVisitor,
    filter: &Filter,
) -> Vec<Entry<'a>> {
    let term = &view.term;
    let students: BTreeMap<&str, &Student> = term
        .enrolled()
        .filter(|student| visitor.sees(&student.section))
        .filter(|student| filter.section.is_empty() || student.section == filter.section)
        .map(|student| (student.id.as_str(), student))
        .collect();
    let experiments: BTreeMap<&str, &Experiment> = term
        .experiments
        .iter()
        .filter(|one| filter.experiment.is_empty() || one.key == filter.experiment)
        .map(|one| (one.key.as_str(), one))
        .collect();
    let mut list: Vec<Entry> = view
        .judged
        .iter()
        .filter(|(_, judged)| filter.standing.holds(judged.status))
        .filter(|(_, judged)| {
            let flags = &judged.evaluation.flags;
            filter
                .flag
                .is_none_or(|code| flags.iter().any(|f| f.code == code))
        })
        .filter_map(|(slot, judged)| {
            Some(Entry {
                slot,
                experiment: *experiments.get(slot.experiment.as_str())?,
                student: *students.get(slot.student.as_str())?,
                judged,
                asked: term.unanswered(slot).map(|note| note.text.as_str()),
            })
        })
        .collect();
    list.sort_by_key(Entry::place);
    together(list)
}

/// Pages that share readings have one cause: each stands behind the first of them.
fn together(list: Vec<Entry<'_>>) -> Vec<Entry<'_>> {
    let mut waiting: Vec<Option<Entry>> = list.into_iter().map(Some).collect();
    let mut ordered = Vec::with_capacity(waiting.len());
    for place in 0..waiting.len() {
        let Some(first) = waiting[place].take() else {
            continue;
        };
        let mates: BTreeSet<&str> = first.shares_with().collect();
        let same = |entry: &Entry| {
            entry.slot.experiment == first.slot.experiment
                && mates.contains(entry.slot.student.as_str())
        };
        ordered.push(first);
        if mates.is_empty() {
            continue;
        }
        let behind = waiting.iter_mut().skip(place);
        ordered.extend(behind.filter_map(|entry| entry.take_if(|entry| same(entry))));
    }
    ordered
}

/// The one that waits after a submission, round to the first; none if no other waits.
pub fn next<'a>(waiting: &[Entry<'a>], after: &Slot) -> Option<&'a Slot> {
    let here = waiting.iter().position(|entry| entry.slot == after);
    let (before, behind) = waiting.split_at(here.unwrap_or(0));
    let mut others = behind.iter().chain(before).map(|entry| entry.slot);
    others.find(|slot| *slot != after)
}

impl<'a> Entry<'a> {
    /// Students whose pages share readings with this one beyond chance.
    pub fn shares_with(&self) -> impl Iterator<Item = &'a str> {
        let judged = self.judged;
        let likenesses = judged.evaluation.class.likenesses.iter();
        likenesses.flat_map(|likeness| likeness.others.iter().map(String::as_str))
    }

    /// A student who asks comes first, then what asks for a person, most points at stake first; what only informs comes
    /// last.
    fn place(&self) -> (Reverse<bool>, Reverse<bool>, Reverse<Decimal>, usize) {
        let flags = &self.judged.evaluation.flags;
        let rank = |flag: &Flag| FlagCode::ALL.iter().position(|code| *code == flag.code);
        let first = flags.iter().filter_map(rank).min();
        let asks = flags.iter().any(|flag| flag.review);
        (
            Reverse(self.asked.is_some()),
            Reverse(asks),
            Reverse(self.at_stake()),
            first.unwrap_or(usize::MAX),
        )
    }

    /// Points that a decision may give back; where somebody else's work may be what is marked, those given.
    fn at_stake(&self) -> Decimal {
        let evaluation = &self.judged.evaluation;
        let marks = &evaluation.marks;
        let doubtful = [
            FlagCode::Alike,
            FlagCode::UnknownMismatch,
            FlagCode::ScatterLow,
        ];
        let review = evaluation.flags.iter().filter(|flag| flag.review);
        let codes: Vec<FlagCode> = review.map(|flag| flag.code).collect();
        if codes.iter().any(|code| doubtful.contains(code)) {
            marks.total
        } else if codes.is_empty() {
            Decimal::ZERO
        } else {
            marks.possible.saturating_sub(marks.total)
        }
    }
}

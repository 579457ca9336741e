//! What happened to a submission, in order, and words for where it stands.

use super::{Found, address, find};
use crate::changes::SlotEvent;
use crate::desk::Image;
use crate::ids::{ExperimentKey, StudentId};
use crate::term::{Ruling, Slot, Status, standing};
use crate::web::{AssistantVisitor, Fields, dates};

pub struct Event {
    pub at: String,
    /// For machines; none if the files do not say when.
    pub datetime: Option<String>,
    pub what: String,
    pub who: String,
    /// Why; empty if nothing was said.
    pub why: String,
}

/// Hand-ins, decisions and what was arranged for the student, latest last.
pub fn events(view: &Image, slot: &Slot, found: &Found) -> Vec<Event> {
    let zone = &view.term.course.zone;
    let by = view.term.student(&found.handed_in_by.student);
    let student = by.map(ToString::to_string).unwrap_or_default();
    let mut events = view.term.events(slot);
    if found.handed_in_by != slot {
        let of_mate = view.term.events(found.handed_in_by).into_iter();
        events.extend(of_mate.filter(|event| event.by.is_none()));
        events.sort_by_key(|event| event.at);
    }
    let in_words = |event: SlotEvent| Event {
        at: event
            .at
            .map_or_else(|| "time not known".into(), |at| dates::instant(zone, at)),
        datetime: event.at.map(|at| at.to_string()),
        what: event.what,
        who: event
            .by
            .map_or_else(|| student.clone(), |login| name_of(view, &login)),
        why: event.why,
    };
    events.into_iter().map(in_words).collect()
}

/// The name of a member of staff, or their login if the list has lost them.
pub fn name_of(view: &Image, login: &str) -> String {
    let member = view.term.staff.iter().find(|staff| staff.login == login);
    member.map_or_else(|| login.to_owned(), |staff| staff.name.clone())
}

/// What has just been done, from the query of the page it led to.
pub fn notice(view: &Image, visitor: &AssistantVisitor, query: &Fields) -> Option<String> {
    let (experiment, student) = query.text("of").split_once('/')?;
    let slot = Slot::new(&ExperimentKey::new(experiment), &StudentId::new(student));
    let found = find(view, visitor, &slot).ok()?;
    let decisions = view.term.decisions.get(&slot);
    let marks = &found.judged.evaluation.marks;
    let points = format!("{} of {} points", marks.total, marks.possible);
    let what = match query.text("done") {
        "decided" => decisions?.last()?.ruling.in_words(),
        "points" => "Points by hand kept".to_owned(),
        "note" => "Note sent".to_owned(),
        "row" => "The row is entered as a version of its own".to_owned(),
        _ => return None,
    };
    Some(format!(
        "{what}: {} ({}), {points}.",
        found.student, found.student.id
    ))
}

/// The last decision that stands, to take it back.
pub struct Undo {
    /// Where the form goes.
    pub address: String,
    /// How many decisions the page knows of.
    pub decisions: usize,
    /// What is taken back, whose work it was about left out.
    pub what: String,
    /// Whose work it is.
    pub student: String,
}

/// What of a submission can be taken back.
pub fn undo(view: &Image, slot: &Slot, found: &Found) -> Option<Undo> {
    let made = view.term.decisions.get(slot)?;
    let last = standing(made).pop()?;
    Some(Undo {
        address: format!("{}/take-back", address(slot)),
        decisions: made.len(),
        what: last.ruling.in_words(),
        student: found.student.to_string(),
    })
}

/// What has just been decided, to take it back at once; from the query of the page it led to.
pub fn undo_of_query(view: &Image, visitor: &AssistantVisitor, query: &Fields) -> Option<Undo> {
    let (experiment, student) = query.text("of").split_once('/')?;
    let slot = Slot::new(&ExperimentKey::new(experiment), &StudentId::new(student));
    let found = find(view, visitor, &slot).ok()?;
    let last = view.term.decisions.get(&slot)?.last()?;
    let decided = query.text("done") == "decided" && last.ruling != Ruling::TakeBack;
    undo(view, &slot, &found).filter(|_| decided)
}

/// Where a submission stands: the class of its tag, and a word.
pub fn status_tag(status: Status) -> (&'static str, &'static str) {
    match status {
        Status::Clear => ("tag", "no flag asks for a person"),
        Status::ToReview => ("tag tag-review", "to review"),
        Status::Returned => ("tag tag-returned", "returned"),
        Status::Settled => ("tag tag-ok", "settled"),
    }
}

//! What happened to a submission, in order, and words for where it stands.

use jiff::Timestamp;

use super::{Found, address, find};
use crate::desk::Image;
use crate::ids::{ExperimentKey, StudentId};
use crate::measure::plain;
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
    let event = |at: Option<Timestamp>, what: String, who: String, why: &str| Event {
        at: at.map_or_else(|| "time not known".into(), |at| dates::instant(zone, at)),
        datetime: at.map(|at| at.to_string()),
        what,
        who,
        why: why.to_owned(),
    };
    let hand_ins = found.revisions.iter().enumerate().map(|(index, revision)| {
        let what = match index {
            0 => "Handed in".to_owned(),
            _ => format!("Corrected, version {}", index.saturating_add(1)),
        };
        let at = revision.submitted_at;
        (at, event(at, what, student.clone(), &revision.reason))
    });
    let decisions = view.term.decisions.get(slot).into_iter().flatten();
    let decisions = decisions.map(|decision| {
        let who = name_of(view, &decision.by);
        let at = Some(decision.at);
        (
            at,
            event(at, ruled(&decision.ruling), who, &decision.reason),
        )
    });
    let reissued = view.term.reissued.get(slot).into_iter().flatten();
    let reissued = reissued.map(|one| {
        let what = format!("Bottle {} in place of {}", one.unknown, one.instead_of);
        let who = name_of(view, &one.by);
        (Some(one.at), event(Some(one.at), what, who, &one.reason))
    });
    let extended = view.term.extensions.get(slot).into_iter().flatten();
    let extended = extended.map(|one| {
        let due = one.due.map(|due| format!("due {}", dates::local(due)));
        let section = one.section.as_ref();
        let section = section.map(|name| format!("made up with section {name}"));
        let what: Vec<String> = [due, section].into_iter().flatten().collect();
        let what = match what.is_empty() {
            true => "Dates as the section's again".to_owned(),
            false => format!("Arranged: {}", what.join(", ")),
        };
        let who = name_of(view, &one.by);
        (one.at, event(one.at, what, who, &one.reason))
    });
    let arranged = reissued.chain(extended);
    let mut all: Vec<(Option<Timestamp>, Event)> =
        hand_ins.chain(decisions).chain(arranged).collect();
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(_, event)| event).collect()
}

/// The name of a member of staff, or their login if the list has lost them.
pub fn name_of(view: &Image, login: &str) -> String {
    let member = view.term.staff.iter().find(|staff| staff.login == login);
    member.map_or_else(|| login.to_owned(), |staff| staff.name.clone())
}

/// A decision in words.
fn ruled(ruling: &Ruling) -> String {
    match ruling {
        Ruling::Accept => "Accepted".into(),
        Ruling::Return => "Returned to the student".into(),
        Ruling::LeaveOut { trial } => format!("Trial {trial} left out"),
        Ruling::PutBack { trial } => format!("Trial {trial} put back"),
        Ruling::Adjust { points } if points.is_zero() => "Adjustment taken back".into(),
        Ruling::Adjust { points } => format!("Points adjusted by {}", signed(*points)),
        Ruling::AgainstWritten { written: true } => "Marked against the bottle written".into(),
        Ruling::AgainstWritten { written: false } => "Marked against the bottle issued".into(),
        Ruling::ExcuseLate { excused: true } => "Lateness excused".into(),
        Ruling::ExcuseLate { excused: false } => "Lateness counts again".into(),
        Ruling::TakeBack => "Taken back".into(),
    }
}

/// A number with its sign, as people write it.
pub fn signed(points: rust_decimal::Decimal) -> String {
    let sign = if points.is_sign_negative() {
        "\u{2212}"
    } else {
        "+"
    };
    format!("{sign}{}", plain(points.abs()))
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
        "decided" => ruled(&decisions?.last()?.ruling),
        "points" => "Points by hand kept".to_owned(),
        "note" => "Note sent".to_owned(),
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
        what: ruled(&last.ruling),
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

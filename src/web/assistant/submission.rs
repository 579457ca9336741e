//! One submission with everything needed to decide on it.

use askama::Template;
use axum::response::IntoResponse;

use super::attempt::Attempt;
use super::beside::{Beside, beside};
use super::evidence::{self, FlagView, MarksView, ResultView, TrialLine, recomputed};
use super::explained::{Explained, explained};
use super::filter::{Filter, with_query};
use super::forms::{Folded, Folder};
use super::notes::{Notes, notes};
use super::shortlist::{next, short_list};
use super::suspects::{asks_the_audit, suspects};
use super::timeline::{Event, Undo, events, notice, status_tag, undo, undo_of_query};
use super::{Found, address, find};
use crate::desk::Image;
use crate::form::FormFault;
use crate::ids::UnknownCode;
use crate::judge::FlagCode;
use crate::language::Language;
use crate::term::{Slot, settlement};
use crate::web::at::SlotAt;
use crate::web::curve_picture::{CurvePicture, curves};
use crate::web::student::record::{ReadingsTable, VolumeSpread, readings_table, volume_spread};
use crate::web::trials_picture::{TrialsPicture, picture};
use crate::web::{AssistantVisitor, Frame, Page, PageResult, QueryFields, Uncertainty, dates};
use crate::workup::DerivationPart;

#[derive(Template)]
#[template(path = "assistant/submission.html")]
pub struct SubmissionPage {
    frame: Frame,
    head: Head,
    heads: Vec<crate::web::student::record::Head>,
    trials: Vec<TrialLine>,
    spread: Option<VolumeSpread>,
    result: Option<ResultView>,
    picture: Option<TrialsPicture>,
    curves: Vec<CurvePicture>,
    unit: &'static str,
    expressed_as: String,
    reported: Option<String>,
    flags: Vec<FlagView>,
    explained: Vec<Explained>,
    beside: Vec<Beside>,
    /// Values that the class does not find as assigned.
    suspects: Vec<String>,
    marks: MarksView,
    uncertainty: Option<Uncertainty>,
    parts: Vec<DerivationPart>,
    earlier: Vec<Earlier>,
    events: Vec<Event>,
    /// Where decisions go, and the list they were come to from.
    address: String,
    filter: String,
    can_return: bool,
    decisions: Vec<Folded>,
    note: Folded,
    attempt: Attempt,
    notes: Notes,
    list: String,
    place: Place,
    /// What has just been decided, here or on the page before.
    just_done: Option<Undo>,
    /// The last decision on this one.
    undo: Option<Undo>,
}

struct Head {
    name: String,
    id: String,
    section: String,
    experiment: String,
    status: (&'static str, &'static str),
    issued: Option<String>,
    written: Option<String>,
    against: String,
    lot: String,
    versions: String,
    due: String,
    handed_in: String,
    late: Option<String>,
    shared_by: Option<String>,
    revisions: usize,
    released: bool,
}

/// Where it stands among those that wait.
struct Place {
    waiting: usize,
    next: Option<String>,
}

/// A version that was replaced.
struct Earlier {
    number: usize,
    at: String,
    replaced_because: String,
    reported: Option<String>,
    readings: ReadingsTable,
}

pub async fn page(
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    if asks_the_audit(&view, &slot) {
        view.audited().await?;
    }
    let filter = Filter::of(&query);
    let mut page = page_of(&view, &visitor, &slot, &filter, Attempt::default())?;
    page.frame.notice = notice(&view, &visitor, &query);
    page.just_done = undo_of_query(&view, &visitor, &query);
    Ok(Page(page))
}

/// The page, with a decision that was tried on it.
pub fn page_of(
    view: &Image,
    visitor: &AssistantVisitor,
    slot: &Slot,
    filter: &Filter,
    attempt: Attempt,
) -> PageResult<SubmissionPage> {
    let found = find(view, visitor, slot)?;
    let made = view.term.decisions.get(slot);
    let revision = u32::try_from(found.revisions.len()).unwrap_or(u32::MAX);
    let settled = settlement(made.map_or(&[], Vec::as_slice), revision);
    let folder = Folder {
        slot,
        filter,
        seen: found.revisions.len(),
        attempt: &attempt,
    };
    let notes = notes(view, slot);
    let decisions = folder.all(view, &found, &settled, bottles(view, slot, &found));
    let note = folder.note(notes.waits);
    let procedure = &found.experiment.procedure;
    let evaluation = &found.judged.evaluation;
    let last = found.revisions.last().map(|revision| &revision.hand_in);
    let (heads, trials) = evidence::trials(&found);
    let work_up = view.term.with_case(slot, |case| case.work_up());
    let (uncertainty, parts) = recomputed(procedure, work_up.as_ref());
    let waiting = short_list(view, visitor, &filter.waiting());
    let address_of = |slot: &Slot| with_query(&address(slot), &filter.waiting().query());
    let title = format!("{}, {}", found.student, procedure.title);
    Ok(SubmissionPage {
        frame: visitor.frame(title),
        head: head(view, slot, &found),
        heads,
        trials,
        spread: last
            .zip(work_up.as_ref())
            .and_then(|(hand_in, work_up)| volume_spread(procedure, hand_in, work_up)),
        result: evidence::result(evaluation),
        picture: picture(evaluation, evaluation.true_value, Language::English),
        curves: last
            .zip(work_up.as_ref())
            .map(|(hand_in, work_up)| curves(procedure, hand_in, work_up, Language::English))
            .unwrap_or_default(),
        unit: procedure.result.unit.name(),
        expressed_as: crate::web::student::expressed_as(procedure).to_string(),
        // the student's own, where a bench mate wrote the readings
        reported: view
            .term
            .hand_in_of(slot)
            .and_then(|h| h.reported.as_ref().map(|r| r.written().to_owned())),
        flags: evidence::flags(view, slot, &found),
        explained: explained(evaluation),
        beside: beside(view, slot, &found),
        suspects: suspects(view, slot, &found),
        marks: evidence::marks(evaluation),
        uncertainty,
        parts,
        earlier: earlier(view, &found),
        events: events(view, slot, &found),
        address: address(slot),
        filter: filter.query(),
        can_return: !view.is_released_to(slot),
        decisions,
        note,
        just_done: None,
        undo: undo(view, slot, &found),
        attempt,
        notes,
        list: with_query("/review", &filter.query()),
        place: Place {
            waiting: waiting.len(),
            next: next(&waiting, slot).map(address_of),
        },
    })
}

fn head(view: &Image, slot: &Slot, found: &Found) -> Head {
    let (experiment, evaluation) = (found.experiment, &found.judged.evaluation);
    let zone = &view.term.course.zone;
    let last = found.revisions.last();
    let submitted = last.and_then(|revision| revision.submitted_at);
    let written = last.and_then(|revision| revision.hand_in.unknown_written());
    let late = evaluation.flags.iter().find(|f| f.code == FlagCode::Late);
    let mate = view.term.student(&found.handed_in_by.student);
    let versions = evaluation.versions.iter().map(ToString::to_string);
    Head {
        name: found.student.to_string(),
        id: found.student.id.to_string(),
        section: found.student.section.to_string(),
        experiment: experiment.procedure.title.clone(),
        status: status_tag(found.judged.status),
        issued: issued(view, slot, found).map(str::to_owned),
        written: written.map(ToString::to_string),
        against: evaluation.unknown.to_string(),
        lot: evaluation.titrant_lots_written(),
        versions: versions.collect::<Vec<_>>().join(", "),
        due: dates::local(view.term.dates_of(experiment, found.student).due),
        handed_in: submitted.map_or_else(
            || "at a time not known".to_owned(),
            |at| dates::instant(zone, at),
        ),
        late: late.map(|flag| flag.evidence.clone()),
        shared_by: (found.handed_in_by != slot)
            .then(|| mate.map(ToString::to_string))
            .flatten(),
        revisions: found.revisions.len(),
        released: view.is_released_to(slot),
    }
}

fn issued<'a>(view: &'a Image, slot: &Slot, found: &Found) -> Option<&'a str> {
    let issued = &view.term.issued;
    let code = issued.get(slot).or_else(|| issued.get(found.handed_in_by));
    code.map(UnknownCode::as_str)
}

fn earlier(view: &Image, found: &Found) -> Vec<Earlier> {
    let zone = &view.term.course.zone;
    let pairs = found.revisions.iter().zip(found.revisions.iter().skip(1));
    let one =
        |(index, (revision, by)): (usize, (&crate::term::Revision, &crate::term::Revision))| {
            Earlier {
                number: index.saturating_add(1),
                at: revision
                    .submitted_at
                    .map(|at| dates::instant(zone, at))
                    .unwrap_or_default(),
                replaced_because: by.reason.clone(),
                reported: revision
                    .hand_in
                    .reported
                    .as_ref()
                    .map(|r| r.written().to_owned()),
                readings: readings_table(
                    &found.experiment.procedure,
                    &revision.hand_in,
                    Language::English,
                ),
            }
        };
    pairs.enumerate().map(one).rev().collect()
}

/// A bottle that is written and another that was issued, where both are known.
fn bottles(view: &Image, slot: &Slot, found: &Found) -> Option<(String, String)> {
    let issued = issued(view, slot, found)?;
    let known = view.term.unknowns.get(&slot.experiment)?;
    let rows = &found.revisions.last()?.hand_in.titrations;
    let mut written = rows.iter().filter_map(|row| row.unknown.as_deref());
    let other = written.find(|code| !code.eq_ignore_ascii_case(issued))?;
    let bottle = known.keys().find(|code| code.eq_ignore_ascii_case(other))?;
    Some((bottle.to_string(), issued.to_owned()))
}

impl SubmissionPage {
    /// What is wrong with the form that was sent.
    fn faults(&self) -> Vec<FormFault> {
        let forms = self.decisions.iter().chain([&self.note]);
        forms.flat_map(|folded| folded.form.summary()).collect()
    }
}

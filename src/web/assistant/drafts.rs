//! What was kept at the bench and not handed in: who left with it, and handing it in for them.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::board::{clock, current};
use super::list::{section_asked_for, sections};
use super::{address as submission_address, in_path};
use crate::course::{Experiment, Student};
use crate::desk::{Image, OnBehalf, OnBehalfError, hand_in_for};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::language::Language;
use crate::store::{BenchDraft, draft_of, drafts_in};
use crate::submission::HandIn;
use crate::term::Slot;
use crate::web::at::{ExperimentAt, SlotAt};
use crate::web::student::draft::{Whole, entry_of};
use crate::web::student::entry::title;
use crate::web::student::record::{ReadingsTable, readings_table};
use crate::web::{
    AssistantVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};
use crate::words::{counted, listed};

#[derive(Template)]
#[template(path = "assistant/drafts.html")]
struct DraftsPage {
    frame: Frame,
    title: String,
    key: String,
    section: String,
    sections: Vec<String>,
    drafts: Vec<Line>,
    /// Students of the section with nothing kept and nothing handed in.
    nothing: Vec<String>,
}

struct Line {
    name: String,
    address: String,
    what: String,
    at: String,
}

#[derive(Template)]
#[template(path = "assistant/draft.html")]
struct DraftPage {
    frame: Frame,
    experiment: String,
    section: String,
    key: String,
    name: String,
    /// Where the student's work is, if something was handed in.
    handed_in: Option<String>,
    kept: Option<Kept>,
    message: Option<String>,
}

struct Kept {
    at: String,
    readings: ReadingsTable,
    answer: Option<String>,
    /// Rows that are not whole.
    left_out: Option<String>,
    /// Why none of it can be handed in.
    faults: Vec<String>,
    form: Filled,
}

/// Address of what is kept of a student's.
pub fn address(slot: &Slot) -> String {
    format!(
        "/board/{}/of/{}",
        in_path(&slot.experiment),
        in_path(&slot.student)
    )
}

/// `GET /board/{experiment}/drafts?section=A`
pub async fn list(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let experiment = key.of(&view.term)?;
    let sections = sections(&view, &visitor);
    let section = section_asked_for(&sections, &query);
    if !visitor.sees(&section) || !sections.contains(&section) {
        return Err(PageError::not_found());
    }
    let all = drafts_in(&mut *visitor.state.store().read().await?, &experiment.key).await?;
    let zone = &view.term.course.zone;
    let (mut drafts, mut nothing) = (Vec::new(), Vec::new());
    let students = view.term.in_order().into_iter();
    for student in students.filter(|one| one.is_enrolled() && one.section == section) {
        let slot = Slot::new(&experiment.key, &student.id);
        if view.term.handed_in_by(&slot).is_some() {
            continue;
        }
        let draft = current(&view, experiment, &student.id, &all);
        let whole = draft.and_then(|draft| Some((draft, whole_of(experiment, draft).ok()?)));
        let begun = whole.filter(|(_, whole)| whole.is_begun());
        match begun {
            Some((draft, whole)) => drafts.push(Line {
                name: student.to_string(),
                address: address(&slot),
                what: whole.in_words(),
                at: dates::instant(zone, draft.at),
            }),
            None => nothing.push(student.to_string()),
        }
    }
    Ok(Page(DraftsPage {
        frame: visitor.frame("Kept at the bench"),
        title: experiment.procedure.title.clone(),
        key: experiment.key.to_string(),
        section,
        sections,
        drafts,
        nothing,
    }))
}

/// `GET /board/{experiment}/of/{student}`
pub async fn page(visitor: AssistantVisitor, SlotAt(slot): SlotAt) -> PageResult<Response> {
    shown(&visitor, &slot, (Typed::default(), Faults::default()), None).await
}

/// `POST /board/{experiment}/of/{student}/hand-in`: what is whole of it, as the student's.
pub async fn hand_in(
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    fields: Fields,
) -> PageResult<Response> {
    let typed = fields.only(|name| matches!(name, "note" | "at"));
    let form = note_form();
    let read = form.read(&typed);
    let note = read.text("note").unwrap_or_default().to_owned();
    if let Err(faults) = read.check() {
        return shown(&visitor, &slot, (typed, faults), None).await;
    }
    let view = visitor.view().await?;
    let (experiment, _) = find(&view, &visitor, &slot)?;
    let kept = draft_of(&mut *visitor.state.store().read().await?, &slot).await?;
    let kept = kept.ok_or_else(PageError::not_found)?;
    if fields.text("at") != kept.at.as_millisecond().to_string() {
        let message = "The student has gone on since you opened this page; look at it again";
        return shown(
            &visitor,
            &slot,
            (typed, Faults::default()),
            Some(message.to_owned()),
        )
        .await;
    }
    let whole = whole_of(experiment, &kept)?;
    let Ok(hand_in) = whole.hand_in(&view.term, experiment) else {
        return shown(&visitor, &slot, (typed, Faults::default()), None).await;
    };
    let request = OnBehalf {
        slot: slot.clone(),
        hand_in,
        kept_at: kept.at,
        kept_words: clock(&view.term.course.zone, kept.at),
        note,
    };
    drop(view);
    match hand_in_for(
        &visitor.state.desk,
        request,
        (&visitor.login, visitor.now()),
    )
    .await
    {
        Ok(()) => Ok(Redirect::to(&submission_address(&slot)).into_response()),
        Err(OnBehalfError::Store(why)) => Err(why.into()),
        Err(why) => {
            let typed = (typed, Faults::default());
            shown(&visitor, &slot, typed, Some(why.to_string())).await
        }
    }
}

fn note_form() -> Form {
    let note = Field::text("note", "Why you hand it in for them");
    let note = note
        .needed()
        .hint("the student reads it, and whoever reviews the work");
    Form::of(vec![Field::hidden("at"), note]).enter("Hand it in for them")
}

fn whole_of(experiment: &Experiment, draft: &BenchDraft) -> PageResult<Whole> {
    let entry = entry_of(&experiment.procedure, draft)?;
    Ok(Whole::of(&experiment.procedure, entry))
}

/// The experiment and the student, who is in a section of the visitor.
fn find<'v>(
    view: &'v Image,
    visitor: &AssistantVisitor,
    slot: &Slot,
) -> PageResult<(&'v Experiment, &'v Student)> {
    let student = view.term.student(&slot.student);
    let student = student.filter(|one| visitor.sees(&one.section));
    let experiment = view.term.experiment(&slot.experiment);
    experiment.zip(student).ok_or_else(PageError::not_found)
}

async fn shown(
    visitor: &AssistantVisitor,
    slot: &Slot,
    (typed, faults): (Typed, Faults),
    message: Option<String>,
) -> PageResult<Response> {
    let view = visitor.view().await?;
    let (experiment, student) = find(&view, visitor, slot)?;
    let draft = draft_of(&mut *visitor.state.store().read().await?, slot).await?;
    let status = match faults.is_empty() && message.is_none() {
        true => StatusCode::OK,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let handed_in = view.term.handed_in_by(slot).is_some();
    let page = DraftPage {
        frame: visitor.frame(format!("Kept at the bench: {student}")),
        experiment: experiment.procedure.title.clone(),
        section: student.section.to_string(),
        key: experiment.key.to_string(),
        name: student.to_string(),
        handed_in: handed_in.then(|| submission_address(slot)),
        kept: draft
            .filter(|_| !handed_in)
            .map(|draft| kept(&view, experiment, slot, &draft, (typed, faults)))
            .transpose()?,
        message,
    };
    Ok(Page(page).with_status(status))
}

fn kept(
    view: &Image,
    experiment: &Experiment,
    slot: &Slot,
    draft: &BenchDraft,
    (mut typed, faults): (Typed, Faults),
) -> PageResult<Kept> {
    let procedure = &experiment.procedure;
    let whole = whole_of(experiment, draft)?;
    let refused = whole.hand_in(&view.term, experiment);
    typed.set("at", draft.at.as_millisecond().to_string());
    let rows = HandIn {
        titrations: whole.rows.clone(),
        ..HandIn::default()
    };
    let unit = procedure.result.unit.name();
    let answer = whole.entry.reported.as_str();
    let left_out: Vec<String> = whole.left_out.iter().map(|row| title(*row)).collect();
    Ok(Kept {
        at: dates::instant(&view.term.course.zone, draft.at),
        readings: readings_table(procedure, &rows, Language::English),
        answer: (!answer.is_empty()).then(|| format!("{answer} {unit}")),
        left_out: (!left_out.is_empty()).then(|| {
            let verb = if left_out.len() == 1 { "is" } else { "are" };
            format!(
                "{} {verb} not whole and would be left out",
                listed(&left_out)
            )
        }),
        faults: refused.err().unwrap_or_default(),
        form: note_form().filled(format!("{}/hand-in", address(slot)), typed, faults),
    })
}

impl Whole {
    fn is_begun(&self) -> bool {
        !self.entry.is_empty()
    }

    fn in_words(&self) -> String {
        let trials = self.rows.iter().filter(|row| row.trial.number().is_some());
        let mut words = counted(trials.count(), "whole trial", "whole trials");
        if !self.left_out.is_empty() {
            words.push_str(", one begun");
        }
        if !self.entry.reported.is_empty() {
            words.push_str(", an answer");
        }
        words
    }
}

//! Readings shared by a bench group: with whom, who entered them, and everybody's answer of their own.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::bench::find;
use super::instruments::expressed_as;
use super::record::{ReadingsTable, VolumeSpread, readings_table, spread_for_student};
use crate::course::Experiment;
use crate::desk::{self, HandInError, HandInRequest, Image};
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::ids::ExperimentKey;
use crate::language::{Language, Message, message};
use crate::measure::Reading;
use crate::procedure::Procedure;
use crate::submission::HandIn;
use crate::term::Slot;
use crate::web::{Fields, Frame, Page, PageError, PageResult, StudentVisitor};

/// Readings a bench mate has entered, and the visitor's own answer to them.
#[derive(Template)]
#[template(path = "student/shared.html")]
pub struct SharedPage {
    frame: Frame,
    key: String,
    /// Where readings of their own are entered.
    own: String,
    title: String,
    due: String,
    entered_by: String,
    at: String,
    mates: Option<String>,
    readings: ReadingsTable,
    spread: Option<VolumeSpread>,
    form: Filled,
    message: Option<Message>,
}

/// The student's own answer, or another than they gave before.
fn answer_form(procedure: &Procedure, typed: &Typed, language: Language) -> Form {
    let unit = procedure.result.unit;
    let what = expressed_as(procedure);
    let label = language.say(&message!("bench.result", what = what, unit = unit.name()));
    let answer =
        Field::new("reported", label, Kind::Answer(unit)).hint(language.text("shared.answer-hint"));
    let mut fields = vec![Field::hidden("key"), Field::hidden("seen"), answer.wide()];
    if revisions_seen(typed) > 0 {
        let reason = Field::text("reason", language.text("shared.why-change"));
        fields.push(reason.longest(300).wide());
    }
    Form::of(fields)
        .title(language.text("bench.answer"))
        .in_language(language)
        .enter(language.text("shared.enter"))
}

/// How many revisions there were when the form was opened.
fn revisions_seen(typed: &Typed) -> usize {
    typed.text("seen").parse().unwrap_or(0)
}

impl SharedPage {
    /// The page, with the answer given before.
    pub fn new(
        view: &Image,
        experiment: &Experiment,
        visitor: &StudentVisitor,
        key: String,
    ) -> Self {
        let slot = Slot::new(&experiment.key, &visitor.id);
        let own = view.term.submissions.get(&slot);
        let last = own.and_then(|revisions| revisions.last());
        let reported = last.and_then(|r| r.hand_in.reported.as_ref());
        let seen = own.map_or(0, Vec::len).to_string();
        let reported = reported.map_or("", Reading::written);
        let typed = [
            ("key", key.as_str()),
            ("seen", &seen),
            ("reported", reported),
        ];
        Self::with(view, experiment, visitor, typed.into(), Faults::default())
    }

    fn with(
        view: &Image,
        experiment: &Experiment,
        visitor: &StudentVisitor,
        typed: Typed,
        faults: Faults,
    ) -> Self {
        let slot = Slot::new(&experiment.key, &visitor.id);
        let language = visitor.language();
        let procedure = &experiment.procedure;
        let read = view.term.handed_in_by(&slot);
        let revision = read.and_then(|(_, revisions)| revisions.last());
        let empty = HandIn::default();
        let hand_in = revision.map_or(&empty, |revision| &revision.hand_in);
        let zone = &view.term.course.zone;
        let at = revision.and_then(|revision| revision.submitted_at);
        Self {
            frame: visitor.frame(procedure.title_in(language)),
            key: experiment.key.to_string(),
            own: format!("/student/experiments/{}/bench?own=yes", experiment.key),
            title: procedure.title_in(language).to_owned(),
            due: language.date(view.term.dates_for(experiment, &visitor.id).due),
            entered_by: read
                .map(|(reader, _)| name_of(view, reader))
                .unwrap_or_default(),
            at: at.map(|at| visitor.at(zone, at)).unwrap_or_default(),
            mates: mates_words(view, &slot, language),
            readings: readings_table(procedure, hand_in, language),
            spread: spread_for_student(view, experiment, &slot, hand_in),
            form: answer_form(procedure, &typed, language).filled(
                format!("/student/experiments/{}/answer", experiment.key),
                typed,
                faults,
            ),
            message: None,
        }
    }
}

/// `POST /student/experiments/{key}/answer`: the student's own answer to readings a bench mate has entered.
pub async fn answer(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    Fields(typed): Fields,
) -> PageResult<Response> {
    let (slot, form) = {
        let view = visitor.view().await?;
        let (experiment, slot) = find(&view, &key, &visitor)?;
        (
            slot,
            answer_form(&experiment.procedure, &typed, visitor.language()),
        )
    };
    let (seen_revisions, reason) = (revisions_seen(&typed), typed.text("reason"));
    let mut read = form.read(&typed);
    if seen_revisions > 0 && reason.is_empty() {
        read.fault("reason", message!("shared.no-reason"));
    }
    let request_key = typed.text("key").to_owned();
    if !(16..=64).contains(&request_key.len()) {
        return Err(PageError::bad_request(message!("bench.no-key")));
    }
    if let Err(faults) = read.check() {
        return again(&visitor, &key, typed, faults, None).await;
    }
    let request = HandInRequest {
        slot,
        hand_in: HandIn {
            reported: read.answer("reported"),
            ..HandIn::default()
        }
        .into(),
        key: request_key,
        seen_revisions,
        reason: reason.to_owned(),
        at: visitor.now(),
    };
    match desk::hand_in(&visitor.state.desk, request).await {
        Ok(receipt) => {
            Ok(Redirect::to(&format!("/student/receipts/{}", receipt.number)).into_response())
        }
        Err(HandInError::Store(why)) => Err(why.into()),
        Err(why) => again(&visitor, &key, typed, Faults::default(), Some(why)).await,
    }
}

/// The page again with what was typed and why it was not taken.
async fn again(
    visitor: &StudentVisitor,
    key: &ExperimentKey,
    mut typed: Typed,
    faults: Faults,
    why: Option<HandInError>,
) -> PageResult<Response> {
    let view = visitor.view().await?;
    let (experiment, slot) = find(&view, key, visitor)?;
    let status = match &why {
        Some(overtaken @ (HandInError::Stale { .. } | HandInError::KeyReused)) => {
            let seen = view.term.submissions.get(&slot).map_or(0, Vec::len);
            typed.set("seen", seen.to_string());
            typed.set("key", crate::web::random_key()?);
            match overtaken {
                HandInError::KeyReused => StatusCode::UNPROCESSABLE_ENTITY,
                _ => StatusCode::CONFLICT,
            }
        }
        Some(HandInError::TooOften { .. }) => StatusCode::TOO_MANY_REQUESTS,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let page = SharedPage {
        message: why.map(|why| why.words()),
        ..SharedPage::with(&view, experiment, visitor, typed, faults)
    };
    Ok(Page(page).with_status(status))
}

/// Whether the readings that count for a student are a bench mate's.
pub fn read_by_mate(view: &Image, slot: &Slot) -> bool {
    let read = view.term.handed_in_by(slot);
    read.is_some_and(|(reader, _)| reader != slot)
}

/// The name of the bench mate whose readings count for a student; none if they are the student's own.
pub fn entered_by(view: &Image, slot: &Slot) -> Option<String> {
    let (reader, _) = view.term.handed_in_by(slot)?;
    (reader != slot).then(|| name_of(view, reader))
}

/// The names of those who share readings with a student; none if nobody does.
pub fn mates_words(view: &Image, slot: &Slot, language: Language) -> Option<String> {
    let term = &view.term;
    let group = term.groups.get(slot)?;
    let slots = term.in_order().into_iter();
    let mates: Vec<String> = slots
        .map(|student| Slot::new(&slot.experiment, &student.id))
        .filter(|other| other != slot && term.groups.get(other) == Some(group))
        .map(|other| name_of(view, &other))
        .collect();
    (!mates.is_empty()).then(|| language.listed(&mates))
}

fn name_of(view: &Image, slot: &Slot) -> String {
    let student = view.term.student(&slot.student);
    student.map_or_else(
        || slot.student.to_string(),
        |student| format!("{} {}", student.given_name, student.family_name),
    )
}

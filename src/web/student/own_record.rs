//! Everything held on a student: a page to print, and one file to take away.

use askama::Template;
use axum::http::{HeaderName, header};
use axum::response::IntoResponse;
use serde_json::{Value, json};

use super::experiment::PartRow;
use super::record::{ReadingsTable, VolumeSpread, readings_table, spread_for_student};
use super::sharing::entered_by;
use super::talk::{NoteView, talk};
use crate::course::Experiment;
use crate::desk::Image;
use crate::desk::evidence::receipt_marks;
use crate::ids::StudentId;
use crate::judge::{Evaluation, PartMark};
use crate::language::{Language, Message, message};
use crate::measure::{plain, to_figures};
use crate::store::draft_of;
use crate::term::{Decision, Ruling, Slot};
use crate::web::{Frame, Page, PageError, PageResult, StudentVisitor};

#[derive(Template)]
#[template(path = "student/record.html")]
struct RecordPage {
    frame: Frame,
    name: String,
    id: String,
    section: String,
    email: String,
    made: String,
    experiments: Vec<Chapter>,
}

/// One experiment of the record.
struct Chapter {
    title: String,
    due: String,
    bottle: Option<String>,
    handed_in: Option<String>,
    entered_by: Option<String>,
    versions: usize,
    readings: Option<ReadingsTable>,
    spread: Option<VolumeSpread>,
    answer: Option<String>,
    unit: &'static str,
    marks: Option<Marked>,
    decisions: Vec<String>,
    notes: Vec<NoteView>,
}

/// Marks that are out.
struct Marked {
    total: String,
    possible: String,
    result: Option<String>,
    parts: Vec<PartRow>,
    late: Option<(String, String)>,
    adjustment: Option<String>,
}

pub async fn page(visitor: StudentVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let student = view.term.student(&visitor.id);
    let student = student.ok_or_else(PageError::not_found)?;
    let language = visitor.language();
    let chapters = view.term.experiments.iter();
    Ok(Page(RecordPage {
        frame: visitor.frame(language.text("record.title")),
        name: format!("{} {}", student.given_name, student.family_name),
        id: student.id.to_string(),
        section: student.section.to_string(),
        email: student.email.clone(),
        made: visitor.at(&view.term.course.zone, visitor.now()),
        experiments: chapters
            .filter_map(|e| chapter(&view, e, (&visitor.id, language)))
            .collect(),
    }))
}

pub async fn file(visitor: StudentVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let student = view.term.student(&visitor.id);
    let student = student.ok_or_else(PageError::not_found)?;
    let experiments = view.term.experiments.iter();
    let experiments: Vec<Value> = experiments
        .map(|experiment| of_experiment(&view, experiment, &visitor.id))
        .collect();
    let receipts = receipts(&visitor, &view).await?;
    let record = json!({
        "receipts": receipts,
        "course": view.term.course.title,
        "term": view.term.course.term,
        "made_at": visitor.now().to_string(),
        "student": {
            "student_id": student.id,
            "family_name": student.family_name,
            "given_name": student.given_name,
            "section": student.section,
            "email": student.email,
            "sourced_id": student.sourced_id,
        },
        "experiments": experiments,
        "kept_at_the_bench": kept_at_the_bench(&visitor, &view).await?,
        "known_to_platforms_as": known_to_platforms(&visitor).await?,
    });
    let text = serde_json::to_string_pretty(&record).map_err(PageError::internal)?;
    let as_file: [(HeaderName, &str); 2] = [
        (header::CONTENT_TYPE, "application/json"),
        (
            header::CONTENT_DISPOSITION,
            "attachment; filename=\"my-record.json\"",
        ),
    ];
    Ok((as_file, text))
}

/// What platforms call them from which they were launched, or to which their grades go.
async fn known_to_platforms(visitor: &StudentVisitor) -> PageResult<Vec<Value>> {
    let mut reader = visitor.state.people.store().read().await?;
    let (own, account) = (visitor.person.account(), &visitor.session.account);
    let mut known = reader.contexts().known_as(&own).await?;
    if *account != own {
        known.extend(reader.contexts().known_as(account).await?);
    }
    Ok(known
        .into_iter()
        .map(|(issuer, sub)| json!({ "platform": issuer, "known_as": sub }))
        .collect())
}

/// What the server keeps of their bench forms, handed in since or not.
async fn kept_at_the_bench(visitor: &StudentVisitor, view: &Image) -> PageResult<Vec<Value>> {
    let mut kept = Vec::new();
    for experiment in &view.term.experiments {
        let slot = Slot::new(&experiment.key, &visitor.id);
        let draft = draft_of(&mut *visitor.state.store().read().await?, &slot).await?;
        kept.extend(draft.map(|draft| {
            json!({
                "experiment": experiment.key,
                "kept_at": draft.at.to_string(),
                "hand_up_since": draft.hand_at.map(|at| at.to_string()),
                "typed": draft.fields,
            })
        }));
    }
    Ok(kept)
}

/// The marks of every receipt of theirs, with the texts from which they follow.
async fn receipts(visitor: &StudentVisitor, view: &Image) -> PageResult<Vec<Value>> {
    let mut numbers = Vec::new();
    for (slot, revisions) in &view.term.submissions {
        if slot.student == visitor.id {
            numbers.extend(revisions.iter().filter_map(|one| one.receipt));
        }
    }
    let mut receipts = Vec::new();
    for number in numbers {
        if let Some(marks) = receipt_marks(&visitor.state.desk, number).await? {
            receipts.push(json!({
                "receipt": number,
                "mark": marks.digest.to_string(),
                "sha256_of": marks.digest_text,
                "mark_of_the_record": marks.head.to_string(),
            }));
        }
    }
    Ok(receipts)
}

fn chapter(
    view: &Image,
    experiment: &Experiment,
    (student, language): (&StudentId, Language),
) -> Option<Chapter> {
    let slot = Slot::new(&experiment.key, student);
    let term = &view.term;
    let read = term.handed_in_by(&slot);
    let notes = talk(view, &slot, language).notes;
    let bottle = term.issued.get(&slot).map(ToString::to_string);
    if read.is_none() && notes.is_empty() && bottle.is_none() {
        return None;
    }
    let last = read.and_then(|(_, revisions)| revisions.last());
    let procedure = &experiment.procedure;
    let zone = &term.course.zone;
    let told = told(view, &slot).into_iter();
    let hand_in = term.hand_in_of(&slot);
    Some(Chapter {
        title: procedure.title_in(language).to_owned(),
        due: language.date(term.dates_for(experiment, student).due),
        bottle,
        handed_in: last
            .and_then(|revision| revision.submitted_at)
            .map(|at| language.date(zone.local(at))),
        entered_by: entered_by(view, &slot),
        versions: read.map_or(0, |(_, revisions)| revisions.len()),
        readings: last.map(|revision| readings_table(procedure, &revision.hand_in, language)),
        spread: last
            .and_then(|revision| spread_for_student(view, experiment, &slot, &revision.hand_in)),
        answer: hand_in.and_then(|h| h.reported.as_ref().map(|r| language.number(r.written()))),
        unit: procedure.result.unit.name(),
        marks: released(view, &slot).map(|evaluation| marked(evaluation, language)),
        decisions: told
            .map(|(decision, reason)| {
                let said = match reason {
                    "" => message!("record.decided"),
                    reason => message!("record.decided-why", reason = reason),
                };
                let said = said.with("what", ruled(&decision.ruling));
                language.say(&said.with("date", zone.local(decision.at)))
            })
            .collect(),
        notes,
    })
}

fn marked(evaluation: &Evaluation, language: Language) -> Marked {
    let marks = &evaluation.marks;
    let part = |mark: &PartMark| PartRow {
        part: language.say(&mark.part.words()),
        points: language.number(mark.points),
        possible: language.number(mark.possible),
        why: language.say(&mark.sentence),
    };
    let late = (!marks.late_sentence.is_empty()).then(|| {
        let why = language.say(&marks.late_sentence);
        (language.number(marks.late), why)
    });
    let outcome = evaluation.outcome.as_ref();
    let result = outcome.map(|outcome| plain(to_figures(outcome.result, 5)));
    Marked {
        total: language.number(marks.total),
        possible: language.number(marks.possible),
        result: result.map(|result| language.number(result)),
        parts: marks.parts.iter().map(part).collect(),
        late,
        adjustment: (!marks.adjustment.is_zero()).then(|| language.number(marks.adjustment)),
    }
}

/// The judgement, once the student may see it.
fn released<'a>(view: &'a Image, slot: &Slot) -> Option<&'a Evaluation> {
    let out = view.is_released_to(slot);
    let judged = view.judged.get(slot).filter(|_| out)?;
    Some(&judged.evaluation)
}

/// The decisions a student hears of, each with the reason meant for them: what was returned at once, the rest with
/// the results. Other reasons are written for staff.
fn told<'a>(view: &'a Image, slot: &Slot) -> Vec<(&'a Decision, &'a str)> {
    let out = view.is_released_to(slot);
    let decisions = view.term.decisions.get(slot).into_iter().flatten();
    let heard = decisions.filter(|decision| match decision.ruling {
        Ruling::Return => true,
        Ruling::Accept => false,
        _ => out,
    });
    heard
        .map(|decision| match decision.ruling {
            Ruling::Return | Ruling::Adjust { .. } => (decision, decision.reason.as_str()),
            _ => (decision, ""),
        })
        .collect()
}

/// A decision in the words of its student.
fn ruled(ruling: &Ruling) -> Message {
    match ruling {
        Ruling::Accept => message!("ruling.accept"),
        Ruling::Return => message!("ruling.return"),
        Ruling::LeaveOut { trial } => message!("ruling.leave-out", n = *trial),
        Ruling::PutBack { trial } => message!("ruling.put-back", n = *trial),
        Ruling::Adjust { points } => message!("ruling.adjust", points = *points),
        Ruling::AgainstWritten { written: true } => message!("ruling.against-written"),
        Ruling::AgainstWritten { written: false } => message!("ruling.against-issued"),
        Ruling::ExcuseLate { excused: true } => message!("ruling.late-excused"),
        Ruling::ExcuseLate { excused: false } => message!("ruling.late-counted"),
        Ruling::TakeBack => message!("ruling.take-back"),
    }
}

fn of_experiment(view: &Image, experiment: &Experiment, student: &StudentId) -> Value {
    let slot = Slot::new(&experiment.key, student);
    let term = &view.term;
    let own = term.submissions.get(&slot).map_or(&[][..], Vec::as_slice);
    let versions: Vec<Value> = (1..)
        .zip(own)
        .map(|(number, revision): (usize, _)| {
            json!({
                "version": number,
                "receipt": revision.receipt,
                "handed_in_at": revision.submitted_at.map(|at| at.to_string()),
                "reason": revision.reason,
                "handed_in": revision.hand_in,
            })
        })
        .collect();
    let shared = term
        .handed_in_by(&slot)
        .filter(|(reader, _)| **reader != slot)
        .and_then(|(_, revisions)| revisions.last())
        .map(|revision| &revision.hand_in.titrations);
    let decisions: Vec<Value> = told(view, &slot)
        .into_iter()
        .map(|(decision, reason)| {
            json!({ "at": decision.at.to_string(), "what": ruled(&decision.ruling).to_string(), "reason": reason })
        })
        .collect();
    let notes: Vec<Value> = term
        .notes_of(&slot)
        .iter()
        .map(|note| {
            json!({ "at": note.at.to_string(), "from": note.from.name(), "text": note.text })
        })
        .collect();
    let marks = released(view, &slot).map(|evaluation| {
        let marks = &evaluation.marks;
        let parts = marks.parts.iter().map(|part| {
            json!({
                "part": part.part.to_string(),
                "points": part.points,
                "of": part.possible,
                "why": part.sentence.to_string(),
            })
        });
        json!({
            "total": marks.total,
            "of": marks.possible,
            "parts": parts.collect::<Vec<Value>>(),
            "late": marks.late,
            "adjustment": marks.adjustment,
            "result": evaluation.outcome.as_ref().map(|outcome| outcome.result),
            "unit": experiment.procedure.result.unit.name(),
        })
    });
    json!({
        "experiment": experiment.key,
        "title": experiment.procedure.title,
        "bottle_issued": term.issued.get(&slot),
        "bench_group": term.groups.get(&slot),
        "versions": versions,
        "readings_of_bench_mate": shared,
        "decisions": decisions,
        "notes": notes,
        "released_at": term
            .student(student)
            .and_then(|s| term.released_to(&experiment.key, &s.section))
            .map(|at| at.to_string()),
        "marks": marks,
    })
}

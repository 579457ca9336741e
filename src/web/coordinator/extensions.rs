//! Longer time and make-ups for single students, and the sections' own dates.

use askama::Template;
use axum::response::IntoResponse;

use crate::course::Student;
use crate::desk::Image;
use crate::desk::forms::{ExtensionForm, SectionDates};
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page, dates};

pub const EXTENSION: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/extensions",
    |visit| Ok(Box::new(ExtensionForm(visit.key()?.clone()))),
    page,
)
.says("extended", |_| "It is arranged.".to_owned());

pub const SECTION_DATES: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/section-dates",
    |visit| Ok(Box::new(SectionDates(visit.key()?.clone()))),
    page,
)
.says("dates", |_| "The dates are changed.".to_owned())
.leads_to("/course/experiments/{key}/extensions");

#[derive(Template)]
#[template(path = "coordinator/extensions.html")]
struct ExtensionsPage {
    frame: Frame,
    form: Filled,
    by_section: Filled,
    key: ExperimentKey,
    title: String,
    zone: String,
    due: String,
    rows: Vec<Row>,
}

/// What was arranged for a student.
struct Row {
    student: String,
    id: String,
    due: String,
    section: Option<String>,
    /// Reason, who and when, the last one first.
    said: Vec<(String, String)>,
    holds: bool,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let title = experiment.procedure.title.clone();
        let mut frame = visit.frame(format!("Dates and extensions: {title}"));
        frame.notice = notice(&visit.query, &[&EXTENSION, &SECTION_DATES]);
        Ok(Page(ExtensionsPage {
            frame,
            form: EXTENSION.filled(visit, term, refused.as_ref())?,
            by_section: SECTION_DATES.filled(visit, term, refused.as_ref())?,
            key: experiment.key.clone(),
            title,
            zone: term.course.zone.name().to_owned(),
            due: dates::local(experiment.dates.due),
            rows: rows(&view, &experiment.key),
        })
        .into_response())
    })
}

fn rows(view: &Image, key: &ExperimentKey) -> Vec<Row> {
    let term = &view.term;
    let row = |student: &Student| {
        let slot = Slot::new(key, &student.id);
        let all = term.extensions.get(&slot)?;
        let experiment = term.experiment(key)?;
        let now = term.extension(&slot);
        let said = all.iter().rev().map(|one| {
            let at = one.at.map(|at| dates::instant(&term.course.zone, at));
            let who = [Some(one.by.clone()), at].into_iter().flatten();
            let who: Vec<String> = who.filter(|text| !text.is_empty()).collect();
            (one.reason.clone(), who.join(", "))
        });
        Some(Row {
            student: student.to_string(),
            id: student.id.to_string(),
            due: dates::local(term.dates_of(experiment, student).due),
            section: now.and_then(|one| one.section.as_ref().map(ToString::to_string)),
            said: said.collect(),
            holds: now.is_some(),
        })
    };
    term.in_order().into_iter().filter_map(row).collect()
}

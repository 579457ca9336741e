//! What is arranged for single students: a page for every [`SlotForm`], with its form and what was arranged so far.

use askama::Template;
use axum::response::IntoResponse;

use crate::changes::{Arranged, SlotForm, SlotPage};
use crate::course::Student;
use crate::form::Filled;
use crate::ids::{ExperimentKey, StudentId};
use crate::term::{Slot, Term};
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page, dates};

#[derive(Template)]
#[template(path = "coordinator/arranged.html")]
struct ArrangedPage {
    frame: Frame,
    said: SlotPage,
    form: Filled,
    /// A form for sections, beside that for a student.
    by_section: Option<Filled>,
    key: ExperimentKey,
    title: String,
    words: String,
    instead: Option<&'static str>,
    rows: Vec<Row>,
}

struct Row {
    student: String,
    id: String,
    cells: [String; 2],
    /// Reason, who and when.
    why: Vec<(String, String)>,
    is_over: bool,
    can_end: bool,
}

/// Where the form stands that is shown by `page`: [`alone`], or by [`beside`].
pub const fn place<F: SlotForm>(
    page: for<'a> fn(&'a Visit, Option<Refused>) -> Answer<'a>,
) -> Place {
    let form = |visit: &Visit| Ok(Box::new(F::of(visit.key()?.clone())) as _);
    let (_, name) = F::PAGE.done;
    Place::new(Who::Coordinator, F::PAGE.path, form, page).says(name, |_| F::PAGE.done.0.to_owned())
}

pub fn alone<F: SlotForm>(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    beside::<F>(visit, refused, None)
}

/// The page of the form, with one for sections on it.
pub fn beside<'v, F: SlotForm>(
    visit: &'v Visit,
    refused: Option<Refused>,
    by_section: Option<&'static Place>,
) -> Answer<'v> {
    Box::pin(async move {
        let place = place::<F>(alone::<F>);
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let form = F::of(experiment.key.clone());
        let title = experiment.procedure.title.clone();
        let mut frame = visit.frame(format!("{}: {title}", F::PAGE.title));
        let places = [Some(&place), by_section].into_iter().flatten();
        frame.notice = notice(&visit.query, &places.collect::<Vec<_>>());
        let student = StudentId::new(visit.query.text("student"));
        if visit.query.text("done") == F::PAGE.done.1
            && let Some(said) = form.said(term, &Slot::new(&experiment.key, &student))
        {
            frame.notice = Some(said);
        }
        let filled = |place: &Place| place.filled(visit, term, refused.as_ref());
        Ok(Page(ArrangedPage {
            frame,
            said: F::PAGE,
            form: filled(&place)?,
            by_section: by_section.map(filled).transpose()?,
            key: experiment.key.clone(),
            title,
            words: form.words(term, experiment),
            instead: form.instead(term),
            rows: rows(&form, term, &experiment.key),
        })
        .into_response())
    })
}

fn rows(form: &impl SlotForm, term: &Term, key: &ExperimentKey) -> Vec<Row> {
    let zone = &term.course.zone;
    let students = term.in_order().into_iter();
    let of = |student: &Student| {
        let (name, id) = (student.to_string(), student.id.to_string());
        let all = form
            .arranged(term, &Slot::new(key, &student.id))
            .into_iter();
        all.map(move |one: Arranged| Row {
            student: name.clone(),
            id: id.clone(),
            cells: one.cells,
            why: one
                .why
                .into_iter()
                .map(|(reason, by, at)| {
                    let at = at.map(|at| dates::instant(zone, at)).unwrap_or_default();
                    let who = [by, at].into_iter().filter(|text| !text.is_empty());
                    (reason, who.collect::<Vec<_>>().join(", "))
                })
                .collect(),
            is_over: one.is_over,
            can_end: one.can_end,
        })
    };
    students.flat_map(of).collect()
}

//! Another bottle for one student; the one before stays on record.

use askama::Template;
use axum::response::IntoResponse;

use crate::course::Student;
use crate::desk::Image;
use crate::desk::forms::ReissueForm;
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page, dates};

pub const REISSUE: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/reissue",
    |visit| Ok(Box::new(ReissueForm(visit.key()?.clone()))),
    page,
)
.says("reissued", |_| {
    "The bottle is given. The one before stays on record.".to_owned()
});

#[derive(Template)]
#[template(path = "coordinator/reissue.html")]
struct ReissuePage {
    frame: Frame,
    form: Filled,
    key: ExperimentKey,
    title: String,
    /// Whether nobody has a bottle that another could replace.
    none: bool,
    rows: Vec<Row>,
}

/// A bottle given in place of another.
struct Row {
    student: String,
    id: String,
    before: String,
    after: String,
    reason: String,
    who: String,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let (key, title) = (&experiment.key, &experiment.procedure.title);
        let has_bottle = |s: &Student| term.issued.contains_key(&Slot::new(key, &s.id));
        let mut frame = visit.frame(format!("Another bottle: {title}"));
        frame.notice = notice(&visit.query, &[&REISSUE]);
        Ok(Page(ReissuePage {
            frame,
            form: REISSUE.filled(visit, term, refused.as_ref())?,
            key: key.clone(),
            title: title.clone(),
            none: !term.enrolled().any(has_bottle),
            rows: rows(&view, key),
        })
        .into_response())
    })
}

fn rows(view: &Image, key: &ExperimentKey) -> Vec<Row> {
    let term = &view.term;
    let of = |student: &Student| {
        let all = term.reissued.get(&Slot::new(key, &student.id));
        let all = all.map_or(&[][..], Vec::as_slice);
        let row = |one: &crate::term::Reissue| Row {
            student: student.to_string(),
            id: student.id.to_string(),
            before: one.instead_of.to_string(),
            after: one.unknown.to_string(),
            reason: one.reason.clone(),
            who: format!("{}, {}", one.by, dates::instant(&term.course.zone, one.at)),
        };
        all.iter().map(row).collect::<Vec<_>>()
    };
    term.in_order().into_iter().flat_map(of).collect()
}

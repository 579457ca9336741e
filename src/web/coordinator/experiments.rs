//! The experiments of the course, and a form for another.

use askama::Template;
use axum::response::IntoResponse;

use super::glance::{ExperimentRow, experiment_rows};
use super::procedures::PROCEDURE;
use crate::desk::forms::{NewExperiment, procedure_titles};
use crate::form::Filled;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page};

pub const NEW: Place = Place::new(
    Who::Coordinator,
    "/course/experiments",
    |_| Ok(Box::new(NewExperiment)),
    page,
)
.says("experiment", |_| "The experiment is added.".to_owned())
.leads_to("/course/experiments/{new}");

#[derive(Template)]
#[template(path = "coordinator/experiments.html")]
struct ExperimentsPage {
    frame: Frame,
    form: Filled,
    rows: Vec<ExperimentRow>,
    /// Key and title of every procedure there is.
    procedures: Vec<(String, String)>,
    /// The key of one that was just taken.
    taken: String,
}

pub fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let mut frame = visit.frame("Experiments");
        frame.notice = notice(&visit.query, &[&NEW, &PROCEDURE]);
        if visit.query.text("done") == "procedure" {
            frame.notice = Some(
                "The procedure is in. Experiments can now use it: choose it below.".to_owned(),
            );
        }
        Ok(Page(ExperimentsPage {
            frame,
            form: NEW.filled(visit, &view.term, refused.as_ref())?,
            rows: experiment_rows(&view, visit.now()),
            procedures: procedure_titles(&view.term).into_iter().collect(),
            taken: match visit.query.text("done") {
                "procedure" => visit.query.text("procedure").to_owned(),
                _ => String::new(),
            },
        })
        .into_response())
    })
}

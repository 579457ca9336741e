//! The first page: a course to be set up, or the term at a glance.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::glance::{
    Alarm, ExperimentRow, NextStep, SectionRow, alarms, experiment_rows, next_steps, section_rows,
};
use crate::desk::forms::course_form;
use crate::desk::{self, PrepareError};
use crate::form::{Faults, Filled, Typed};
use crate::store::StoreError;
use crate::text::Fault;
use crate::web::changing::notice;
use crate::web::proving::{LiveLine, live_lines};
use crate::web::{CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields};
use crate::words::counted;

#[derive(Template)]
#[template(path = "coordinator/setup.html")]
struct Setup {
    frame: Frame,
    form: Filled,
}

#[derive(Template)]
#[template(path = "coordinator/home.html")]
struct Home {
    frame: Frame,
    term: String,
    alarms: Vec<Alarm>,
    live: Vec<LiveLine>,
    steps: Vec<NextStep>,
    experiments: Vec<ExperimentRow>,
    sections: Vec<SectionRow>,
}

/// A page that lists what is wrong with a file.
#[derive(Template)]
#[template(path = "coordinator/faults.html")]
pub struct FaultsPage {
    pub frame: Frame,
    pub file: String,
    /// Each with its place.
    pub faults: Vec<Fault>,
    /// Where to try again.
    pub back: &'static str,
}

impl FaultsPage {
    /// The answer: nothing was done.
    pub fn answer(frame: Frame, file: &str, faults: Vec<Fault>, back: &'static str) -> Response {
        let file = file.chars().take(120).collect();
        Page(Self {
            frame,
            file,
            faults,
            back,
        })
        .with_status(StatusCode::UNPROCESSABLE_ENTITY)
    }
}

pub async fn page(visitor: CoordinatorVisitor, query: QueryFields) -> PageResult<Response> {
    let view = match visitor.state.desk.view().await {
        Ok(view) => view,
        Err(StoreError::NoCourse) => {
            let (typed, faults) = (Typed::default(), Faults::default());
            return Ok(setup(&visitor, typed, faults).into_response());
        }
        Err(other) => return Err(other.into()),
    };
    view.audited().await?;
    let mut frame = visitor.frame("The term at a glance");
    frame.notice = match query.0.text("done") {
        "course" => Some("The course is set up.".to_owned()),
        "folder" => {
            let n: usize = query.0.text("n").parse().unwrap_or_default();
            let changes = counted(n, "change", "changes");
            Some(format!("The course folder is in: {changes}."))
        }
        _ => notice(&query.0, &[&super::lots::LOT, &super::unknowns::UNKNOWN]),
    };
    let now = visitor.now();
    Ok(Page(Home {
        frame,
        term: view.term.course.term.clone(),
        alarms: alarms(&view),
        live: live_lines(&visitor, &view).await?,
        steps: next_steps(&view, now),
        experiments: experiment_rows(&view, now),
        sections: section_rows(&view, now),
    })
    .into_response())
}

fn setup(visitor: &CoordinatorVisitor, typed: Typed, faults: Faults) -> Page<Setup> {
    Page(Setup {
        frame: visitor.frame("Set up the course"),
        form: course_form().filled("/course/new", typed, faults),
    })
}

pub async fn new(visitor: CoordinatorVisitor, Fields(typed): Fields) -> PageResult<Response> {
    let who = (visitor.login.as_str(), visitor.now());
    match desk::new_course(&visitor.state.desk, &typed, who).await {
        Ok(()) => Err(PageError::see_other("/course?done=course")),
        Err(PrepareError::Store(why)) => Err(why.into()),
        Err(PrepareError::Fields(faults)) => {
            let page = setup(&visitor, typed, faults);
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

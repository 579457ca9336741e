//! The first page: a course to be set up, or the term at a glance.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::glance::{
    ExperimentRow, NextStep, SectionRow, experiment_rows, next_steps, section_rows,
};
use super::unpack::unpack;
use crate::course::StaffRole;
use crate::desk::forms::course_form;
use crate::desk::{self, BringError, PrepareError};
use crate::files::read_term;
use crate::form::{Faults, Filled, Typed};
use crate::store::StoreError;
use crate::term::Term;
use crate::text::Fault;
use crate::web::upload::MOST_FILE_BYTES;
use crate::web::{
    CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, Upload,
};
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
    let mut frame = visitor.frame("The term at a glance");
    frame.notice = match query.0.text("done") {
        "course" => Some("The course is set up.".to_owned()),
        "folder" => {
            let n: usize = query.0.text("n").parse().unwrap_or_default();
            let changes = counted(n, "change", "changes");
            Some(format!("The course folder is in: {changes}."))
        }
        _ => None,
    };
    let now = visitor.now();
    Ok(Page(Home {
        frame,
        term: view.term.course.term.clone(),
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

pub async fn folder(visitor: CoordinatorVisitor, upload: Upload) -> PageResult<Response> {
    let back = "/course";
    let frame = || visitor.frame("The course folder was not brought in");
    let expected = "the course folder in one .zip";
    let file = match upload.within(expected, MOST_FILE_BYTES, "") {
        Ok(file) => file,
        Err((name, fault)) => return Ok(FaultsPage::answer(frame(), &name, vec![fault], back)),
    };
    let name = file.name.clone();
    let login = visitor.login.clone();
    // unpacking and reading take a while: not on a thread that serves pages
    let read = tokio::task::spawn_blocking(move || {
        let term = unpack(&file.name, &file.bytes).and_then(|folder| read_term(&folder))?;
        still_coordinator(&term, &login).map(|()| term)
    });
    let term = match read.await.map_err(PageError::internal)? {
        Ok(term) => term,
        Err(faults) => return Ok(FaultsPage::answer(frame(), &name, faults, back)),
    };
    match desk::bring_in_term(&visitor.state.desk, &term, &visitor.login, visitor.now()).await {
        Ok(brought) => {
            let n = brought.changes;
            Err(PageError::see_other(format!("/course?done=folder&n={n}")))
        }
        Err(BringError::Faults(faults)) => Ok(FaultsPage::answer(frame(), &name, faults, back)),
        Err(why @ BringError::OtherCourse { .. }) => {
            let fault = Fault::of_file("course.toml", why.to_string());
            Ok(FaultsPage::answer(frame(), &name, vec![fault], back))
        }
        Err(BringError::Store(why)) => Err(why.into()),
    }
}

/// A folder must not lock out the coordinator who brings it in.
fn still_coordinator(term: &Term, login: &str) -> Result<(), Vec<Fault>> {
    let demoted = |s: &&crate::course::StaffMember| {
        s.login.eq_ignore_ascii_case(login) && s.role != StaffRole::Coordinator
    };
    if term.staff.iter().any(|s| demoted(&s)) {
        let what = format!(
            "found {login} in another role, expected your own login as coordinator or not at all"
        );
        return Err(vec![Fault::of_file("staff.csv", what).in_column("role")]);
    }
    Ok(())
}

//! Releases the results of an experiment to a section or to all of them, or withdraws them, after a look at what is not
//! settled and at what students will see.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use jiff::civil::DateTime;

use super::experiment::find;
use super::form::{Form, counted, done};
use super::glance::Tally;
use crate::course::Student;
use crate::desk::{self, Image, PrepareError};
use crate::ids::ExperimentKey;
use crate::judge::AuditGroup;
use crate::term::{ExperimentAudit, Slot, Status};
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};

#[derive(Template)]
#[template(path = "coordinator/release.html")]
struct ReleasePage {
    frame: Frame,
    form: Form,
    key: ExperimentKey,
    title: String,
    tally: Tally,
    /// What the button says that releases to everybody.
    button: String,
    sections: Vec<SectionRelease>,
    /// The section looked at closely.
    chosen: Option<SectionRelease>,
    /// What each student of that section sees.
    seen: Vec<Seen>,
    /// Values that the class does not find.
    off: Vec<String>,
    /// Sections, assistants and burettes whose results are off.
    odd: Vec<String>,
    /// When the last section is due, if that is still to come.
    not_due: Option<String>,
    /// Nobody has the results.
    none_out: bool,
    all_out: bool,
    /// When, if all sections have them at once.
    at: Option<String>,
}

/// Where a section stands.
#[derive(Clone)]
struct SectionRelease {
    name: String,
    tally: Tally,
    /// What its button says.
    button: String,
    /// Since when it has the results.
    out: Option<String>,
    /// When the last of its students is due, if that is still to come.
    not_due: Option<String>,
}

/// What a student sees once the results are out.
struct Seen {
    name: String,
    id: String,
    points: String,
    remark: &'static str,
}

/// `GET /course/experiments/{key}/release`; `?section=` looks at one closely.
pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = Form::filled(&[("section", query.0.text("section"))]);
    let page = release_page(&state, &visitor, &key, form, done(&query)).await?;
    Ok(page.into_response())
}

async fn release_page(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<ReleasePage>> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, key)?;
    let of_it = view
        .judged
        .iter()
        .filter(|(slot, _)| slot.experiment == key);
    let audits = term.audit(of_it);
    let named = audits.iter().flat_map(ExperimentAudit::named);
    let (off, odd): (Vec<&AuditGroup>, Vec<&AuditGroup>) =
        named.partition(|group| audits.iter().any(|a| a.assigned.contains_key(&group.name)));
    let names = |groups: Vec<&AuditGroup>| groups.iter().map(|g| g.name.to_string()).collect();
    let title = experiment.procedure.title.clone();
    let sections: Vec<SectionRelease> = term
        .sections()
        .into_iter()
        .map(|section| of_section(state, &view, key, section))
        .collect();
    let chosen = sections.iter().find(|s| s.name == form.value("section"));
    let everyone = term.released.get(key).filter(|r| r.sections.is_empty());
    let tally = Tally::of(&view, key, None);
    let last_due = term
        .enrolled()
        .map(|s| term.dates_of(experiment, s).due)
        .max();
    let mut frame = visitor.frame(format!("Release: {title}"));
    frame.notice = notice;
    Ok(Page(ReleasePage {
        frame,
        title,
        tally,
        button: format!(
            "Release to {}",
            counted(tally.students, "student", "students")
        ),
        seen: chosen.map_or_else(Vec::new, |s| seen(&view, key, &s.name)),
        chosen: chosen.cloned(),
        off: names(off),
        odd: names(odd),
        not_due: last_due
            .filter(|due| is_to_come(state, &view, *due))
            .map(dates::local),
        none_out: !term.released.contains_key(key),
        all_out: view.is_released(key),
        at: everyone
            .and_then(|r| r.everyone)
            .map(|at| dates::instant(&term.course.zone, at)),
        sections,
        key: key.to_owned(),
        form,
    }))
}

fn of_section(
    state: &AppState,
    view: &Image,
    key: &ExperimentKey,
    section: &str,
) -> SectionRelease {
    let term = &view.term;
    let zone = &term.course.zone;
    let experiment = term.experiment(key);
    let students = term.enrolled().filter(|s| s.section == section);
    let dues = experiment
        .map(|e| students.map(|s| term.dates_of(e, s).due).max())
        .unwrap_or_default();
    SectionRelease {
        name: section.to_owned(),
        button: format!("Release to section {section}"),
        tally: Tally::of(view, key, Some(section)),
        out: term
            .released_to(key, section)
            .map(|at| dates::instant(zone, at)),
        not_due: dues
            .filter(|due| is_to_come(state, view, *due))
            .map(dates::local),
    }
}

fn is_to_come(state: &AppState, view: &Image, due: DateTime) -> bool {
    let at = view.term.course.zone.instant(due);
    at.is_some_and(|at| at > state.clock.now())
}

/// In order of name.
fn seen(view: &Image, key: &ExperimentKey, section: &str) -> Vec<Seen> {
    let students = view.term.enrolled().filter(|s| s.section == section);
    let mut students: Vec<&Student> = students.collect();
    students.sort_by_cached_key(|s| (s.family_name.to_lowercase(), s.id.clone()));
    let one = |student: &Student| {
        let judged = view.judged.get(&Slot::new(key, &student.id));
        let marks = judged.map(|j| &j.evaluation.marks);
        Seen {
            name: student.to_string(),
            id: student.id.to_string(),
            points: marks.map_or_else(
                || "nothing handed in".to_owned(),
                |marks| format!("{} of {}", marks.total, marks.possible),
            ),
            remark: match judged.map(|j| j.status) {
                Some(Status::ToReview) => "to review",
                Some(Status::Returned) => "back with the student",
                _ => "",
            },
        }
    };
    students.into_iter().map(one).collect()
}

/// `POST /course/experiments/{key}/release`: to `section`, or without one to all of them.
pub async fn release(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let who = (visitor.login.as_str(), state.clock.now());
    let as_they_are = fields.text("as_they_are") == "yes";
    let done = desk::release_to(&state.desk, &key, section(&fields), as_they_are, who).await;
    answer(&state, &visitor, &key, fields, done, "released").await
}

/// `POST /course/experiments/{key}/withdraw`: from `section`, or without one from all of them.
pub async fn withdraw(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let who = (visitor.login.as_str(), state.clock.now());
    let done = desk::withdraw(&state.desk, &key, section(&fields), who).await;
    answer(&state, &visitor, &key, fields, done, "withdrawn").await
}

fn section(fields: &Fields) -> Option<&str> {
    Some(fields.text("section")).filter(|name| !name.is_empty())
}

async fn answer(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    changed: Result<(), PrepareError>,
    done: &str,
) -> PageResult<Response> {
    match changed {
        Ok(()) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/release?done={done}"
        ))),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = release_page(state, visitor, key, form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

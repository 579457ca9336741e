//! Longer time and make-ups for single students, and the sections' own dates.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::experiment::find;
use super::form::{Form, done};
use super::preview::{Asked, Said, Wanted, hidden};
use crate::course::Student;
use crate::desk::{self, Image, PrepareError, TypedDates, TypedExtension};
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};

/// Fields of the form for one student.
const FIELDS: [&str; 4] = ["student", "due", "section", "reason"];

#[derive(Template)]
#[template(path = "coordinator/extensions.html")]
struct ExtensionsPage {
    frame: Frame,
    form: Form,
    key: ExperimentKey,
    title: String,
    zone: String,
    due: String,
    students: Vec<Student>,
    sections: Vec<SectionRow>,
    rows: Vec<Row>,
}

/// A section with its own dates as a form has them, empty where it goes with the others.
struct SectionRow {
    name: String,
    opens: String,
    due: String,
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

/// `GET /course/experiments/{key}/extensions`; `?student=` fills the form in.
pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = Form::filled(&[("student", query.0.text("student"))]);
    let page = extensions(&state, &visitor, &key, form, done(&query)).await?;
    Ok(page.into_response())
}

async fn extensions(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<ExtensionsPage>> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, key)?;
    let title = experiment.procedure.title.clone();
    let mut frame = visitor.frame(format!("Dates and extensions: {title}"));
    frame.notice = notice;
    let section = |name: &str| {
        let own = experiment.section_dates.get(name).copied();
        let own = own.unwrap_or_default();
        // what was typed and refused comes back as it was typed
        let typed = |field: &str, held: Option<jiff::civil::DateTime>| match form
            .typed(&format!("{field}:{name}"))
        {
            Some(typed) => typed.to_owned(),
            None => held.map(as_field).unwrap_or_default(),
        };
        SectionRow {
            opens: typed("opens", own.opens),
            due: typed("due", own.due),
            name: name.to_owned(),
        }
    };
    Ok(Page(ExtensionsPage {
        frame,
        key: key.to_owned(),
        title,
        zone: term.course.zone.name().to_owned(),
        due: dates::local(experiment.dates.due),
        students: term.enrolled().cloned().collect(),
        sections: term.sections().into_iter().map(section).collect(),
        rows: rows(&view, key),
        form,
    }))
}

/// A local time as a date field of a form has it.
pub fn as_field(at: jiff::civil::DateTime) -> String {
    at.strftime("%Y-%m-%dT%H:%M").to_string()
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
    term.students.iter().filter_map(row).collect()
}

fn typed(fields: &Fields) -> TypedExtension {
    let [student, due, section, reason] = FIELDS.map(|name| fields.text(name).to_owned());
    TypedExtension {
        student,
        due,
        section,
        reason,
    }
}

pub async fn enter(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let who = (visitor.login.as_str(), state.clock.now());
    let typed = typed(&fields);
    let made = desk::arrange(&state.desk, who, |term| {
        desk::extension_changes(term, &key, &typed, who)
    });
    answer(&state, &visitor, &key, fields, made.await, "extended").await
}

pub async fn preview(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let changes = {
        let view = state.desk.view().await?;
        find(&view.term, &key)?;
        let who = (visitor.login.as_str(), state.clock.now());
        desk::extension_changes(&view.term, &key, &typed(&fields), who)
    };
    let action = format!("/course/experiments/{key}/extensions");
    match changes {
        Err(why) => answer(&state, &visitor, &key, fields, Err(why), "").await,
        Ok(changes) => {
            let asked = Asked {
                wanted: Wanted::Changes(changes),
                hidden: hidden(&fields, &FIELDS),
                reason: None,
                back: action.clone(),
                action,
                said: Said::default(),
            };
            match asked.answer(&state, &visitor).await? {
                Ok(page) => Ok(page),
                Err(why) => answer(&state, &visitor, &key, fields, Err(why), "").await,
            }
        }
    }
}

/// What the form says of sections.
fn typed_sections(fields: &Fields) -> Vec<TypedDates> {
    let opens = fields.all("opens:");
    opens
        .map(|(name, opens)| {
            let section = name.trim_start_matches("opens:");
            let due = fields.text(&format!("due:{section}"));
            (section.to_owned(), opens.trim().to_owned(), due.to_owned())
        })
        .collect()
}

pub async fn enter_sections(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let who = (visitor.login.as_str(), state.clock.now());
    let typed = typed_sections(&fields);
    let made = desk::arrange(&state.desk, who, |term| {
        desk::section_date_changes(term, &key, &typed)
    });
    answer(&state, &visitor, &key, fields, made.await, "dates").await
}

pub async fn preview_sections(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let changes = {
        let view = state.desk.view().await?;
        find(&view.term, &key)?;
        desk::section_date_changes(&view.term, &key, &typed_sections(&fields))
    };
    let changes = match changes {
        Ok(changes) => changes,
        Err(why) => return answer(&state, &visitor, &key, fields, Err(why), "").await,
    };
    let at = format!("/course/experiments/{key}");
    let asked = Asked {
        wanted: Wanted::Changes(changes),
        action: format!("{at}/section-dates"),
        hidden: fields.clone().into_pairs(),
        reason: None,
        back: format!("{at}/extensions"),
        said: Said::default(),
    };
    match asked.answer(&state, &visitor).await? {
        Ok(page) => Ok(page),
        Err(why) => answer(&state, &visitor, &key, fields, Err(why), "").await,
    }
}

async fn answer(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    made: Result<usize, PrepareError>,
    done: &str,
) -> PageResult<Response> {
    match made {
        Ok(_) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/extensions?done={done}"
        ))),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = extensions(state, visitor, key, form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

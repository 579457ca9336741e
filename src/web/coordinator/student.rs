//! One student of the roster: added, moved to another section, or marked as having left.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::form::{Form, done};
use super::preview::{Asked, Said, Wanted, hidden};
use crate::desk::{self, PrepareError, StudentEntry};
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

/// Fields of the form.
const FIELDS: [&str; 6] = [
    "student_id",
    "family_name",
    "given_name",
    "section",
    "email",
    "left",
];

#[derive(Template)]
#[template(path = "coordinator/student.html")]
struct StudentPage {
    frame: Frame,
    form: Form,
    sections: Vec<String>,
}

/// `GET /course/roster/student`; `?id=` fills the form in with somebody to change.
pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = {
        let view = state.desk.view().await?;
        match view.term.student(query.0.text("id")) {
            None => Form::default(),
            Some(student) => {
                let left = student.left.map(|day| day.to_string());
                let values = [
                    student.id.as_str(),
                    &student.family_name,
                    &student.given_name,
                    &student.section,
                    &student.email,
                    left.as_deref().unwrap_or_default(),
                ];
                let filled: Vec<(&str, &str)> = FIELDS.into_iter().zip(values).collect();
                Form::filled(&filled)
            }
        }
    };
    let page = student(&state, &visitor, form, done(&query)).await?;
    Ok(page.into_response())
}

async fn student(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<StudentPage>> {
    let view = state.desk.view().await?;
    let known = view.term.student(form.value("student_id"));
    let mut frame = visitor.frame(match known {
        Some(student) => format!("Change {student}"),
        None => "Add a student".to_owned(),
    });
    frame.notice = notice;
    Ok(Page(StudentPage {
        frame,
        form,
        sections: view
            .term
            .sections()
            .into_iter()
            .map(str::to_owned)
            .collect(),
    }))
}

fn entry(fields: &Fields) -> StudentEntry {
    let [id, family_name, given_name, section, email, left] =
        FIELDS.map(|name| fields.text(name).to_owned());
    StudentEntry {
        id,
        family_name,
        given_name,
        section,
        email,
        left,
    }
}

pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let who = (visitor.login.as_str(), state.clock.now());
    let entry = entry(&fields);
    let entered = desk::arrange(&state.desk, who, |term| desk::student_changes(term, &entry));
    match entered.await {
        Ok(n) => Err(PageError::see_other(format!(
            "/course/roster?done=roster&n={n}"
        ))),
        Err(why) => refused(&state, &visitor, fields, why).await,
    }
}

pub async fn preview(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let changes = {
        let view = state.desk.view().await?;
        desk::student_changes(&view.term, &entry(&fields))
    };
    let asked = match changes {
        Err(why) => return refused(&state, &visitor, fields, why).await,
        Ok(changes) => Asked {
            wanted: Wanted::Changes(changes),
            action: "/course/roster/student".to_owned(),
            hidden: hidden(&fields, &FIELDS),
            reason: None,
            back: "/course/roster".to_owned(),
            said: Said::default(),
        },
    };
    match asked.answer(&state, &visitor).await? {
        Ok(page) => Ok(page),
        Err(why) => refused(&state, &visitor, fields, why).await,
    }
}

async fn refused(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    fields: Fields,
    why: PrepareError,
) -> PageResult<Response> {
    let form = Form::refused(fields, why)?;
    let page = student(state, visitor, form, None).await?;
    Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
}

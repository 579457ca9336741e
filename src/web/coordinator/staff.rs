//! The staff: who teaches which sections, who coordinates.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::form::{Form, done};
use crate::course::StaffMember;
use crate::desk::{self, StaffEntry};
use crate::ids::SectionName;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

#[derive(Template)]
#[template(path = "coordinator/staff.html")]
struct StaffPage {
    frame: Frame,
    form: Form,
    staff: Vec<StaffMember>,
    sections: Vec<String>,
    untaught: Vec<String>,
    /// Somebody about to be taken off the list.
    leaving: Option<StaffMember>,
}

/// `GET /course/staff`; `?login=` fills the form in with somebody to change, `?remove=` asks about taking them off.
pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let mut frame = visitor.frame("Staff");
    frame.notice = done(&query);
    let view = state.desk.view().await?;
    let login = query.0.text("login");
    let member = view.term.staff.iter().find(|s| s.login == login);
    let form = member.map_or_else(
        || Form::filled(&[("role", "assistant")]),
        |member| {
            let mut filled = vec![
                ("login", member.login.as_str()),
                ("name", &member.name),
                ("role", member.role.name()),
            ];
            filled.extend(member.sections.iter().map(|s| ("sections[]", s.as_str())));
            Form::filled(&filled)
        },
    );
    let remove = query.0.text("remove");
    let leaving = view.term.staff.iter().find(|s| s.login == remove).cloned();
    drop(view);
    Ok(staff(&state, frame, form, leaving).await?.into_response())
}

async fn staff(
    state: &AppState,
    frame: Frame,
    form: Form,
    leaving: Option<StaffMember>,
) -> PageResult<Page<StaffPage>> {
    let view = state.desk.view().await?;
    let staff = view.term.staff.clone();
    let sections: Vec<String> = view
        .term
        .sections()
        .into_iter()
        .map(str::to_owned)
        .collect();
    let is_taught = |section: &String| {
        staff
            .iter()
            .any(|s| s.sections.iter().any(|one| one == section))
    };
    Ok(Page(StaffPage {
        frame,
        form,
        untaught: sections.iter().filter(|s| !is_taught(s)).cloned().collect(),
        staff,
        sections,
        leaving,
    }))
}

pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let entry = StaffEntry {
        login: fields.text("login"),
        name: fields.text("name"),
        role: fields.text("role"),
        sections: fields.list("sections[]").map(SectionName::new).collect(),
    };
    let who = (visitor.login.as_str(), state.clock.now());
    match desk::enter_staff(&state.desk, entry, who).await {
        Ok(()) => Err(PageError::see_other("/course/staff?done=staff")),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = staff(&state, visitor.frame("Staff"), form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

/// `POST /course/staff/remove`: off the list, and every session ended.
pub async fn remove(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let who = (visitor.login.as_str(), state.clock.now());
    match desk::remove_staff(&state.desk, fields.text("login"), who).await {
        Ok(()) => Err(PageError::see_other("/course/staff?done=staff")),
        Err(why) => {
            let form = Form::refused(Fields::default(), why)?;
            let page = staff(&state, visitor.frame("Staff"), form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

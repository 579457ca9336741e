//! Who gets which bottle: dealt out at random, and lists to take to the laboratory.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::experiment::find;
use super::form::{Form, done};
use crate::course::Student;
use crate::desk;
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields,
};

#[derive(Template)]
#[template(path = "coordinator/issue.html")]
struct IssuePage {
    frame: Frame,
    form: Form,
    key: ExperimentKey,
    title: String,
    counts: Vec<(String, usize)>,
    without: Vec<Student>,
    total: usize,
    sections: Vec<String>,
}

#[derive(Template)]
#[template(path = "coordinator/issue-list.html")]
struct ListPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    sections: Vec<(String, Vec<Given>)>,
}

/// A student on the list.
struct Given {
    id: String,
    name: String,
    bottle: Option<String>,
}

pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let page = issue(&state, &visitor, &key, Form::default(), done(&query)).await?;
    Ok(page.into_response())
}

async fn issue(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<IssuePage>> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, key)?;
    let codes = term.unknowns.get(key).into_iter().flat_map(|u| u.keys());
    let mut counts: BTreeMap<&str, usize> = codes.map(|code| (code.as_str(), 0)).collect();
    let mut without = Vec::new();
    for student in term.enrolled() {
        match term.issued.get(&Slot::new(key, &student.id)) {
            Some(code) => {
                let count = counts.entry(code).or_default();
                *count = count.saturating_add(1);
            }
            None => without.push(student.clone()),
        }
    }
    let title = experiment.procedure.title.clone();
    let mut frame = visitor.frame(format!("Issue: {title}"));
    frame.notice = notice;
    Ok(Page(IssuePage {
        frame,
        form,
        key: key.to_owned(),
        title,
        counts: counts
            .into_iter()
            .map(|(code, n)| (code.to_owned(), n))
            .collect(),
        without,
        total: term.enrolled().count(),
        sections: term.sections().into_iter().map(str::to_owned).collect(),
    }))
}

pub async fn now(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let mut seed = [0_u8; 32];
    getrandom::fill(&mut seed).map_err(PageError::internal)?;
    let who = (visitor.login.as_str(), state.clock.now());
    match desk::issue_unknowns(&state.desk, &key, seed, who).await {
        Ok(n) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/issue?done=issued&n={n}"
        ))),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = issue(&state, &visitor, &key, form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

/// `GET /course/experiments/{key}/issue/list`: to be printed, a page per section; `?section=` for one.
pub async fn list(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let experiment = find(term, &key)?;
    let wanted = query.0.text("section");
    let of = |section: &str| {
        let mut students: Vec<&Student> =
            term.enrolled().filter(|s| s.section == section).collect();
        students.sort_by_cached_key(|s| (s.family_name.to_lowercase(), s.id.clone()));
        let given = students.into_iter().map(|student| Given {
            id: student.id.to_string(),
            name: student.to_string(),
            bottle: term
                .issued
                .get(&Slot::new(&key, &student.id))
                .map(ToString::to_string),
        });
        (section.to_owned(), given.collect())
    };
    let sections = term.sections().into_iter();
    Ok(Page(ListPage {
        frame: visitor.frame(format!("Issue list: {}", experiment.procedure.title)),
        title: experiment.procedure.title.clone(),
        sections: sections
            .filter(|section| wanted.is_empty() || *section == wanted)
            .map(of)
            .collect(),
        key,
    }))
}

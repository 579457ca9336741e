//! Files that leave the course.

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::form::Form;
use super::unpack::pack;
use crate::desk::{PrepareError, output_files};
use crate::files::{Folder, FreeText, gradebook_csv, write_term};
use crate::term::{CopyPlan, Term};
use crate::text::{day, line_of_text};
use crate::web::{AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult};

#[derive(Template)]
#[template(path = "coordinator/files.html")]
struct FilesPage {
    frame: Frame,
    form: Form,
    unsettled: usize,
    /// The day the first experiment opens.
    first: Option<String>,
}

pub async fn page(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<impl IntoResponse> {
    files(&state, &visitor, Form::default()).await
}

async fn files(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    form: Form,
) -> PageResult<Page<FilesPage>> {
    let view = state.desk.view().await?;
    let unsettled = view.judged.values().filter(|judged| {
        matches!(
            judged.status,
            crate::term::Status::ToReview | crate::term::Status::Returned
        )
    });
    Ok(Page(FilesPage {
        frame: visitor.frame("Files"),
        form,
        unsettled: unsettled.count(),
        first: view.term.first_day().map(|day| day.to_string()),
    }))
}

/// `POST /course/copy.zip`: the course for another term, without people and what they did.
pub async fn copy(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let made = {
        let view = state.desk.view().await?;
        copy_plan(&view.term, &fields).map(|plan| write_term(&view.term.copied(&plan)))
    };
    match made {
        Err(faults) => {
            let form = Form::refused(fields, PrepareError::Fields(faults))?;
            let page = files(&state, &visitor, form).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
        Ok(folder) => zipped("next-term.zip", folder).await,
    }
}

fn copy_plan(term: &Term, fields: &Fields) -> Result<CopyPlan, Vec<(&'static str, String)>> {
    let mut faults = Vec::new();
    let name = match line_of_text(fields.text("next_term")) {
        Ok(name) if name.is_empty() => {
            Err("found nothing, expected its name, such as Spring 2027".to_owned())
        }
        read => read,
    };
    let name = name.map_err(|what| faults.push(("next_term", what))).ok();
    let days = match (fields.text("first_day"), fields.text("weeks")) {
        ("", "") => {
            let what = "found neither a day nor a number of weeks, expected one of the two";
            Err(("first_day", what.to_owned()))
        }
        (first, "") => day(first)
            .map(|first| term.days_to(first).unwrap_or(0))
            .map_err(|what| ("first_day", what)),
        ("", weeks) => match weeks.parse::<i32>() {
            Ok(weeks) if (-520..=520).contains(&weeks) => Ok(weeks.saturating_mul(7)),
            _ => {
                let what = format!(
                    "found \u{201c}{weeks}\u{201d}, expected a whole number of weeks, at most 520"
                );
                Err(("weeks", what))
            }
        },
        (first, _) => {
            let what = format!("found {first} beside a number of weeks, expected one of the two");
            Err(("first_day", what))
        }
    };
    let days = days.map_err(|fault| faults.push(fault)).ok();
    let ticked = |field: &str| fields.text(field) == "yes";
    match (name, days) {
        (Some(term), Some(days)) => Ok(CopyPlan {
            term,
            days,
            lots: ticked("lots"),
            unknowns: ticked("unknowns"),
        }),
        _ => Err(faults),
    }
}

async fn zipped(name: &str, folder: Folder) -> PageResult<Response> {
    let packed = tokio::task::spawn_blocking(move || pack(&folder)).await;
    let bytes = packed
        .map_err(PageError::internal)?
        .map_err(PageError::internal)?;
    Ok(attachment(name, "application/zip", bytes))
}

pub async fn gradebook(
    state: State<AppState>,
    visitor: CoordinatorVisitor,
) -> PageResult<Response> {
    table(state, visitor, "gradebook.csv").await
}

/// `GET /course/gradebook-exact.csv`: names and ids letter for letter, for programs.
pub async fn gradebook_exact(
    State(state): State<AppState>,
    _visitor: CoordinatorVisitor,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let text = gradebook_csv(&view.term, &view.in_course_order(), FreeText::Exact);
    Ok(attachment(
        "gradebook-exact.csv",
        "text/csv; charset=utf-8",
        text.into_bytes(),
    ))
}

pub async fn results(state: State<AppState>, visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(state, visitor, "results.csv").await
}

pub async fn flags(state: State<AppState>, visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(state, visitor, "flags.csv").await
}

pub async fn audit(state: State<AppState>, visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(state, visitor, "audit.csv").await
}

async fn table(
    State(state): State<AppState>,
    _visitor: CoordinatorVisitor,
    name: &'static str,
) -> PageResult<Response> {
    let view = state.desk.view().await?;
    let files = output_files(&view);
    let bytes = files.get(name).ok_or_else(PageError::not_found)?;
    Ok(attachment(name, "text/csv; charset=utf-8", bytes.to_vec()))
}

/// `GET /course/export.zip`: the whole course as a folder.
pub async fn export(
    State(state): State<AppState>,
    _visitor: CoordinatorVisitor,
) -> PageResult<Response> {
    let folder = write_term(&state.desk.view().await?.term);
    zipped("export.zip", folder).await
}

/// A file to be kept. Its name is somebody's: what a header cannot hold is left out of the plain name and spelt out in
/// the other one (RFC 6266).
pub(super) fn attachment(name: &str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let plain = |c: char| match c {
        '.' | '-' | '_' | ' ' => c,
        c if c.is_ascii_alphanumeric() => c,
        _ => '_',
    };
    let ascii: String = name.chars().map(plain).collect();
    let mut disposition = format!("attachment; filename=\"{ascii}\"");
    if ascii != name {
        let spelt: String = name
            .bytes()
            .map(|byte| match byte {
                b'.' | b'-' | b'_' => char::from(byte).to_string(),
                byte if byte.is_ascii_alphanumeric() => char::from(byte).to_string(),
                byte => format!("%{byte:02X}"),
            })
            .collect();
        disposition.push_str(&format!("; filename*=UTF-8''{spelt}"));
    }
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, disposition),
    ];
    (headers, bytes).into_response()
}

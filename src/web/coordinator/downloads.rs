//! Files that leave the course.

use askama::Template;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::oneroster::results_form;
use crate::desk::campus::settings;
use crate::files::{
    Dialect, Folder, FreeText, audit_csv, flags_csv, gradebook_csv, gradebook_xlsx, pack,
    results_csv, write_term,
};
use crate::form::{Button, Faults, Field, Filled, Form, Typed};
use crate::store::texts_in_the_journal;
use crate::term::{CopyPlan, Judged, Slot, Term};
use crate::web::{CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields};

#[derive(Template)]
#[template(path = "coordinator/files.html")]
struct FilesPage {
    frame: Frame,
    /// The course for another term; none while it has no experiment.
    copy: Option<Filled>,
    /// For results as the files of an exchange.
    exchange: Filled,
    unsettled: usize,
}

pub async fn page(visitor: CoordinatorVisitor) -> PageResult<impl IntoResponse> {
    files(&visitor, Typed::default(), Faults::default()).await
}

async fn files(
    visitor: &CoordinatorVisitor,
    typed: Typed,
    faults: Faults,
) -> PageResult<Page<FilesPage>> {
    let view = visitor.view().await?;
    let unsettled = view.judged.values().filter(|judged| {
        matches!(
            judged.status,
            crate::term::Status::ToReview | crate::term::Status::Returned
        )
    });
    Ok(Page(FilesPage {
        frame: visitor.frame("Files"),
        copy: view
            .term
            .first_day()
            .map(|first| copy_form(&first.to_string()).filled("/course/copy.zip", typed, faults)),
        exchange: results_form(),
        unsettled: unsettled.count(),
    }))
}

#[derive(Template)]
#[template(path = "coordinator/kept.html")]
struct KeptPage {
    frame: Frame,
    /// On the roster, and of those, whose names are still known.
    students: usize,
    named: usize,
    kept_days: i64,
    /// Texts about students that cannot be taken out of this file.
    texts_for_good: i64,
}

/// `GET /course/kept`: what is kept of people, for how long and why.
pub async fn kept(visitor: CoordinatorVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let students = &view.term.students;
    let named = students
        .iter()
        .filter(|s| !s.family_name.is_empty())
        .count();
    let mut reader = visitor.state.store().read().await?;
    let texts_for_good = texts_in_the_journal(&mut reader).await?;
    drop(reader);
    Ok(Page(KeptPage {
        texts_for_good,
        frame: visitor.frame("What is kept of people"),
        students: students.len(),
        named,
        kept_days: settings(&visitor.state.people).await?.places_kept_days,
    }))
}

/// `POST /course/copy.zip`: the course for another term, without people and what they did.
pub async fn copy(visitor: CoordinatorVisitor, Fields(typed): Fields) -> PageResult<Response> {
    let made = {
        let view = visitor.view().await?;
        copy_plan(&view.term, &typed).map(|plan| write_term(&view.term.copied(&plan)))
    };
    match made {
        Err(faults) => {
            let page = files(&visitor, typed, faults).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
        Ok(folder) => zipped("next-term.zip", folder).await,
    }
}

fn copy_form(first: &str) -> Form {
    let mut form = Form::of(vec![
        Field::text("next_term", "Next term")
            .hint("such as Spring 2027")
            .wide(),
        Field::day("first_day", "First day")
            .hint("the first experiment opens then, the others as far after it as now"),
        Field::text("weeks", "Weeks").hint("or: by how many weeks every date moves"),
        Field::tick("lots", "with the lots and their values"),
        Field::tick("unknowns", "with the unknowns and their true values"),
    ])
    .title("Copy for next term")
    .words("A folder with the experiments, their procedures and marking on other dates, to be brought into an empty server: without people, sections, hand-ins, bottles issued, notes and decisions.")
    .note(format!("The first experiment opens on {first} this term."));
    form.buttons = vec![Button::new("Make the copy").quiet()];
    form
}

fn copy_plan(term: &Term, typed: &Typed) -> Result<CopyPlan, Faults> {
    let mut read = copy_form("").read(typed);
    if typed.text("next_term").is_empty() {
        read.fault(
            "next_term",
            "found nothing, expected its name, such as Spring 2027",
        );
    }
    let weeks = typed.text("weeks");
    let days = match (typed.text("first_day"), weeks) {
        ("", "") => {
            let what = "found neither a day nor a number of weeks, expected one of the two";
            read.fault("first_day", what);
            None
        }
        (_, "") => read
            .day("first_day")
            .map(|first| term.days_to(first).unwrap_or(0)),
        ("", _) => {
            let number = weeks.parse::<i32>().ok();
            let number = number.filter(|number| (-520..=520).contains(number));
            let what = || {
                format!(
                    "found \u{201c}{weeks}\u{201d}, expected a whole number of weeks, at most 520"
                )
            };
            let weeks = read.keep("weeks", number.ok_or_else(what));
            weeks.map(|weeks| weeks.saturating_mul(7))
        }
        (first, _) => {
            let what = format!("found {first} beside a number of weeks, expected one of the two");
            read.fault("first_day", what);
            None
        }
    };
    read.check()?;
    Ok(CopyPlan {
        term: read.text("next_term").unwrap_or_default().to_owned(),
        days: days.unwrap_or_default(),
        lots: read.is_ticked("lots"),
        unknowns: read.is_ticked("unknowns"),
    })
}

async fn zipped(name: &str, folder: Folder) -> PageResult<Response> {
    let packed = tokio::task::spawn_blocking(move || pack(&folder)).await;
    let bytes = packed
        .map_err(PageError::internal)?
        .map_err(PageError::internal)?;
    Ok(attachment(name, "application/zip", bytes))
}

/// `GET /course/gradebook.csv`; with `semicolons` and `mark` as the spreadsheet needs it.
pub async fn gradebook(visitor: CoordinatorVisitor, query: QueryFields) -> PageResult<Response> {
    let dialect = Dialect {
        semicolons: query.0.text("semicolons") == "yes",
        mark: query.0.text("mark") == "yes",
    };
    let view = visitor.view().await?;
    let write = move || {
        let book = gradebook_csv(&view.term, &view.in_course_order(), FreeText::Safe);
        dialect.written(&book)
    };
    let written = tokio::task::spawn_blocking(write).await;
    let text = written
        .map_err(PageError::internal)?
        .map_err(PageError::internal)?;
    let bytes = text.into_bytes();
    Ok(attachment(
        "gradebook.csv",
        "text/csv; charset=utf-8",
        bytes,
    ))
}

/// `GET /course/gradebook-exact.csv`: names and ids letter for letter, for programs.
pub async fn gradebook_exact(visitor: CoordinatorVisitor) -> PageResult<Response> {
    let write =
        |term: &Term, judged: &[(Slot, Judged)]| gradebook_csv(term, judged, FreeText::Exact);
    table(visitor, "gradebook-exact.csv", write).await
}

/// `GET /course/gradebook.xlsx`.
pub async fn gradebook_book(visitor: CoordinatorVisitor) -> PageResult<Response> {
    let view = visitor.view().await?;
    let book = gradebook_xlsx(&view.term, &view.in_course_order()).map_err(PageError::internal)?;
    let kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
    Ok(attachment("gradebook.xlsx", kind, book))
}

pub async fn results(visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(visitor, "results.csv", results_csv).await
}

pub async fn flags(visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(visitor, "flags.csv", flags_csv).await
}

pub async fn audit(visitor: CoordinatorVisitor) -> PageResult<Response> {
    table(visitor, "audit.csv", audit_csv).await
}

/// One file of results, written on no thread that serves pages.
async fn table(
    visitor: CoordinatorVisitor,
    name: &'static str,
    write: fn(&Term, &[(Slot, Judged)]) -> String,
) -> PageResult<Response> {
    let view = visitor.view().await?;
    let written =
        tokio::task::spawn_blocking(move || write(&view.term, &view.in_course_order())).await;
    let bytes = written.map_err(PageError::internal)?.into_bytes();
    Ok(attachment(name, "text/csv; charset=utf-8", bytes))
}

/// `GET /course/export.zip`: the whole course as a folder.
pub async fn export(visitor: CoordinatorVisitor) -> PageResult<Response> {
    let folder = write_term(&visitor.view().await?.term);
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

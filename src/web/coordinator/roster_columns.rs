//! A roster whose columns do not say by themselves what they are: somebody chooses, and the course remembers.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use super::home::FaultsPage;
use super::roster::{Source, show_plan};
use crate::desk::{self, remembered_columns};
use crate::files::tables::{RosterColumns, RosterField, RosterFile, RosterRead};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::text::Fault;
use crate::web::fields::{LongForm, MOST_FILE_IN_FORM};
use crate::web::{CoordinatorVisitor, Frame, Page, PageError, PageResult, UploadedFile};

#[derive(Template)]
#[template(path = "coordinator/roster-columns.html")]
struct ColumnsPage {
    frame: Frame,
    file: String,
    sheet: String,
    rows: usize,
    form: Filled,
}

/// What the file would change, or the question which column is which.
pub async fn read(visitor: &CoordinatorVisitor, file: &UploadedFile) -> PageResult<Response> {
    let remembered = {
        let view = visitor.view().await?;
        remembered_columns(&view.term)
    };
    let roster = match roster_of(file, remembered).await? {
        Ok(roster) => roster,
        Err(faults) => return Ok(refused(visitor, &file.name, faults)),
    };
    let lacking = roster.columns.lacks();
    if lacking.is_empty() {
        return match roster.students(&roster.columns) {
            Ok(RosterRead { students, .. }) => {
                show_plan(visitor, source(file, &roster), (&students, &[])).await
            }
            Err(faults) => Ok(refused(visitor, &file.name, faults)),
        };
    }
    let (found, most) = (file.bytes.len() / 1024, MOST_FILE_IN_FORM / 1024);
    if file.bytes.len() > MOST_FILE_IN_FORM {
        let names: Vec<&str> = lacking.into_iter().map(RosterField::name).collect();
        let what = format!(
            "found no columns called {}, and {found} KiB, expected such columns or at most {most} KiB: take pictures out of the file, or rename the columns",
            names.join(", ")
        );
        let fault = Fault::of_file(&file.name, what).at(roster.header.line);
        return Ok(refused(visitor, &file.name, vec![fault]));
    }
    let mut faults = Faults::default();
    for field in lacking {
        let what = format!(
            "found no column that is called so, expected the one of the {}",
            field.label().to_lowercase()
        );
        faults.add(field.name(), what);
    }
    Ok(page(visitor, file, &roster, &roster.columns, faults))
}

fn source<'f>(file: &'f UploadedFile, roster: &RosterFile) -> Source<'f> {
    Source {
        remark: roster.says_of_sheets(),
        ..Source::file(&file.name)
    }
}

/// Reading a workbook takes a while: not on a thread that serves pages.
async fn roster_of(
    file: &UploadedFile,
    remembered: Vec<(RosterField, String)>,
) -> PageResult<Result<RosterFile, Vec<Fault>>> {
    let (name, bytes) = (file.name.clone(), file.bytes.clone());
    let read = tokio::task::spawn_blocking(move || RosterFile::read(&name, &bytes, &remembered));
    read.await.map_err(PageError::internal)
}

/// `POST /course/roster/columns`: the columns as they were chosen.
pub async fn chosen(
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    let file = UploadedFile::packed(&fields, "roster")?;
    let roster = match roster_of(&file, Vec::new()).await? {
        Ok(roster) => roster,
        Err(faults) => return Ok(refused(&visitor, &file.name, faults)),
    };
    let mut columns = RosterColumns::default();
    for field in RosterField::ALL {
        let place = fields.text(field.name()).parse::<usize>().ok();
        columns.set(
            field,
            place.filter(|place| *place < roster.header.cells.len()),
        );
    }
    let mut faults = Faults::default();
    for field in columns.lacks() {
        faults.add(field.name(), "found no choice, expected one of the columns");
    }
    if !faults.is_empty() {
        return Ok(page(&visitor, &file, &roster, &columns, faults));
    }
    match roster.students(&columns) {
        Err(faults) => Ok(refused(&visitor, &file.name, faults)),
        Ok(RosterRead { students, .. }) => {
            let who = (visitor.login.as_str(), visitor.now());
            desk::remember_columns(&visitor.state.desk, &roster, &columns, who).await?;
            show_plan(&visitor, source(&file, &roster), (&students, &[])).await
        }
    }
}

fn page(
    visitor: &CoordinatorVisitor,
    file: &UploadedFile,
    roster: &RosterFile,
    columns: &RosterColumns,
    faults: Faults,
) -> Response {
    let named = roster.header.cells.iter().enumerate();
    let options = named.map(|(place, name)| {
        let name = match name.as_str() {
            "" => format!("column {}", place.saturating_add(1)),
            name => name.to_owned(),
        };
        let words = match roster.examples(place).as_str() {
            "" => name,
            examples => format!("{name} (such as {examples})"),
        };
        (place.to_string(), words)
    });
    let options: Vec<(String, String)> = options.collect();
    let field = |field: RosterField| {
        Field::choice(field.name(), field.label(), "no column", options.clone()).wide()
    };
    let mut fields: Vec<Field> = RosterField::ALL.into_iter().map(field).collect();
    fields.extend([Field::hidden("file"), Field::hidden("packed")]);
    let name: String = file.name.chars().take(120).collect();
    let mut typed = Typed::from([
        ("file", name.clone()),
        ("packed", URL_SAFE_NO_PAD.encode(&file.bytes)),
    ]);
    for (field, place) in columns.all() {
        typed.set(field.name(), place.to_string());
    }
    let form = Form::of(fields)
        .title("Which column is which?")
        .enter("See what it changes");
    Page(ColumnsPage {
        frame: visitor.frame("Columns of the roster"),
        file: name,
        sheet: roster.sheet.clone(),
        rows: roster.rows(),
        form: form.filled("/course/roster/columns", typed, faults),
    })
    .with_status(StatusCode::UNPROCESSABLE_ENTITY)
}

fn refused(visitor: &CoordinatorVisitor, name: &str, faults: Vec<Fault>) -> Response {
    let frame = visitor.frame("The roster was not brought in");
    FaultsPage::answer(frame, name, faults, "/course/roster")
}

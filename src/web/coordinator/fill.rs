//! The coordinator's own file filled in: choose columns, see what would be written, download.
//!
//! The file is never kept on the server: it travels in a hidden field of the page, as base64, because a browser would
//! change line ends in it otherwise.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

use super::downloads::attachment;
use super::home::FaultsPage;
use crate::desk::Image;
use crate::files::{FillChoice, FillPlan, FilledCell, Filling, IdKind, OwnFile, Points, Sheet};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::text::Fault;
use crate::web::fields::LongForm;
use crate::web::{
    CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, Upload, UploadedFile,
};

/// Most bytes of a file that is filled in: it travels in a form, a third longer.
const MOST_BYTES: usize = 1024 * 1024;
/// Most cells shown in a list of the preview.
const MOST_SHOWN: usize = 200;
const TITLE: &str = "Fill in your own file";
const BACK: &str = "/course/files";

#[derive(Template)]
#[template(path = "coordinator/fill.html")]
struct FillPage {
    frame: Frame,
    file: String,
    rows: usize,
    separator: String,
    columns: usize,
    of_workbook: bool,
    remarks: Vec<String>,
    form: Filled,
    outcome: Option<Outcome>,
}

/// What filling in comes to.
struct Outcome {
    plan: FillPlan,
    grades_changed: bool,
}

impl Outcome {
    fn first<'c>(&self, cells: &'c [FilledCell]) -> &'c [FilledCell] {
        cells.get(..MOST_SHOWN).unwrap_or(cells)
    }

    fn beyond(&self, cells: &[FilledCell]) -> usize {
        cells.len().saturating_sub(MOST_SHOWN)
    }
}

/// `POST /course/fill`: the file comes in, columns are to be chosen.
pub async fn choose(visitor: CoordinatorVisitor, upload: Upload) -> PageResult<Response> {
    let refuse = |file: &str, faults| {
        let frame = visitor.frame("The file cannot be filled in");
        Ok(FaultsPage::answer(frame, file, faults, BACK))
    };
    let file = match upload.within(
        "a table as a .csv or .xlsx file",
        MOST_BYTES,
        ": take pictures out of it",
    ) {
        Ok(file) => file,
        Err((name, fault)) => return refuse(&name, vec![fault]),
    };
    let own = match own_of(&file).await? {
        Ok(own) => own,
        Err(faults) => return refuse(&file.name, faults),
    };
    let sheet = match own.table() {
        Ok(sheet) => sheet,
        Err(faults) => return refuse(&file.name, faults),
    };
    let view = visitor.view().await?;
    let choice = FillChoice::guess(&sheet, &view.term);
    let page = page(visitor.frame(TITLE), &file, (&own, &sheet), &view, &choice);
    Ok(Page(page).into_response())
}

/// `POST /course/fill/preview`: what would be written.
pub async fn preview(
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    answer(&visitor, &fields, false).await
}

/// `POST /course/fill/download`: the file with its cells filled in, if they are what the preview showed.
pub async fn download(
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    answer(&visitor, &fields, true).await
}

async fn answer(
    visitor: &CoordinatorVisitor,
    fields: &Fields,
    wanted: bool,
) -> PageResult<Response> {
    let file = UploadedFile::packed(fields, "file")?;
    let refuse = |faults| {
        let frame = visitor.frame("The file cannot be filled in");
        Ok(FaultsPage::answer(frame, &file.name, faults, BACK))
    };
    let own = match own_of(&file).await? {
        Ok(own) => own,
        Err(faults) => return refuse(faults),
    };
    let sheet = match own.table() {
        Ok(sheet) => sheet,
        Err(faults) => return refuse(faults),
    };
    let view = visitor.view().await?;
    let choice = chosen(fields, (&own, &sheet), &view);
    let mut page = page(visitor.frame(TITLE), &file, (&own, &sheet), &view, &choice);
    for (target, what) in choice.faults(&sheet) {
        // what is wrong with no target is wrong with the choice as a whole
        let target = target.and_then(|place| choice.targets.get(place));
        let field = target.map_or_else(|| "id".to_owned(), |(points, _)| field_of(points));
        page.form.faults.add(field, what);
    }
    if !page.form.faults.is_empty() {
        return Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY));
    }
    let plan = choice.plan(&sheet, &view.term, &view.in_course_order());
    if plan.says_nothing() {
        let what = "found no row of a student of the course by it, expected ids as on the roster";
        page.form.faults.add("id", what);
        return Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY));
    }
    let kind = own.kind();
    let bytes = match filled(own, plan.fillings()).await? {
        Ok(bytes) => bytes,
        Err(faults) => return refuse(faults),
    };
    let seen = URL_SAFE_NO_PAD.encode(Sha256::digest(&bytes));
    if wanted && fields.text("seen") == seen {
        return Ok(attachment(&file.name, kind, bytes));
    }
    page.form
        .form
        .buttons
        .iter_mut()
        .for_each(|b| b.quiet = true);
    page.form.typed.set("seen", &seen);
    page.outcome = Some(Outcome {
        plan,
        grades_changed: wanted,
    });
    Ok(Page(page).into_response())
}

/// Reading a workbook takes a while: not on a thread that serves pages.
async fn own_of(file: &UploadedFile) -> PageResult<Result<OwnFile<'static>, Vec<Fault>>> {
    let (name, bytes) = (file.name.clone(), file.bytes.clone());
    let read = tokio::task::spawn_blocking(move || OwnFile::read(&name, bytes));
    read.await.map_err(PageError::internal)
}

/// So does writing it.
async fn filled(
    own: OwnFile<'static>,
    fillings: Vec<Filling>,
) -> PageResult<Result<Vec<u8>, Vec<Fault>>> {
    let done = tokio::task::spawn_blocking(move || {
        let sheet = own.table()?;
        own.filled(&sheet, &fillings).map_err(|fault| vec![fault])
    });
    done.await.map_err(PageError::internal)
}

fn chosen(fields: &Fields, (own, sheet): (&OwnFile<'_>, &Sheet<'_>), view: &Image) -> FillChoice {
    let column = |name: &str| {
        let place = fields.text(name).parse::<usize>().ok()?;
        (place < sheet.columns().len()).then_some(place)
    };
    let targets = all_points(view)
        .into_iter()
        .filter_map(|what| column(&field_of(&what)).map(|place| (what, place)));
    FillChoice {
        id_column: column("id").unwrap_or(0),
        by: IdKind::from_name(fields.text("by")).unwrap_or_default(),
        targets: targets.collect(),
        replace: fields.text("filled") == "replace",
        decimal_comma: fields.text("comma") == "yes"
            && own.may_have_decimal_comma(sheet.separator()),
    }
}

fn all_points(view: &Image) -> Vec<Points> {
    let experiments = view.term.experiments.iter();
    experiments
        .map(|e| Points::Experiment(e.key.clone()))
        .chain([Points::Total])
        .collect()
}

fn field_of(what: &Points) -> String {
    match what {
        Points::Experiment(key) => format!("to.{key}"),
        Points::Total => "to".to_owned(),
    }
}

/// What is asked of a file.
fn form((own, sheet): (&OwnFile<'_>, &Sheet<'_>), view: &Image) -> Form {
    let columns = (1_usize..).zip(sheet.columns()).map(|(place, name)| {
        let name = match name.trim() {
            "" => format!("column {place} (without a name)"),
            name => name.to_owned(),
        };
        (place.saturating_sub(1).to_string(), name)
    });
    let columns: Vec<(String, String)> = columns.collect();
    let label = |what: &Points| match what {
        Points::Experiment(key) => view.term.experiment(key).map_or_else(
            || key.to_string(),
            |e| format!("{} ({key})", e.procedure.title),
        ),
        Points::Total => "Total of all experiments".to_owned(),
    };
    let target =
        |what: &Points| Field::choice(field_of(what), label(what), "no column", columns.clone());
    let kinds = [
        ("student-id", "the student id"),
        ("email", "the e-mail address"),
    ];
    let fillings = [("keep", "stay as they are"), ("replace", "get the points")];
    let mut last = vec![Field::pick(
        "filled",
        "Cells that say something already",
        &fillings,
    )];
    if own.may_have_decimal_comma(sheet.separator()) {
        let comma = "Write points with a decimal comma, as in 17,50";
        last.push(Field::tick("comma", comma));
    }
    last.extend([Field::hidden("file"), Field::hidden("packed")]);
    let id = Field::of_list("id", "Column that names the student", columns.clone());
    let targets = all_points(view).iter().map(target).collect();
    Form::default()
        .title("Columns")
        .group("", vec![id, Field::pick("by", "What stands in it", &kinds)])
        .group("Points go into", targets)
        .group("", last)
        .enter("See what is written")
}

fn page(
    frame: Frame,
    file: &UploadedFile,
    (own, sheet): (&OwnFile<'_>, &Sheet<'_>),
    view: &Image,
    choice: &FillChoice,
) -> FillPage {
    let name: String = file.name.chars().take(120).collect();
    let by = match choice.by {
        IdKind::Email => "email",
        IdKind::StudentId => "student-id",
    };
    let mut typed = Typed::from([
        ("file", name.clone()),
        ("packed", URL_SAFE_NO_PAD.encode(&file.bytes)),
        ("id", choice.id_column.to_string()),
        ("by", by.to_owned()),
    ]);
    for (points, column) in &choice.targets {
        typed.set(&field_of(points), column.to_string());
    }
    typed.set("filled", if choice.replace { "replace" } else { "keep" });
    if choice.decimal_comma {
        typed.set("comma", "yes");
    }
    FillPage {
        frame,
        file: name,
        rows: sheet.rows(),
        separator: own.words(sheet.separator()).into_owned(),
        columns: sheet.columns().len(),
        of_workbook: own.is_workbook(),
        remarks: own.remarks.clone(),
        form: form((own, sheet), view).filled("/course/fill/preview", typed, Faults::default()),
        outcome: None,
    }
}

//! The coordinator's own file filled in: choose columns, see what would be written, download.
//!
//! The file is never kept on the server: it travels in a hidden field of the page, as base64, because a browser would
//! change line ends in it otherwise.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

use super::downloads::attachment;
use super::home::FaultsPage;
use crate::desk::Image;
use crate::files::{
    FillChoice, FillPlan, FilledCell, IdKind, Points, Sheet, may_have_decimal_comma,
};
use crate::text::Fault;
use crate::web::fields::LongForm;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, Upload, UploadedFile,
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
    packed: String,
    rows: usize,
    separator: &'static str,
    columns: Vec<Column>,
    by_email: bool,
    targets: Vec<Target>,
    replace: bool,
    may_have_comma: bool,
    comma: bool,
    faults: Vec<FieldFault>,
    id_fault: Option<String>,
    outcome: Option<Outcome>,
}

/// A column of the file.
struct Column {
    place: usize,
    name: String,
    chosen: bool,
}

/// Points that can be written, and where to.
struct Target {
    field: String,
    label: String,
    column: Option<usize>,
    fault: Option<String>,
}

/// A fault, for the summary on top.
struct FieldFault {
    field: String,
    label: String,
    what: String,
}

/// What filling in comes to.
struct Outcome {
    plan: FillPlan,
    seen: String,
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
pub async fn choose(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    upload: Upload,
) -> PageResult<Response> {
    let refuse = |file: &str, faults| {
        let frame = visitor.frame("The file cannot be filled in");
        Ok(FaultsPage::answer(frame, file, faults, BACK))
    };
    let Some(file) = upload.file else {
        let what = "found no file, expected a table as a .csv file";
        return refuse("nothing", vec![Fault::of_file("file", what)]);
    };
    if file.bytes.len() > MOST_BYTES {
        let what = format!(
            "found {} KiB, expected at most {} KiB",
            file.bytes.len() / 1024,
            MOST_BYTES / 1024
        );
        return refuse(&file.name, vec![Fault::of_file(&file.name, what)]);
    }
    let sheet = match Sheet::read(&file.name, &file.bytes) {
        Ok(sheet) => sheet,
        Err(faults) => return refuse(&file.name, faults),
    };
    let view = state.desk.view().await?;
    let choice = FillChoice::guess(&sheet, &view.term);
    Ok(Page(page(visitor.frame(TITLE), &file, &sheet, &view, &choice)).into_response())
}

/// `POST /course/fill/preview`: what would be written.
pub async fn preview(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    answer(&state, &visitor, &fields, false).await
}

/// `POST /course/fill/download`: the file with its cells filled in, if they are what the preview showed.
pub async fn download(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    answer(&state, &visitor, &fields, true).await
}

async fn answer(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    fields: &Fields,
    wanted: bool,
) -> PageResult<Response> {
    let file = carried(fields)?;
    let sheet = match Sheet::read(&file.name, &file.bytes) {
        Ok(sheet) => sheet,
        Err(faults) => {
            let frame = visitor.frame("The file cannot be filled in");
            return Ok(FaultsPage::answer(frame, &file.name, faults, BACK));
        }
    };
    let view = state.desk.view().await?;
    let choice = chosen(fields, &sheet, &view);
    let mut page = page(visitor.frame(TITLE), &file, &sheet, &view, &choice);
    for (target, what) in choice.faults(&sheet) {
        page.add_fault(target.and_then(|place| choice.targets.get(place)), what);
    }
    if !page.faults.is_empty() {
        return Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY));
    }
    let plan = choice.plan(&sheet, &view.term, &view.in_course_order());
    let bytes = sheet.filled(&plan.fillings());
    let seen = URL_SAFE_NO_PAD.encode(Sha256::digest(&bytes));
    if wanted && fields.text("seen") == seen {
        return Ok(attachment(&file.name, "text/csv", bytes));
    }
    page.outcome = Some(Outcome {
        plan,
        seen,
        grades_changed: wanted,
    });
    Ok(Page(page).into_response())
}

/// The file that the form carries.
fn carried(fields: &Fields) -> PageResult<UploadedFile> {
    let bytes = URL_SAFE_NO_PAD
        .decode(fields.need("packed")?)
        .map_err(|_| {
            PageError::bad_request(
                "The file in the form is damaged. Go back and send the file again.",
            )
        })?;
    Ok(UploadedFile {
        field: "file".to_owned(),
        name: fields.need("file")?.to_owned(),
        bytes,
    })
}

fn chosen(fields: &Fields, sheet: &Sheet<'_>, view: &Image) -> FillChoice {
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
        decimal_comma: fields.text("comma") == "yes" && may_have_decimal_comma(sheet.separator()),
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

fn page(
    frame: Frame,
    file: &UploadedFile,
    sheet: &Sheet<'_>,
    view: &Image,
    choice: &FillChoice,
) -> FillPage {
    let label = |what: &Points| match what {
        Points::Experiment(key) => view.term.experiment(key).map_or_else(
            || key.to_string(),
            |e| format!("{} ({key})", e.procedure.title),
        ),
        Points::Total => "Total of all experiments".to_owned(),
    };
    let target = |what: Points| Target {
        field: field_of(&what),
        label: label(&what),
        column: choice
            .targets
            .iter()
            .find(|(one, _)| *one == what)
            .map(|(_, column)| *column),
        fault: None,
    };
    let columns = sheet.columns();
    FillPage {
        frame,
        file: file.name.chars().take(120).collect(),
        packed: URL_SAFE_NO_PAD.encode(&file.bytes),
        rows: sheet.rows(),
        separator: sheet.separator().words(),
        columns: columns
            .iter()
            .enumerate()
            .map(|(place, name)| Column {
                place,
                name: match name.trim() {
                    "" => format!("column {} (without a name)", place.saturating_add(1)),
                    name => name.to_owned(),
                },
                chosen: place == choice.id_column,
            })
            .collect(),
        by_email: choice.by == IdKind::Email,
        targets: all_points(view).into_iter().map(target).collect(),
        replace: choice.replace,
        may_have_comma: may_have_decimal_comma(sheet.separator()),
        comma: choice.decimal_comma,
        faults: Vec::new(),
        id_fault: None,
        outcome: None,
    }
}

impl FillPage {
    /// Puts a fault beside the field of a target, or beside the first field.
    fn add_fault(&mut self, target: Option<&(Points, usize)>, what: String) {
        let field = target.map(|(points, _)| field_of(points));
        let place = self
            .targets
            .iter_mut()
            .find(|one| Some(&one.field) == field.as_ref());
        let (field, label) = match place {
            Some(place) => {
                place.fault = Some(what.clone());
                (place.field.clone(), place.label.clone())
            }
            None => {
                self.id_fault = Some(what.clone());
                ("id".to_owned(), "Columns".to_owned())
            }
        };
        self.faults.push(FieldFault { field, label, what });
    }
}

//! The OneRoster exchange on pages: a roster in, results out.

use axum::response::Response;

use super::downloads::attachment;
use super::home::FaultsPage;
use super::roster::{Source, show_plan};
use crate::files::oneroster::{Export, RosterChoice, StudentKey, Version, export, read_exchange};
use crate::files::{Folder, pack, unpack};
use crate::form::{Button, Faults, Field, Filled, Form, Kind, Typed, named};
use crate::text::Fault;
use crate::web::{CoordinatorVisitor, PageError, PageResult, UploadedFile, Uploads};

/// A roster as the files of an exchange.
pub fn roster_form() -> Filled {
    let keys = StudentKey::ALL.map(StudentKey::column);
    let mut form = Form::of(vec![
        exchange_field("OneRoster files, version 1.1 or 1.2")
            .hint("One .zip file, or manifest.csv, users.csv, classes.csv and enrollments.csv (and courses.csv) together, in bulk. Classes become sections. You see what changes before anything is changed.")
            .needed(),
        Field::of_list("key", "Student id", named(keys))
            .hint("the column of users.csv that students sign in with"),
        Field::text("course", "Course")
            .hint("its title, code or sourcedId, if the files hold several"),
    ]);
    form.buttons = vec![Button::new("See what it changes").quiet()];
    form.filled(
        "/course/roster/oneroster",
        Typed::default(),
        Faults::default(),
    )
}

/// Results as the files of an exchange.
pub fn results_form() -> Filled {
    let versions = [Version::V1p2, Version::V1p1].map(Version::name);
    let mut form = Form::of(vec![
        exchange_field("Newer OneRoster files of your roster, if there are")
            .hint("One .zip file, or all its .csv files together. Nothing is needed here where the roster came in as such files: their sourcedIds are kept. Without either every name is ours."),
        Field::of_list("version", "Version", named(versions))
            .hint("that of the roster\u{2019}s files, if it came in as such"),
        Field::text("course", "Course")
            .hint("its title, code or sourcedId, if those files hold several"),
        Field::tick("leave_out", "Leave out students who are not in those files"),
    ])
    .title("OneRoster files with results")
    .words("Line items and results for another system, as the open OneRoster CSV exchange, in one .zip file. Where the roster came in as OneRoster files, they name classes and students by its sourcedIds.");
    form.buttons = vec![Button::new("Download the files").quiet()];
    form.filled("/course/oneroster.zip", Typed::default(), Faults::default())
}

fn exchange_field(label: &str) -> Field {
    let kind = Kind::Files {
        accept: ".zip,.csv,application/zip,text/csv",
        several: true,
    };
    Field::new("exchange", label, kind)
}

/// `POST /course/roster/oneroster`: what the roster of an exchange would change; nothing is changed yet.
pub async fn roster(visitor: CoordinatorVisitor, uploads: Uploads) -> PageResult<Response> {
    let name = called(&uploads.files);
    let choice = RosterChoice {
        key: StudentKey::from_column(uploads.fields.text("key")).unwrap_or_default(),
        course: uploads.fields.text("course").to_owned(),
    };
    let read = tokio::task::spawn_blocking(move || {
        let folder = exchange(uploads.files)?;
        let folder = folder.unwrap_or_default();
        read_exchange(&folder, &choice)
    });
    match read.await.map_err(PageError::internal)? {
        Ok((students, exchanged)) => {
            show_plan(&visitor, Source::file(&name), (&students, &exchanged)).await
        }
        Err(faults) => {
            let frame = visitor.frame("The roster was not brought in");
            Ok(FaultsPage::answer(frame, &name, faults, "/course/roster"))
        }
    }
}

/// `POST /course/oneroster.zip`: line items and results, with the sourcedIds of the roster's exchange where it is sent
/// along.
pub async fn results(visitor: CoordinatorVisitor, uploads: Uploads) -> PageResult<Response> {
    let name = called(&uploads.files);
    let fields = uploads.fields;
    let view = visitor.view().await?;
    let (term, judged) = (view.term.clone(), view.in_course_order());
    drop(view);
    let today = term.course.zone.local(visitor.now()).date();
    let files = uploads.files;
    // unpacking and packing take a while: not on a thread that serves pages
    let made = tokio::task::spawn_blocking(move || {
        let roster = exchange(files)?;
        let wanted = Export {
            version: Version::from_name(fields.text("version")).unwrap_or(Version::V1p2),
            today,
            roster: roster.as_ref(),
            course: fields.text("course").to_owned(),
            leave_out: fields.text("leave_out") == "yes",
        };
        export(&term, &judged, &wanted).map(|folder| pack(&folder))
    });
    match made.await.map_err(PageError::internal)? {
        Ok(packed) => Ok(attachment(
            "oneroster.zip",
            "application/zip",
            packed.map_err(PageError::internal)?,
        )),
        Err(faults) => {
            let frame = visitor.frame("The results were not written");
            Ok(FaultsPage::answer(frame, &name, faults, "/course/files"))
        }
    }
}

/// What a person calls what they sent.
fn called(files: &[UploadedFile]) -> String {
    match files {
        [] => "nothing".to_owned(),
        [one] => one.name.clone(),
        several => format!("{} files", several.len()),
    }
}

/// The files of an exchange, in one zip file or one by one; none if none were sent.
fn exchange(files: Vec<UploadedFile>) -> Result<Option<Folder>, Vec<Fault>> {
    if let [one] = files.as_slice()
        && one.bytes.starts_with(b"PK")
    {
        return unpack(&one.name, &one.bytes).map(Some);
    }
    let mut folder = Folder::default();
    for file in files {
        folder
            .insert(&file.name, file.bytes)
            .map_err(|fault| vec![fault])?;
    }
    let empty = folder.files().next().is_none();
    Ok((!empty).then_some(folder))
}

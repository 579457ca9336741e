//! The OneRoster exchange on pages: a roster in, results out.

use axum::response::Response;

use super::downloads::attachment;
use super::home::FaultsPage;
use super::roster::show_plan;
use super::unpack::{pack, unpack};
use crate::files::Folder;
use crate::files::oneroster::{
    Export, RosterChoice, StudentKey, Version, export, read_roster_package,
};
use crate::text::Fault;
use crate::web::{CoordinatorVisitor, PageError, PageResult, UploadedFile, Uploads};

/// `POST /course/roster/oneroster`: what the roster of an exchange would change; nothing is changed yet.
pub async fn roster(visitor: CoordinatorVisitor, uploads: Uploads) -> PageResult<Response> {
    let name = named(&uploads.files);
    let choice = RosterChoice {
        key: StudentKey::from_column(uploads.fields.text("key")).unwrap_or_default(),
        course: uploads.fields.text("course").to_owned(),
    };
    let read = tokio::task::spawn_blocking(move || {
        let folder = exchange(uploads.files)?;
        let folder = folder.unwrap_or_default();
        read_roster_package(&folder, &choice)
    });
    match read.await.map_err(PageError::internal)? {
        Ok(students) => show_plan(&visitor, &name, &students).await,
        Err(faults) => {
            let frame = visitor.frame("The roster was not brought in");
            Ok(FaultsPage::answer(frame, &name, faults, "/course/roster"))
        }
    }
}

/// `POST /course/oneroster.zip`: line items and results, with the sourcedIds of the roster's exchange where it is sent
/// along.
pub async fn results(visitor: CoordinatorVisitor, uploads: Uploads) -> PageResult<Response> {
    let name = named(&uploads.files);
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
fn named(files: &[UploadedFile]) -> String {
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

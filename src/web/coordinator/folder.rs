//! A course folder brought in: at once where there is no course yet, else after a look at what it would change.
//!
//! The folder is not kept on the server between the two: it travels in the page.

use askama::Template;
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

use super::home::FaultsPage;
use crate::course::StaffRole;
use crate::desk::{self, BringError, ImportPlan};
use crate::files::{pack, read_term, unpack};
use crate::term::Term;
use crate::text::Fault;
use crate::web::changing::{GradeRow, grade};
use crate::web::fields::LongForm;
use crate::web::upload::MOST_FILE_BYTES;
use crate::web::{CoordinatorVisitor, Frame, Page, PageError, PageResult, Upload, UploadedFile};

/// Most bytes of a folder, packed, that travels in a form, a third longer.
const MOST_PACKED: usize = 1400 * 1024;
const BACK: &str = "/course/files";

#[derive(Template)]
#[template(path = "coordinator/folder.html")]
struct FolderPage {
    frame: Frame,
    file: String,
    packed: String,
    plan: ImportPlan,
    grades: Vec<GradeRow>,
    /// Names the plan that is shown, so that no other one is carried out.
    seen: String,
    /// Whether the course has changed since a plan was looked at.
    stale: bool,
}

/// A folder as it was read.
struct Incoming {
    name: String,
    packed: Vec<u8>,
    term: Term,
}

/// `POST /course/folder`: brought in where there is no course, else what would change; nothing is changed yet.
pub async fn look(visitor: CoordinatorVisitor, upload: Upload) -> PageResult<Response> {
    let file = match upload.within("the course folder in one .zip", MOST_FILE_BYTES, "") {
        Ok(file) => file,
        Err((name, fault)) => return Ok(refused(&visitor, &name, vec![fault])),
    };
    answer(&visitor, file, None).await
}

/// `POST /course/folder/confirm`: brought in, if it does what was looked at.
pub async fn confirm(
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    let file = UploadedFile::packed(&fields, "folder")?;
    answer(&visitor, file, Some(fields.text("seen"))).await
}

async fn answer(
    visitor: &CoordinatorVisitor,
    file: UploadedFile,
    seen: Option<&str>,
) -> PageResult<Response> {
    let (name, login) = (file.name.clone(), visitor.login.clone());
    // unpacking and reading take a while: not on a thread that serves pages
    let read = tokio::task::spawn_blocking(move || read(file, &login));
    let incoming = match read.await.map_err(PageError::internal)? {
        Ok(incoming) => incoming,
        Err(faults) => return Ok(refused(visitor, &name, faults)),
    };
    let desk = &visitor.state.desk;
    let refusal = match desk::plan_import(desk, &incoming.term).await {
        Ok(Some(plan)) if seen != Some(digest(&plan)?.as_str()) => {
            return show(visitor, incoming, plan, seen.is_some()).await;
        }
        Ok(_) => {
            let who = (&visitor.login, visitor.now());
            match desk::bring_in_term(desk, &incoming.term, who.0, who.1).await {
                Ok(brought) => {
                    let n = brought.changes;
                    return Err(PageError::see_other(format!("/course?done=folder&n={n}")));
                }
                Err(why) => why,
            }
        }
        Err(why) => why,
    };
    match refusal {
        BringError::Faults(faults) => Ok(refused(visitor, &name, faults)),
        why @ BringError::OtherCourse { .. } => {
            let fault = Fault::of_file("course.toml", why.to_string());
            Ok(refused(visitor, &name, vec![fault]))
        }
        BringError::Store(why) => Err(why.into()),
    }
}

fn read(file: UploadedFile, login: &str) -> Result<Incoming, Vec<Fault>> {
    let folder = unpack(&file.name, &file.bytes)?;
    let term = read_term(&folder)?;
    still_coordinator(&term, login)?;
    let packed = pack(&folder).map_err(|what| vec![Fault::of_file(&file.name, what)])?;
    Ok(Incoming {
        name: file.name,
        packed,
        term,
    })
}

async fn show(
    visitor: &CoordinatorVisitor,
    incoming: Incoming,
    plan: ImportPlan,
    stale: bool,
) -> PageResult<Response> {
    if incoming.packed.len() > MOST_PACKED {
        let (found, most) = (incoming.packed.len() / 1024, MOST_PACKED / 1024);
        let what = format!(
            "found a folder of {found} KiB, expected at most {most} KiB: bring it in with the command import"
        );
        let fault = Fault::of_file(&incoming.name, what);
        return Ok(refused(visitor, &incoming.name, vec![fault]));
    }
    let view = visitor.view().await?;
    let page = FolderPage {
        frame: visitor.frame("What this folder changes"),
        file: incoming.name.chars().take(120).collect(),
        packed: URL_SAFE_NO_PAD.encode(&incoming.packed),
        grades: plan
            .moved
            .iter()
            .map(|one| grade(&view.term, one))
            .collect(),
        seen: digest(&plan)?,
        plan,
        stale,
    };
    Ok(Page(page).into_response())
}

/// What a plan comes to, in few letters.
fn digest(plan: &ImportPlan) -> PageResult<String> {
    let mut hash = Sha256::new();
    for change in &plan.changes {
        let body = change.body().map_err(PageError::internal)?;
        hash.update(format!("{} {body}\n", change.kind()));
    }
    hash.update(plan.in_words());
    Ok(URL_SAFE_NO_PAD.encode(hash.finalize()))
}

fn refused(visitor: &CoordinatorVisitor, name: &str, faults: Vec<Fault>) -> Response {
    let frame = visitor.frame("The course folder was not brought in");
    FaultsPage::answer(frame, name, faults, BACK)
}

/// A folder must not lock out the coordinator who brings it in.
fn still_coordinator(term: &Term, login: &str) -> Result<(), Vec<Fault>> {
    let demoted = |s: &&crate::course::StaffMember| {
        s.login.eq_ignore_ascii_case(login) && s.role != StaffRole::Coordinator
    };
    if term.staff.iter().any(|s| demoted(&s)) {
        let what = format!(
            "found {login} in another role, expected your own login as coordinator or not at all"
        );
        return Err(vec![Fault::of_file("staff.csv", what).in_column("role")]);
    }
    Ok(())
}

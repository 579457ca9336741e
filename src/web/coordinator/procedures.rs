//! A procedure of the course's own, sent as a file. One that hand-ins go by is replaced after a look at every grade.

use axum::extract::State;
use axum::response::Response;

use super::form::LongForm;
use super::home::FaultsPage;
use super::preview::{Asked, Said, Wanted};
use crate::desk::{self, PrepareError, ProcedureError};
use crate::text::Fault;
use crate::web::{AppState, CoordinatorVisitor, PageError, PageResult, Upload};

/// Where faults lead back to.
const BACK: &str = "/course/experiments";
/// Most bytes of a procedure that is carried from the preview to its confirmation.
const MOST_BYTES: usize = 256 * 1024;

pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    upload: Upload,
) -> PageResult<Response> {
    let frame = || visitor.frame("The procedure was not taken");
    let Some(file) = upload.file else {
        let fault = Fault::of_file(
            "procedure",
            "found no file, expected a procedure as a .toml file",
        );
        return Ok(FaultsPage::answer(frame(), "nothing", vec![fault], BACK));
    };
    let who = (visitor.login.as_str(), state.clock.now());
    // faults of a file named otherwise would speak of columns
    let name = match file.name.ends_with(".toml") {
        true => file.name.clone(),
        false => format!("{}.toml", file.name),
    };
    if let Some(page) = preview(&state, &visitor, &name, &file.bytes).await? {
        return Ok(page);
    }
    match desk::enter_procedure(&state.desk, &name, &file.bytes, who).await {
        Ok(key) => Err(PageError::see_other(format!(
            "/course/experiments?done=procedure&procedure={key}"
        ))),
        Err(ProcedureError::Faults(faults)) => {
            Ok(FaultsPage::answer(frame(), &file.name, faults, BACK))
        }
        Err(ProcedureError::Store(why)) => Err(why.into()),
    }
}

/// What the text would change, where hand-ins go by the procedure of its key; none where nothing does, or where the
/// file is at fault.
async fn preview(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    name: &str,
    bytes: &[u8],
) -> PageResult<Option<Response>> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let Ok(text) = std::str::from_utf8(bytes) else {
        return Ok(None);
    };
    let who = (visitor.login.as_str(), state.clock.now());
    let (asked, seen) = {
        let view = state.desk.view().await?;
        let Ok((key, changes)) = desk::procedure_changes(&view.term, name, text, "", who) else {
            return Ok(None);
        };
        if changes.is_empty() || desk::handed_in_by_procedure(&view.term, &key) == 0 {
            return Ok(None);
        }
        let fits = match text.len() > MOST_BYTES {
            true => Err(PrepareError::new(
                "rules",
                &format!("{} KiB", text.len() / 1024),
                "at most 256 KiB",
            )),
            false => desk::still_readable(&view.term, &changes),
        };
        if let Err(PrepareError::Fields(faults)) = fits {
            let of_file = |(_, what): (&str, String)| Fault::of_file(name, what);
            let faults = faults.into_iter().map(of_file).collect();
            let frame = visitor.frame("The procedure was not taken");
            return Ok(Some(FaultsPage::answer(frame, name, faults, BACK)));
        }
        (changes, desk::procedure_seen(&view.term, &key))
    };
    let asked = Asked {
        wanted: Wanted::Changes(asked),
        action: "/course/procedures/confirm".to_owned(),
        hidden: vec![
            ("name".to_owned(), name.to_owned()),
            ("text".to_owned(), text.to_owned()),
            ("seen".to_owned(), seen),
        ],
        reason: Some(("reason", String::new())),
        back: BACK.to_owned(),
        said: Said {
            warnings: Vec::new(),
            sentences: vec![
                "Students have handed in by the procedure of this key. Replaced, it marks everything anew at once; the text before is kept.".to_owned(),
            ],
        },
    };
    match asked.answer(state, visitor).await? {
        Ok(page) => Ok(Some(page)),
        Err(why) => Err(PageError::unprocessable(why.to_string())),
    }
}

/// `POST /course/procedures/confirm`: the procedure replaced, with a reason.
pub async fn confirm(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    let who = (visitor.login.as_str(), state.clock.now());
    let (name, seen) = (fields.need("name")?, fields.need("seen")?);
    // a browser sends line ends as its own; the text is kept as it was in the file
    let text = fields.need("text")?.replace("\r\n", "\n");
    let reason = fields.text("reason");
    let replaced = desk::replace_procedure(&state.desk, (name, &text), reason, seen, who);
    match replaced.await {
        Ok(_) => Err(PageError::see_other("/course/experiments?done=amended")),
        Err(PrepareError::Store(why)) => Err(why.into()),
        Err(PrepareError::Fields(faults)) if reason.is_empty() => {
            // the reason is asked for again, with the file as it was sent
            match preview(&state, &visitor, name, text.as_bytes()).await? {
                Some(page) => Ok(page),
                None => Err(PageError::unprocessable(words(&faults))),
            }
        }
        Err(PrepareError::Fields(faults)) => {
            let fault = Fault::of_file(name, words(&faults));
            let frame = visitor.frame("The procedure was not replaced");
            Ok(FaultsPage::answer(frame, name, vec![fault], BACK))
        }
    }
}

fn words(faults: &[(&str, String)]) -> String {
    let what: Vec<&str> = faults.iter().map(|(_, what)| what.as_str()).collect();
    what.join("; ")
}

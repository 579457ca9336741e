//! A procedure of the course's own, sent as a file.

use axum::extract::State;
use axum::response::Response;

use super::home::FaultsPage;
use crate::desk::{self, ProcedureError};
use crate::files::Fault;
use crate::web::{AppState, CoordinatorVisitor, PageError, PageResult, Upload};

/// `POST /course/procedures`
pub async fn enter(
    State(state): State<AppState>,
    visitor: CoordinatorVisitor,
    upload: Upload,
) -> PageResult<Response> {
    let frame = || visitor.frame("The procedure was not taken");
    let back = "/course/experiments";
    let Some(file) = upload.file else {
        let fault = Fault::of_file(
            "procedure",
            "found no file, expected a procedure as a .toml file",
        );
        return Ok(FaultsPage::answer(frame(), "nothing", vec![fault], back));
    };
    let who = (visitor.login.as_str(), state.clock.now());
    // faults of a file named otherwise would speak of columns
    let name = match file.name.ends_with(".toml") {
        true => file.name.clone(),
        false => format!("{}.toml", file.name),
    };
    match desk::enter_procedure(&state.desk, &name, &file.bytes, who).await {
        Ok(key) => Err(PageError::see_other(format!(
            "/course/experiments?done=procedure&procedure={key}"
        ))),
        Err(ProcedureError::Faults(faults)) => {
            Ok(FaultsPage::answer(frame(), &file.name, faults, back))
        }
        Err(ProcedureError::Store(why)) => Err(why.into()),
    }
}

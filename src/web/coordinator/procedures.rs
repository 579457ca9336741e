//! A procedure of the course's own, sent as a file. One that hand-ins go by is replaced after a look at every grade.

use askama::Template;
use axum::extract::Path;
use axum::response::{IntoResponse, Response};

use super::downloads::attachment;
use super::experiments;
use super::home::FaultsPage;
use crate::desk::PrepareError;
use crate::desk::forms::{ProcedureText, enter, handed_in_by_procedure};
use crate::files::{read_procedure, shipped_glassware, shipped_procedure};
use crate::form::Faults;
use crate::simulate::check_report;
use crate::text::Fault;
use crate::web::changing::{Place, Visit, Who, in_query};
use crate::web::fields::MOST_FILE_IN_FORM;
use crate::web::{CoordinatorVisitor, Frame, Page, PageError, PageResult, Upload};

/// Where faults lead back to.
const BACK: &str = "/course/experiments";

/// The procedure replaced, with a reason.
pub const PROCEDURE: Place = Place::new(
    Who::Coordinator,
    "/course/procedures/confirm",
    |_| Ok(Box::new(ProcedureText)),
    experiments::page,
)
.says("amended", |_| {
    "The procedure is replaced and everything marked anew.".to_owned()
})
.leads_to(BACK);

#[derive(Template)]
#[template(path = "coordinator/procedure.html")]
struct ProcedurePage {
    frame: Frame,
    key: String,
    is_own: bool,
    /// What `check` prints.
    report: String,
}

/// `GET /course/procedures/{file}`: what is to be known of a procedure; with `.toml` behind its key, its text.
pub async fn shown(visitor: CoordinatorVisitor, Path(file): Path<String>) -> PageResult<Response> {
    let key = file.strip_suffix(".toml");
    let is_wanted = key.is_some();
    let key = key.unwrap_or(&file).to_owned();
    let (own, glassware) = match visitor.state.desk.view().await {
        Ok(view) => {
            let own = view.term.sources.procedures.get(&key).cloned();
            (own, view.term.glassware.clone())
        }
        Err(_) => (None, shipped_glassware().into()),
    };
    let is_own = own.is_some();
    let text = own.or_else(|| shipped_procedure(&key));
    let text = text.ok_or_else(PageError::not_found)?;
    if is_wanted {
        return Ok(attachment(&file, "application/toml", text.into_bytes()));
    }
    // a class of a thousand takes a while: not on a thread that serves pages
    let named = key.clone();
    let report = tokio::task::spawn_blocking(move || {
        let procedure = read_procedure(&format!("{named}.toml"), &text, &glassware);
        let procedure = procedure.map_err(|faults| {
            let faults = faults.iter().map(ToString::to_string);
            faults.collect::<Vec<_>>().join("\n")
        })?;
        check_report(&procedure, &glassware)
    });
    let report = report.await.map_err(PageError::internal)?;
    Ok(Page(ProcedurePage {
        frame: visitor.frame("What a class can reach"),
        key,
        is_own,
        report: report.unwrap_or_else(|what| what),
    })
    .into_response())
}

pub async fn enter_file(visitor: CoordinatorVisitor, upload: Upload) -> PageResult<Response> {
    let refuse = |name: &str, faults| {
        let frame = visitor.frame("The procedure was not taken");
        Ok(FaultsPage::answer(frame, name, faults, BACK))
    };
    let file = match upload.within("a procedure as a .toml file", MOST_FILE_IN_FORM, "") {
        Ok(file) => file,
        Err((name, fault)) => return refuse(&name, vec![fault]),
    };
    // faults of a file named otherwise would speak of columns
    let name = match file.name.ends_with(".toml") {
        true => file.name.clone(),
        false => format!("{}.toml", file.name),
    };
    let typed = match ProcedureText::sent(&name, &file.bytes) {
        Ok(typed) => typed,
        Err(faults) => return refuse(&file.name, faults),
    };
    let visit = Visit::new((*visitor).clone(), None, None);
    let (key, is_followed) = {
        let view = visit.view().await?;
        match ProcedureText::check(&typed, &view.term, visit.who()) {
            Ok((key, _)) => {
                let handed_in = handed_in_by_procedure(&view.term, &key);
                (key, handed_in > 0)
            }
            Err(faults) => return refuse(&file.name, faults),
        }
    };
    if is_followed {
        return PROCEDURE.look(&visit, typed, Faults::default()).await;
    }
    match enter(&visit.state.desk, &ProcedureText, &typed, visit.who()).await {
        Ok(_) => Err(PageError::see_other(format!(
            "{BACK}?done=procedure&procedure={}",
            in_query(&key)
        ))),
        Err(PrepareError::Store(why)) => Err(why.into()),
        Err(PrepareError::Fields(faults)) => {
            refuse(&file.name, vec![Fault::of_file(&name, faults.to_string())])
        }
    }
}

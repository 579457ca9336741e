//! A bottle's label was scanned: on to the bench form with its code filled in.
//!
//! What is answered says no more than a label does: its code and its experiment. Bottles of experiments that have not
//! opened, or whose results are out, are answered like bottles there are none of.

use askama::Template;
use axum::extract::Path;
use axum::response::{IntoResponse, Redirect, Response};

use crate::course::Experiment;
use crate::desk::Image;
use crate::ids::{ExperimentKey, UnknownCode};
use crate::language::message;
use crate::term::Slot;
use crate::web::{Frame, Page, PageError, PageResult, StudentVisitor};

#[derive(Template)]
#[template(path = "student/bottle.html")]
struct BottlePage {
    frame: Frame,
    code: String,
    choices: Vec<Choice>,
}

/// An experiment with a bottle of that code.
struct Choice {
    address: String,
    title: String,
    due: String,
}

pub async fn by_code(Path(code): Path<String>, visitor: StudentVisitor) -> PageResult<Response> {
    scanned(&visitor, &code, |_| true).await
}

pub async fn of_experiment(
    Path((key, code)): Path<(ExperimentKey, UnknownCode)>,
    visitor: StudentVisitor,
) -> PageResult<Response> {
    scanned(&visitor, &code, |experiment| experiment.key == key).await
}

async fn scanned(
    visitor: &StudentVisitor,
    code: &str,
    wanted: impl Fn(&Experiment) -> bool,
) -> PageResult<Response> {
    let code = code.trim();
    let language = visitor.language();
    let view = visitor.view().await?;
    let now = visitor.now();
    let term = &view.term;
    let is_open = |experiment: &Experiment| {
        let opens = term.dates_for(experiment, &visitor.id).opens;
        let opens = term.course.zone.instant(opens);
        let slot = Slot::new(&experiment.key, &visitor.id);
        opens.is_none_or(|opens| now >= opens) && !view.is_released_to(&slot)
    };
    let found: Vec<(&Experiment, String)> = term
        .experiments
        .iter()
        .filter(|experiment| wanted(experiment) && is_open(experiment))
        .filter_map(|experiment| Some((experiment, bottle(&view, &experiment.key, code)?)))
        .collect();
    match found.as_slice() {
        [] => {
            let code: String = code.chars().take(40).collect();
            Err(PageError {
                message: Box::new(message!("bottle.none", code = code)),
                ..PageError::not_found()
            })
        }
        [(experiment, code)] => Ok(Redirect::to(&address(&experiment.key, code)).into_response()),
        many => {
            let choices = many.iter().map(|(experiment, code)| Choice {
                address: address(&experiment.key, code),
                title: experiment.procedure.title_in(language).to_owned(),
                due: language.date(term.dates_for(experiment, &visitor.id).due),
            });
            Ok(Page(BottlePage {
                frame: visitor.frame(language.text("bottle.title")),
                code: code.to_owned(),
                choices: choices.collect(),
            })
            .into_response())
        }
    }
}

/// The code as it stands on the label.
fn bottle(view: &Image, experiment: &ExperimentKey, code: &str) -> Option<String> {
    let mut bottles = view.term.unknowns.get(experiment)?.keys();
    bottles
        .find(|bottle| bottle.eq_ignore_ascii_case(code))
        .map(ToString::to_string)
}

fn address(key: &ExperimentKey, code: &str) -> String {
    let code: String = form_urlencoded::byte_serialize(code.as_bytes()).collect();
    format!("/student/experiments/{key}/bench?unknown={code}")
}

//! The marking and the rules for trials of an experiment, edited beside what a careful student reaches.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

use askama::Template;
use axum::response::IntoResponse;

use crate::changes::Remarks;
use crate::desk::forms::{RulesForm, rules_of};
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::procedure::Procedure;
use crate::term::{Amended, Amendment};
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page, PageError, dates};

pub const RULES: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/marking",
    |visit| Ok(Box::new(RulesForm(visit.key()?.clone()))),
    page,
)
.says("marking", |_| {
    "The marking is changed and everything marked anew.".to_owned()
});

#[derive(Template)]
#[template(path = "coordinator/marking.html")]
struct MarkingPage {
    frame: Frame,
    form: Filled,
    key: ExperimentKey,
    title: String,
    /// What it says of the marking as it stands.
    fair: Remarks,
    handed_in: usize,
    rows: Vec<AmendedRow>,
}

/// A change of the rules.
struct AmendedRow {
    what: &'static str,
    reason: String,
    who: String,
    before: String,
}

/// Most procedures of which it is remembered what a simulated class makes of them.
const MOST_KNOWN: usize = 64;

/// What is to be said of a procedure as it stands. It follows from the procedure alone, and is simulated once.
fn known(procedure: &Procedure) -> Remarks {
    static KNOWN: Mutex<VecDeque<(String, Remarks)>> = Mutex::new(VecDeque::new());
    let known = || KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    let name = format!("{procedure:?}");
    if let Some((_, remarks)) = known().iter().find(|(of, _)| *of == name) {
        return remarks.clone();
    }
    let remarks = rules_of(procedure, None);
    let mut all = known();
    all.push_back((name, remarks.clone()));
    if all.len() > MOST_KNOWN {
        all.pop_front();
    }
    remarks
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let procedure = {
            let view = visit.view().await?;
            visit.experiment(&view.term)?.procedure.clone()
        };
        // a class of a thousand takes a while: not on a thread that serves pages
        let fair = tokio::task::spawn_blocking(move || known(&procedure)).await;
        let fair = fair.map_err(PageError::internal)?;
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let (key, title) = (&experiment.key, &experiment.procedure.title);
        let source = term.sources.experiments.get(key);
        let of_it = |one: &&Amendment| match one.what {
            Amended::Procedure => source.is_some_and(|s| s.procedure == one.key),
            Amended::Marking | Amended::Trials => *key == one.key,
        };
        let row = |one: &Amendment| AmendedRow {
            what: one.what.name(),
            reason: one.reason.clone(),
            who: format!("{}, {}", one.by, dates::instant(&term.course.zone, one.at)),
            before: one.before.clone().unwrap_or_default(),
        };
        let mut frame = visit.frame(format!("Marking: {title}"));
        frame.notice = notice(&visit.query, &[&RULES]);
        let handed_in = term.submissions.keys().filter(|s| s.experiment == *key);
        Ok(Page(MarkingPage {
            frame,
            form: RULES.filled(visit, term, refused.as_ref())?,
            key: key.clone(),
            title: title.clone(),
            fair,
            handed_in: handed_in.count(),
            rows: term
                .amendments
                .iter()
                .rev()
                .filter(of_it)
                .map(row)
                .collect(),
        })
        .into_response())
    })
}

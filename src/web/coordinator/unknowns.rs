//! Unknowns of an experiment with their true values. They are entered in the prep room.

use askama::Template;
use axum::response::IntoResponse;

use super::lots::{HistoryRow, history};
use super::titres;
use super::words::aligned;
use crate::desk::forms::{StatedForm, What};
use crate::form::Typed;
use crate::ids::ExperimentKey;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::prep::record;
use crate::web::{Frame, Page};
use crate::words::counted;

/// A value proposed for an unknown.
pub const UNKNOWN: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/unknowns",
    |visit| Ok(Box::new(StatedForm(What::Unknown(visit.key()?.clone())))),
    page,
)
.says("unknowns", |n| {
    format!("{} entered or changed.", counted(n, "unknown", "unknowns"))
});

/// Values of many, a line for each.
pub const MANY: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/unknowns/many",
    |visit| Ok(Box::new(StatedForm(What::Batch(visit.key()?.clone())))),
    page,
)
.says("unknowns", |n| {
    format!("{} entered or changed.", counted(n, "unknown", "unknowns"))
})
.leads_to("/course/experiments/{key}/unknowns");

/// Whether one is looked at, or many.
pub fn one_or_many(typed: &Typed) -> &'static Place {
    match typed.one("many") {
        Some(_) => &MANY,
        None => &UNKNOWN,
    }
}

#[derive(Template)]
#[template(path = "coordinator/unknowns.html")]
struct UnknownsPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    unit: &'static str,
    titres_with: String,
    titres_head: String,
    rows: Vec<Row>,
    history: Vec<HistoryRow>,
    /// Where a form goes that asks what its values would change.
    preview: String,
}

struct Row {
    code: String,
    value: String,
    uncertainty: String,
    version: u32,
    issued: usize,
    titre: Option<String>,
    warning: Option<String>,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        if let Some(refused) = &refused {
            let place = one_or_many(&refused.typed);
            return record::stated(visit, place, Some(refused), "Unknowns").await;
        }
        let key = visit.key()?.clone();
        let values = visit.state.desk.unknown_history(&key).await?;
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let (titres, titres_with) = titres::expected(term, experiment);
        let issued = |code: &str| {
            let of = term.issued.iter();
            of.filter(|(slot, given)| slot.experiment == key && *given == code)
                .count()
        };
        let held = term.unknowns.get(&key).into_iter().flat_map(|u| u.values());
        let rows = held.zip(titres).map(|(unknown, titre)| {
            let truth = unknown.truth.open();
            Row {
                code: unknown.code.to_string(),
                value: truth.value.to_string(),
                uncertainty: truth.standard_uncertainty.to_string(),
                version: unknown.version,
                issued: issued(&unknown.code),
                titre: titre.volume,
                warning: titre.warning,
            }
        });
        let mut rows: Vec<Row> = rows.collect();
        aligned(rows.iter_mut().map(|row| &mut row.value));
        aligned(rows.iter_mut().map(|row| &mut row.uncertainty));
        let title = experiment.procedure.title.clone();
        let mut frame = visit.frame(format!("Unknowns: {title}"));
        frame.notice = notice(&visit.query, &[&UNKNOWN]);
        Ok(Page(UnknownsPage {
            frame,
            title,
            unit: experiment.procedure.result.unit.name(),
            titres_with,
            titres_head: titres::head(&experiment.procedure),
            rows,
            history: history(values, &term.course.zone, |v| {
                vec![
                    ("unknown", v.code.clone()),
                    ("true_value", v.value.value.to_string()),
                ]
            }),
            preview: format!("/course/experiments/{key}/unknowns/preview"),
            key,
        })
        .into_response())
    })
}

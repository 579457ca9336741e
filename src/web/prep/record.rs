//! Recording a lot, an unknown, or a batch of unknowns.

use askama::Template;
use axum::response::{IntoResponse, Response};

use crate::desk::forms::{How, RecordForm, What};
use crate::form::Filled;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, in_query};
use crate::web::{Frame, Page, PageResult};
use crate::words::counted;

/// `?code=` fills it in, `?how=` says how the value comes about.
pub const LOT: Place = Place::new(
    Who::Prep,
    "/prep/lots/record",
    |_| Ok(Box::new(RecordForm(What::Lot))),
    |visit, refused| page(visit, refused, &LOT),
)
.says("lot", |_| "The lot is recorded.".to_owned())
.leads_to("/prep/lot?code={code}")
.by_do();

pub const UNKNOWN: Place = Place::new(
    Who::Prep,
    "/prep/experiments/{key}/record",
    |visit| Ok(Box::new(RecordForm(What::Unknown(visit.key()?.clone())))),
    |visit, refused| page(visit, refused, &UNKNOWN),
)
.says("unknown", |_| "The unknown is recorded.".to_owned())
.leads_to("/prep/experiments/{key}/unknown?code={code}")
.by_do();

pub const BATCH: Place = Place::new(
    Who::Prep,
    "/prep/experiments/{key}/batch",
    |visit| Ok(Box::new(RecordForm(What::Batch(visit.key()?.clone())))),
    |visit, refused| page(visit, refused, &BATCH),
)
.says("unknowns", |n| {
    format!("{} recorded.", counted(n, "unknown is", "unknowns are"))
})
.leads_to("/prep/experiments/{key}")
.by_do();

#[derive(Template)]
#[template(path = "prep/record.html")]
struct RecordPage {
    frame: Frame,
    form: Filled,
    /// Where it leads back to.
    back: String,
    back_words: String,
    /// Ways the value can come about, with their addresses.
    ways: Vec<(String, &'static str, bool)>,
}

fn page<'a>(visit: &'a Visit, refused: Option<Refused>, place: &'static Place) -> Answer<'a> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let form = place.filled(visit, term, refused.as_ref())?;
        let what = match visit.key() {
            Err(_) => What::Lot,
            Ok(key) if place.path == BATCH.path => What::Batch(key.to_owned()),
            Ok(key) => What::Unknown(key.to_owned()),
        };
        let title = match &what {
            What::Lot => "Record a lot",
            What::Unknown(_) => "Record an unknown",
            What::Batch(_) => "Record a batch of unknowns",
        };
        let (back, back_words) = match &what {
            What::Lot => ("/prep/lots".to_owned(), "Lots".to_owned()),
            What::Unknown(key) | What::Batch(key) => {
                let title = visit.experiment(term)?.procedure.title.clone();
                (format!("/prep/experiments/{key}"), title)
            }
        };
        let codes = ["code", "lot", "unknown"].map(|name| form.typed.text(name));
        let code = codes.into_iter().find(|code| !code.is_empty());
        let code = in_query(code.unwrap_or_default());
        let how = form.form.field("how").and_then(|field| field.fixed.clone());
        let asked = ["reagent", "then"].map(|name| (name, form.typed.text(name)));
        let asked: String = asked
            .into_iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(name, value)| format!("&{name}={}", in_query(value)))
            .collect();
        let way = |way: How| {
            let at = format!("{}?how={}&code={code}{asked}", form.action, way.name());
            (at, way.words(), how.as_deref() == Some(way.name()))
        };
        let ways = How::of(&what, term).into_iter().map(way).collect();
        Ok(Page(RecordPage {
            frame: visit.frame(title),
            back,
            back_words,
            ways,
            form,
        })
        .into_response())
    })
}

/// A value that was proposed on another page and refused, to be put right.
pub async fn stated(
    visit: &Visit,
    place: &'static Place,
    refused: Option<&Refused>,
    back_words: &str,
) -> PageResult<Response> {
    let view = visit.view().await?;
    Ok(Page(RecordPage {
        frame: visit.frame("Record a value"),
        form: place.filled(visit, &view.term, refused)?,
        back: visit.at(place.back()),
        back_words: back_words.to_owned(),
        ways: Vec::new(),
    })
    .into_response())
}

//! The receipt: proof that a hand-in is on disk.

use askama::Template;
use axum::extract::Path;
use axum::response::IntoResponse;

use super::bench::issued;
use super::record::{ReadingsTable, bottles_in_words, readings_table};
use crate::desk::evidence::{ReceiptMarks, receipt_marks};
use crate::ids::ExperimentKey;
use crate::web::{Frame, Page, PageError, PageResult, StudentVisitor};

#[derive(Template)]
#[template(path = "student/receipt.html")]
struct ReceiptPage {
    frame: Frame,
    /// Name of the student's drafts.
    owner: String,
    number: i64,
    key: ExperimentKey,
    title: String,
    at: String,
    revision: u32,
    reported: Option<String>,
    unit: &'static str,
    readings: ReadingsTable,
    bottles: String,
    /// Of everything up to this hand-in, and of what was handed in.
    marks: Option<ReceiptMarks>,
}

/// `GET /student/receipts/{number}`: the student's own only.
pub async fn page(
    Path(number): Path<String>,
    visitor: StudentVisitor,
) -> PageResult<impl IntoResponse> {
    let owner = super::bench::owner(&visitor).await?;
    let number: i64 = number.parse().map_err(|_| PageError::not_found())?;
    let stored = crate::desk::submission(&visitor.state.desk, &visitor.id, number).await?;
    let stored = stored.ok_or_else(PageError::not_found)?;
    let marks = receipt_marks(&visitor.state.desk, number).await?;
    let view = visitor.view().await?;
    let experiment = view
        .term
        .experiment(&stored.slot.experiment)
        .ok_or_else(PageError::not_found)?;
    let language = visitor.language();
    let hand_in = &stored.revision.hand_in;
    Ok(Page(ReceiptPage {
        frame: visitor.frame(language.tell("receipt.title", &[("number", &number)])),
        owner,
        number,
        key: experiment.key.clone(),
        title: experiment.procedure.title_in(language).to_owned(),
        at: visitor.at(&view.term.course.zone, stored.recorded_at),
        revision: stored.number,
        reported: hand_in
            .reported
            .as_ref()
            .map(|r| language.number(r.written())),
        unit: experiment.procedure.result.unit.name(),
        readings: readings_table(&experiment.procedure, hand_in, language),
        bottles: bottles_in_words(hand_in, issued(&view, &stored.slot), language),
        marks,
    }))
}

//! What is said while readings are typed: whether the trials agree, and what the look-over page would ask.

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::bench::{find, is_bottle, issued, own_form};
use super::entry::{Entry, doubts};
use super::worth::watched;
use crate::ids::ExperimentKey;
use crate::web::{Fields, PageResult, StudentVisitor};
use crate::workup::work_up_readings;

/// `POST /student/experiments/{key}/bench/watch`: the form as it is typed so far, of which nothing is kept. The answer
/// has the sentences on agreement, and names of fields with what is odd about each, all from the readings alone.
pub async fn watch(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    fields: Fields,
) -> PageResult<Response> {
    own_form(&visitor, &fields).await?;
    let view = visitor.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor)?;
    let procedure = &experiment.procedure;
    let mut entry = Entry::of_fields(procedure, &fields);
    let (_, unread) = entry.take_up_curves(procedure);
    let (hand_in, mut faults) = entry.so_far(procedure);
    faults.extend(unread);
    let mut asked = doubts(procedure, &hand_in, issued(&view, &slot), |code| {
        is_bottle(&view, &key, code)
    });
    asked.retain(|doubt| !entry.confirmed.contains(&doubt.id));
    let faults = faults.into_iter().map(|fault| (fault.field, fault.what));
    let asked = asked.into_iter().map(|doubt| (doubt.field, doubt.text));
    let words = json!({
        "agreement": watched(procedure, &work_up_readings(procedure, &hand_in)),
        "fields": faults.chain(asked).collect::<Vec<_>>(),
    });
    let kind = [(header::CONTENT_TYPE, "application/json")];
    Ok((kind, words.to_string()).into_response())
}

//! Requests that are written down: who saw true values, took something away, changed who is on the staff.

use axum::extract::{MatchedPath, Request, State};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;

use super::sign_in::Caller;
use super::state::AppState;
use super::visitor::Anyone;
use crate::desk::accounts::{Event, What, note};

/// Methods and routes, and what an answer that is no refusal means.
const NOTED: [(&str, &str, What); 28] = [
    (
        "GET",
        "/course/experiments/{key}/unknowns",
        What::ValuesSeen,
    ),
    (
        "POST",
        "/course/experiments/{key}/unknowns/preview",
        What::ValuesSeen,
    ),
    ("GET", "/course/experiments/{key}/audit", What::ValuesSeen),
    ("GET", "/course/experiments/{key}", What::ValuesSeen),
    ("GET", "/course/experiments/{key}/results", What::ValuesSeen),
    ("GET", "/course/experiments/{key}/release", What::ValuesSeen),
    (
        "POST",
        "/course/experiments/{key}/unknowns",
        What::ValuesSeen,
    ),
    (
        "POST",
        "/course/experiments/{key}/unknowns/many",
        What::ValuesSeen,
    ),
    (
        "POST",
        "/prep/experiments/{key}/unknown/days",
        What::ValuesSeen,
    ),
    ("GET", "/prep/experiments/{key}/", What::ValuesSeen),
    ("GET", "/prep/experiments/{key}/unknown", What::ValuesSeen),
    ("GET", "/prep/experiments/{key}/record", What::ValuesSeen),
    ("GET", "/proving/{key}", What::ValuesSeen),
    ("POST", "/proving/{key}", What::ValuesSeen),
    ("POST", "/prep/experiments/{key}/key", What::KeyOpened),
    ("GET", "/course/gradebook.csv", What::Exported),
    ("GET", "/course/gradebook.xlsx", What::Exported),
    ("GET", "/course/gradebook-exact.csv", What::Exported),
    ("POST", "/course/oneroster.zip", What::Exported),
    ("POST", "/course/fill/download", What::Exported),
    ("GET", "/course/results.csv", What::Exported),
    ("GET", "/course/flags.csv", What::Exported),
    ("GET", "/course/audit.csv", What::Exported),
    ("GET", "/course/export.zip", What::Exported),
    ("POST", "/course/copy.zip", What::Exported),
    ("GET", "/student/record.json", What::Exported),
    ("POST", "/course/staff", What::StaffChanged),
    ("POST", "/course/staff/remove", What::StaffChanged),
];

/// The layer.
pub async fn write_down(
    State(state): State<AppState>,
    route: Option<MatchedPath>,
    anyone: Option<Anyone>,
    caller: Caller,
    request: Request,
    next: Next,
) -> Response {
    let method = request.method().clone();
    let path = request.uri().path().to_owned();
    let response = next.run(request).await;
    let status = response.status();
    let what = route.and_then(|route| noted(&method, route.as_str()));
    let session = anyone.and_then(|anyone| anyone.session);
    if let (Some(what), Some(session)) = (what, session)
        && !session.lacks_second_step
        && shows(what, status)
    {
        let event = Event {
            at: state.clock.now(),
            what,
            who: Some(&session.person.account()),
            by: "",
            subject: &path,
            network: &caller.network,
        };
        if let Err(why) = note(&state.desk, event).await {
            // a full disk must not keep anybody from reading
            tracing::warn!(error = %why, "an access is not in the record");
        }
    }
    response
}

/// Whether an answer means that it was done. A refused entry shows the page with its values again; an accepted one
/// leads elsewhere.
fn shows(what: What, status: StatusCode) -> bool {
    let again = what == What::ValuesSeen && status == StatusCode::UNPROCESSABLE_ENTITY;
    let elsewhere = what != What::ValuesSeen && status.is_redirection();
    status.is_success() || again || elsewhere
}

fn noted(method: &Method, route: &str) -> Option<What> {
    let mut all = NOTED.iter();
    let found = all.find(|(m, r, _)| {
        *m == method.as_str() && r.trim_end_matches('/') == route.trim_end_matches('/')
    })?;
    Some(found.2)
}

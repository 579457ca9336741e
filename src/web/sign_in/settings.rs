//! What the coordinator chooses of how people sign in.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::Caller;
use crate::campus::Campus;
use crate::desk::campus::{MatchedBy, Matching, SignInSettings, choose as keep, settings};
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::web::error::{PageError, PageResult};
use crate::web::fields::Fields;
use crate::web::frame::{Frame, Page};
use crate::web::visitor::CoordinatorVisitor;

#[derive(Template)]
#[template(path = "coordinator/sign-in.html")]
struct SettingsPage {
    frame: Frame,
    /// How the institution's own sign-in leads here, in words; none if it does not.
    campus: Option<String>,
    form: Filled,
}

/// `GET /course/sign-in`.
pub(in crate::web) async fn chosen(visitor: CoordinatorVisitor) -> PageResult<Response> {
    own_to_choose(&visitor)?;
    let settings = settings(&visitor.state.people).await?;
    let typed = Typed::from([
        ("claim", settings.matching.claim.as_str()),
        ("match", settings.matching.by.name()),
        ("institution", &settings.institution),
        ("days", &settings.places_kept_days.to_string()),
    ]);
    Ok(page(&visitor, typed, Faults::default()).into_response())
}

/// `POST /course/sign-in`.
pub(in crate::web) async fn choose(
    visitor: CoordinatorVisitor,
    caller: Caller,
    Fields(typed): Fields,
) -> PageResult<Response> {
    own_to_choose(&visitor)?;
    let settings = match read(&typed) {
        Ok(settings) => settings,
        Err(faults) => {
            let page = page(&visitor, typed, faults);
            return Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY));
        }
    };
    let (id, at) = (visitor.person.account(), visitor.now());
    keep(&visitor.state.people, &settings, &id, &caller.network, at).await?;
    Ok(Redirect::to("/course/sign-in").into_response())
}

/// Refused in a course of a department: all its courses are signed in to in one way.
pub(in crate::web) fn own_to_choose(visitor: &CoordinatorVisitor) -> PageResult<()> {
    match visitor.state.place.course() {
        None => Ok(()),
        Some(_) => Err(PageError::forbidden(
            "How people sign in is the same for all courses of the department. Whoever runs it chooses, under Courses.",
        )),
    }
}

fn form() -> Form {
    let by = MatchedBy::ALL.map(|by| (by.name(), by.words()));
    Form::of(vec![
        Field::text("claim", "Claim")
            .hint("of OpenID Connect: what the provider calls the name it gives, such as preferred_username, sub or email. Take one that people cannot change themselves.")
            .longest(100)
            .needed()
            .wide(),
        Field::pick("match", "What it is compared with", &by).needed(),
        Field::text("institution", "Names of the institution")
            .hint("with spaces between them, short forms too: passwords that rest on them are refused")
            .longest(300)
            .wide(),
        Field::new("days", "Days that addresses are kept", Kind::Whole(0..=3_650))
            .hint("in the record of who came in and what was seen")
            .needed(),
    ])
    .enter("Keep this")
}

fn read(typed: &Typed) -> Result<SignInSettings, Faults> {
    let mut read = form().read(typed);
    let claim = read.said("claim").unwrap_or_default().to_owned();
    let known = |c: char| c.is_ascii_graphic();
    if !claim.chars().all(known) {
        read.fault(
            "claim",
            "found spaces or other signs in it, expected a name such as preferred_username",
        );
    }
    let by = read.text("match").unwrap_or_default().to_owned();
    read.check()?;
    let by = MatchedBy::ALL.into_iter().find(|one| one.name() == by);
    Ok(SignInSettings {
        matching: Matching {
            claim,
            by: by.unwrap_or(MatchedBy::Login),
        },
        institution: read.text("institution").unwrap_or_default().to_owned(),
        places_kept_days: i64::from(read.whole("days").unwrap_or_default()),
    })
}

fn page(visitor: &CoordinatorVisitor, typed: Typed, faults: Faults) -> Page<SettingsPage> {
    let campus = visitor.state.campus.as_deref().map(|campus| match campus {
        Campus::Proxy(proxy) => format!("a proxy that names people in the header {}", proxy.name),
        Campus::Provider(provider) => provider.issuer().to_owned(),
    });
    Page(SettingsPage {
        frame: visitor.frame("How people sign in"),
        campus,
        form: form().filled("/course/sign-in", typed, faults),
    })
}

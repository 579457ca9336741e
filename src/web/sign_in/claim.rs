//! Setting the first password with a claim code.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;

use super::{Caller, begin, told, wait};
use crate::desk::accounts::{AccountError, claim, has_news};
use crate::desk::passwords::SHORTEST;
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::web::error::PageResult;
use crate::web::fields::{Fields, OpenFields};
use crate::web::frame::{Frame, Page};
use crate::web::state::AppState;
use crate::web::visitor::Anyone;

#[derive(Template)]
#[template(path = "claim.html")]
struct ClaimPage {
    frame: Frame,
    form: Filled,
}

fn form() -> Form {
    let mut fields = vec![
        Field::text("login", "Login").autocomplete("username").wide(),
        Field::text("code", "Code on the slip")
            .hint("Four groups of four, such as 7K2M-90QD-XX4T-B1HR. Capitals, spaces and dashes do not matter.")
            .autocomplete("off")
            .wide(),
    ];
    fields.extend(new_password());
    Form::of(fields).enter("Set password and sign in")
}

/// The fields of a new password.
pub(super) fn new_password() -> [Field; 2] {
    let hint = format!(
        "At least {SHORTEST} characters. A few words that have nothing to do with each other are easy to remember and \
         hard to guess. Any characters, pasting is fine."
    );
    let field = |name, label| {
        Field::new(name, label, Kind::Password)
            .autocomplete("new-password")
            .wide()
    };
    [
        field("password", "New password").hint(hint),
        field("repeat", "New password once more"),
    ]
}

/// Why no password is set while the disk takes nothing, and what is as it was.
pub(super) fn not_set(as_it_was: &str) -> String {
    format!(
        "The disk of the server is full or broken, so no password was set; {as_it_was}. Tell whoever runs it, and try again once there is room."
    )
}

/// The new password, if it was typed twice the same.
pub(super) fn typed_twice(fields: &Fields) -> Result<&str, Faults> {
    let password = fields.one("password").unwrap_or_default();
    if password == fields.one("repeat").unwrap_or_default() {
        return Ok(password);
    }
    let what = "The two new passwords differ. Type or paste the same one twice.";
    Err(Faults::one("repeat", what))
}

pub(super) async fn show(anyone: Anyone) -> Response {
    page(&anyone, Typed::default(), Faults::default()).into_response()
}

pub(super) async fn take(
    State(state): State<AppState>,
    anyone: Anyone,
    caller: Caller,
    jar: CookieJar,
    OpenFields(fields, _turn): OpenFields,
) -> PageResult<Response> {
    let at = state.clock.now();
    let attempt = caller.attempt(fields.text("login"), at);
    let mut status = StatusCode::UNPROCESSABLE_ENTITY;
    let claimed = match typed_twice(&fields) {
        Ok(password) => claim(&state.people, attempt, fields.text("code"), password).await,
        Err(faults) => return Ok(page(&anyone, fields.0, faults).with_status(status)),
    };
    let faults = match claimed {
        Ok((person, token)) => {
            let jar = begin(&state, &anyone, (jar, &caller), &token).await?;
            let home = anyone.home(&person);
            let to = match has_news(&state.people, &person.account(), true, at).await? {
                true => told(home),
                false => home.to_owned(),
            };
            return Ok((jar, Redirect::to(&to)).into_response());
        }
        Err(AccountError::WrongCode) => Faults::one(
            "code",
            "The login and the code do not belong together. Compare both with the slip, character by character.",
        ),
        Err(AccountError::UsedCode) => Faults::one(
            "code",
            "This code has been used, or a newer one was given out since. If you have not set a password with it, tell your assistant at once.",
        ),
        Err(AccountError::ExpiredCode) => Faults::one(
            "code",
            "This code is too old. Ask your assistant for a new one.",
        ),
        Err(AccountError::Password(why)) => Faults::one("password", why),
        Err(AccountError::Wait(until)) => {
            status = StatusCode::TOO_MANY_REQUESTS;
            Faults::one("", wait(until, at))
        }
        Err(AccountError::Store(why)) if why.is_of_disk() => {
            status = StatusCode::INSUFFICIENT_STORAGE;
            Faults::one("", not_set("the code still works"))
        }
        Err(other) => return Err(other.into()),
    };
    Ok(page(&anyone, fields.0, faults).with_status(status))
}

fn page(anyone: &Anyone, typed: Typed, faults: Faults) -> Page<ClaimPage> {
    Page(ClaimPage {
        frame: anyone.frame("Set your password"),
        form: form().filled("/claim", typed, faults),
    })
}

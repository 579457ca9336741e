//! Setting the first password with a claim code.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;

use super::{Address, begin, wait};
use crate::desk::accounts::{AccountError, Attempt, claim};
use crate::desk::passwords::SHORTEST;
use crate::web::error::PageResult;
use crate::web::fields::OpenFields;
use crate::web::frame::{Frame, Page, home};
use crate::web::state::AppState;
use crate::web::visitor::Anyone;

#[derive(Template)]
#[template(path = "claim.html")]
struct ClaimPage {
    frame: Frame,
    shortest: usize,
    login: String,
    code: String,
    faults: Faults,
}

/// What is wrong with each field.
#[derive(Default)]
pub(super) struct Faults {
    pub(super) all: Option<String>,
    pub(super) code: Option<String>,
    pub(super) current: Option<String>,
    pub(super) password: Option<String>,
    pub(super) repeat: Option<String>,
}

pub(super) async fn show(anyone: Anyone) -> Response {
    page(&anyone, "", "", Faults::default()).into_response()
}

pub(super) async fn take(
    State(state): State<AppState>,
    anyone: Anyone,
    address: Address,
    jar: CookieJar,
    OpenFields(fields): OpenFields,
) -> PageResult<Response> {
    let (login, code) = (fields.text("login"), fields.text("code"));
    let password = fields.one("password").unwrap_or_default();
    if password != fields.one("repeat").unwrap_or_default() {
        let faults = Faults {
            repeat: Some(differs()),
            ..Faults::default()
        };
        return Ok(page(&anyone, login, code, faults).with_status(StatusCode::UNPROCESSABLE_ENTITY));
    }
    let at = state.clock.now();
    let attempt = Attempt {
        login,
        address: &address.0,
        at,
    };
    let mut faults = Faults::default();
    let mut status = StatusCode::UNPROCESSABLE_ENTITY;
    match claim(state.store(), attempt, code, password).await {
        Ok((person, token)) => {
            let jar = begin(&state, &anyone, jar, &token).await?;
            return Ok((jar, Redirect::to(home(&person.role))).into_response());
        }
        Err(AccountError::WrongCode) => {
            faults.code = Some(
                "The login and the code do not belong together. Compare both with the slip, character by character."
                    .into(),
            );
        }
        Err(AccountError::UsedCode) => {
            faults.code = Some(
                "This code has been used, or a newer one was given out since. If you have not set a password with it, tell your assistant at once."
                    .into(),
            );
        }
        Err(AccountError::ExpiredCode) => {
            faults.code = Some("This code is too old. Ask your assistant for a new one.".into());
        }
        Err(AccountError::Password(why)) => faults.password = Some(why),
        Err(AccountError::Wait(until)) => {
            status = StatusCode::TOO_MANY_REQUESTS;
            faults.all = Some(wait(until, at));
        }
        Err(other) => return Err(other.into()),
    }
    Ok(page(&anyone, login, code, faults).with_status(status))
}

pub(super) fn differs() -> String {
    "The two new passwords differ. Type or paste the same one twice.".to_owned()
}

fn page(anyone: &Anyone, login: &str, code: &str, faults: Faults) -> Page<ClaimPage> {
    Page(ClaimPage {
        frame: anyone.frame("Set your password"),
        shortest: SHORTEST,
        login: login.to_owned(),
        code: code.to_owned(),
        faults,
    })
}

impl Faults {
    /// Whether there is any.
    pub(super) fn any(&self) -> bool {
        [
            &self.all,
            &self.code,
            &self.current,
            &self.password,
            &self.repeat,
        ]
        .into_iter()
        .any(Option::is_some)
    }
}

//! Changing one's password.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;

use super::claim::{Faults, differs};
use super::{Address, cookie, wait};
use crate::desk::accounts::{AccountError, Attempt, change_password};
use crate::desk::passwords::SHORTEST;
use crate::desk::sessions::Session;
use crate::web::error::PageResult;
use crate::web::fields::Fields;
use crate::web::frame::{Frame, Page};
use crate::web::state::AppState;
use crate::web::visitor::{Anyone, Visitor};

#[derive(Template)]
#[template(path = "password.html")]
struct PasswordPage {
    frame: Frame,
    login: String,
    shortest: usize,
    faults: Faults,
}

pub(super) async fn show(visitor: Visitor) -> Response {
    page(&visitor, Faults::default()).into_response()
}

pub(super) async fn change(
    State(state): State<AppState>,
    visitor: Visitor,
    anyone: Anyone,
    address: Address,
    jar: CookieJar,
    fields: Fields,
) -> PageResult<Response> {
    let refused = StatusCode::UNPROCESSABLE_ENTITY;
    let password = fields.one("password").unwrap_or_default();
    let mut faults = Faults::default();
    if password != fields.one("repeat").unwrap_or_default() {
        faults.repeat = Some(differs());
        return Ok(page(&visitor, faults).with_status(refused));
    }
    let (id, at) = (visitor.person.account(), state.clock.now());
    let attempt = Attempt {
        login: &id.login,
        address: &address.0,
        at,
    };
    let current = fields.one("current").unwrap_or_default();
    match change_password(state.store(), attempt, &id, current, password).await {
        Ok(token) => {
            let jar = jar.add(cookie(&state.settings, &token));
            let session = Session {
                person: visitor.person.clone(),
                token,
            };
            let anyone = Anyone {
                session: Some(session),
                ..anyone
            };
            let frame = anyone.frame("Change your password").saying(
                "Your password is changed. Everywhere else you were signed in, you no longer are.",
            );
            let page = PasswordPage {
                frame,
                login: id.login.clone(),
                shortest: SHORTEST,
                faults,
            };
            Ok((jar, Page(page)).into_response())
        }
        Err(AccountError::Wrong) => {
            faults.current = Some("This is not your present password.".into());
            Ok(page(&visitor, faults).with_status(refused))
        }
        Err(AccountError::Password(why)) => {
            faults.password = Some(why);
            Ok(page(&visitor, faults).with_status(refused))
        }
        Err(AccountError::Wait(until)) => {
            faults.all = Some(wait(until, at));
            Ok(page(&visitor, faults).with_status(StatusCode::TOO_MANY_REQUESTS))
        }
        Err(other) => Err(other.into()),
    }
}

fn page(visitor: &Visitor, faults: Faults) -> Page<PasswordPage> {
    Page(PasswordPage {
        frame: visitor.frame("Change your password"),
        login: visitor.person.login.clone(),
        shortest: SHORTEST,
        faults,
    })
}

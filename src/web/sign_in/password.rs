//! Changing one's password.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;

use super::claim::{new_password, not_set, typed_twice};
use super::{Caller, cookie, wait};
use crate::desk::accounts::{AccountError, change_password};
use crate::desk::passwords;
use crate::desk::sessions::Session;
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::web::error::PageResult;
use crate::web::fields::Fields;
use crate::web::frame::{Frame, Page};
use crate::web::visitor::{Anyone, Visitor};

#[derive(Template)]
#[template(path = "password.html")]
struct PasswordPage {
    frame: Frame,
    form: Filled,
}

/// The login goes along for the browser's own memory of passwords.
fn form(login: &str) -> Form {
    let mut fields = vec![
        Field::hidden("username").fixed(login),
        Field::new("current", "Present password", Kind::Password)
            .autocomplete("current-password")
            .wide(),
    ];
    fields.extend(new_password());
    Form::of(fields).enter("Change password")
}

pub(super) async fn show(visitor: Visitor) -> Response {
    page(&visitor, Faults::default()).into_response()
}

pub(super) async fn change(
    visitor: Visitor,
    anyone: Anyone,
    caller: Caller,
    jar: CookieJar,
    fields: Fields,
) -> PageResult<Response> {
    let mut status = StatusCode::UNPROCESSABLE_ENTITY;
    let password = match typed_twice(&fields) {
        Ok(password) => password,
        Err(faults) => return Ok(page(&visitor, faults).with_status(status)),
    };
    let (id, at) = (visitor.person.account(), visitor.now());
    let attempt = caller.attempt(&id.login, at);
    let current = fields.one("current").unwrap_or_default();
    let faults = match change_password(&visitor.state.people, attempt, &id, current, password).await
    {
        Ok(token) => {
            let strength = passwords::strength(password, &[]).words();
            let jar = jar.add(cookie(&visitor.state.settings, &token));
            let session = Session {
                person: visitor.person.clone(),
                token,
                lacks_second_step: visitor.session.lacks_second_step,
            };
            let anyone = Anyone {
                session: Some(session),
                ..anyone
            };
            let frame = anyone.frame("Change your password").saying(
                format!("Your password is changed. {strength} Everywhere else you were signed in, you no longer are."),
            );
            let form = form(&id.login).filled("/password", Typed::default(), Faults::default());
            return Ok((jar, Page(PasswordPage { frame, form })).into_response());
        }
        Err(AccountError::Wrong) => Faults::one("current", "This is not your present password."),
        Err(AccountError::Password(why)) => Faults::one("password", why),
        Err(AccountError::Wait(until)) => {
            status = StatusCode::TOO_MANY_REQUESTS;
            Faults::one("", wait(until, at))
        }
        Err(AccountError::Store(why)) if why.is_of_disk() => {
            status = StatusCode::INSUFFICIENT_STORAGE;
            Faults::one("", not_set("the one you have still works"))
        }
        Err(other) => return Err(other.into()),
    };
    Ok(page(&visitor, faults).with_status(status))
}

fn page(visitor: &Visitor, faults: Faults) -> Page<PasswordPage> {
    let form = form(&visitor.person.login);
    Page(PasswordPage {
        frame: visitor.frame("Change your password"),
        form: form.filled("/password", Typed::default(), faults),
    })
}

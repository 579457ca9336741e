//! Changing one's password.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;

use super::claim::{new_password, typed_twice};
use super::{Caller, cookie, wait};
use crate::desk::accounts::{AccountError, change_password};
use crate::desk::passwords;
use crate::desk::sessions::Session;
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::language::{Language, message};
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
fn form(login: &str, language: Language) -> Form {
    let mut fields = vec![
        Field::hidden("username").fixed(login),
        Field::new("current", language.text("password.present"), Kind::Password)
            .autocomplete("current-password")
            .wide(),
    ];
    fields.extend(new_password(language));
    let form = Form::of(fields).in_language(language);
    form.enter(language.text("password.enter"))
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
                token,
                ..visitor.session.clone()
            };
            let anyone = Anyone {
                session: Some(session),
                ..anyone
            };
            let language = anyone.language();
            let frame = anyone.frame(language.text("password.title"));
            let frame =
                frame.saying(language.say(&message!("password.changed", strength = strength)));
            let form =
                form(&id.login, language).filled("/password", Typed::default(), Faults::default());
            return Ok((jar, Page(PasswordPage { frame, form })).into_response());
        }
        Err(AccountError::Wrong) => Faults::one("current", message!("password.not-yours")),
        Err(AccountError::Password(why)) => Faults::one("password", why),
        Err(AccountError::Wait(until)) => {
            status = StatusCode::TOO_MANY_REQUESTS;
            Faults::one("", wait(until, at))
        }
        Err(AccountError::Store(why)) if why.is_of_disk() => {
            status = StatusCode::INSUFFICIENT_STORAGE;
            Faults::one("", message!("password.disk"))
        }
        Err(other) => return Err(other.into()),
    };
    Ok(page(&visitor, faults).with_status(status))
}

fn page(visitor: &Visitor, faults: Faults) -> Page<PasswordPage> {
    let form = form(&visitor.person.login, visitor.language());
    Page(PasswordPage {
        frame: visitor.frame(visitor.language().text("password.title")),
        form: form.filled("/password", Typed::default(), faults),
    })
}

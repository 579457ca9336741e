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
use crate::language::{Language, message};
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

fn form(language: Language) -> Form {
    let text = |key| language.text(key);
    let mut fields = vec![
        Field::text("login", text("sign-in.login"))
            .autocomplete("username")
            .wide(),
        Field::text("code", text("claim.code"))
            .hint(text("claim.code-hint"))
            .autocomplete("off")
            .wide(),
    ];
    fields.extend(new_password(language));
    let form = Form::of(fields).in_language(language);
    form.enter(text("claim.enter"))
}

/// The fields of a new password.
pub(super) fn new_password(language: Language) -> [Field; 2] {
    let hint = language.counted("password.new-hint", SHORTEST);
    let field = |name, label| {
        Field::new(name, language.text(label), Kind::Password)
            .autocomplete("new-password")
            .wide()
    };
    [
        field("password", "password.new").hint(hint),
        field("repeat", "password.repeat"),
    ]
}

/// The new password, if it was typed twice the same.
pub(super) fn typed_twice(fields: &Fields) -> Result<&str, Faults> {
    let password = fields.one("password").unwrap_or_default();
    if password == fields.one("repeat").unwrap_or_default() {
        return Ok(password);
    }
    Err(Faults::one("repeat", message!("password.differ")))
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
        Err(AccountError::WrongCode) => Faults::one("code", message!("claim.wrong-code")),
        Err(AccountError::UsedCode) => Faults::one("code", message!("claim.used-code")),
        Err(AccountError::ExpiredCode) => Faults::one("code", message!("claim.old-code")),
        Err(AccountError::Password(why)) => Faults::one("password", why),
        Err(AccountError::Wait(until)) => {
            status = StatusCode::TOO_MANY_REQUESTS;
            Faults::one("", wait(until, at))
        }
        Err(AccountError::Store(why)) if why.is_of_disk() => {
            status = StatusCode::INSUFFICIENT_STORAGE;
            Faults::one("", message!("claim.disk"))
        }
        Err(other) => return Err(other.into()),
    };
    Ok(page(&anyone, fields.0, faults).with_status(status))
}

fn page(anyone: &Anyone, typed: Typed, faults: Faults) -> Page<ClaimPage> {
    Page(ClaimPage {
        frame: anyone.frame(anyone.language().text("claim.title")),
        form: form(anyone.language()).filled("/claim", typed, faults),
    })
}

//! The second step of signing in: asked for, set up, turned off.

use askama::Template;
use axum::extract::State as Shared;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use jiff::Timestamp;

use super::{Caller, begin as begin_session, entered, wait};
use crate::desk::accounts::{AccountError, has_news};
use crate::desk::second_step::{
    State, begin, confirm, end, is_required, require, sign_in_with, state,
};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::web::error::{PageError, PageResult};
use crate::web::fields::{Fields, OpenFields};
use crate::web::frame::{Frame, Page};
use crate::web::prep::qr::{Qr, qr};
use crate::web::state::AppState;
use crate::web::visitor::{Anyone, CoordinatorVisitor, Visitor};

#[derive(Template)]
#[template(path = "second-step.html")]
struct SecondStepPage {
    frame: Frame,
    state: State,
    /// Whether the course asks staff for it.
    required: bool,
    is_coordinator: bool,
    qr: Option<Qr>,
    form: Filled,
    /// Just made; nowhere else.
    recovery_codes: Vec<String>,
}

#[derive(Template)]
#[template(path = "code.html")]
struct CodePage {
    frame: Frame,
    form: Filled,
}

fn code_field(hint: &str) -> Field {
    Field::text("code", "Code")
        .hint(hint)
        .autocomplete("one-time-code")
        .wide()
}

/// Asks for the second step; what was asked for before travels along.
pub(super) fn ask(
    anyone: &Anyone,
    mut typed: Typed,
    ticket: String,
    (status, faults): (StatusCode, Faults),
) -> Response {
    typed = typed.only(|name| ["next", "again_path", "again_body"].contains(&name));
    typed.set("ticket", ticket);
    let form = Form::of(vec![
        code_field("The six digits that your device shows now, or one of your recovery codes."),
        Field::hidden("ticket"),
        Field::hidden("next"),
        Field::hidden("again_path"),
        Field::hidden("again_body"),
    ]);
    let page = CodePage {
        frame: anyone.frame("Second step"),
        form: form.enter("Sign in").filled("/sign-in/code", typed, faults),
    };
    Page(page).with_status(status)
}

/// `POST /sign-in/code`.
pub(super) async fn enter(
    Shared(state): Shared<AppState>,
    anyone: Anyone,
    caller: Caller,
    jar: CookieJar,
    OpenFields(fields, _turn): OpenFields,
) -> PageResult<Response> {
    let at = state.clock.now();
    let ticket = fields.need("ticket")?.to_owned();
    let code = fields.text("code");
    let fault = match sign_in_with(&state.people, &ticket, code, caller.from(), at).await {
        Ok((person, token)) => {
            let jar = begin_session(&state, &anyone, (jar, &caller), &token).await?;
            let news = has_news(&state.people, &person.account(), false, at).await?;
            let entered = entered(&anyone, &person, token, &fields, news)?;
            return Ok((jar, entered).into_response());
        }
        Err(AccountError::ExpiredCode) => {
            return Err(PageError::unprocessable(
                "It took too long, or you were let in already. Sign in again from the start.",
            ));
        }
        Err(why) => fault(why, at)?,
    };
    Ok(ask(&anyone, fields.0, ticket, fault))
}

/// `GET /second-step`.
pub(super) async fn show(visitor: Visitor) -> PageResult<Response> {
    let page = page(&visitor, Faults::default(), Vec::new()).await?;
    Ok(page.into_response())
}

pub(super) async fn set_up(visitor: Visitor, _fields: Fields) -> PageResult<Redirect> {
    begin(&visitor.state.people, &visitor.person.account()).await?;
    Ok(Redirect::to("/second-step"))
}

pub(super) async fn turn_on(
    visitor: Visitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Response> {
    let id = visitor.person.account();
    let attempt = caller.attempt(&id.login, visitor.now());
    match confirm(&visitor.state.people, attempt, &id, fields.text("code")).await {
        Ok(codes) => Ok(page(&visitor, Faults::default(), codes)
            .await?
            .into_response()),
        Err(why) => refused(&visitor, why).await,
    }
}

pub(super) async fn turn_off(
    visitor: Visitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Response> {
    let id = visitor.person.account();
    let attempt = caller.attempt(&id.login, visitor.now());
    match end(&visitor.state.people, attempt, &id, fields.text("code")).await {
        Ok(()) => Ok(Redirect::to("/second-step").into_response()),
        Err(why) => refused(&visitor, why).await,
    }
}

/// `POST /course/second-step`: whether staff need one.
pub(in crate::web) async fn ask_of_staff(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    super::settings::own_to_choose(&visitor)?;
    let (id, at) = (visitor.person.account(), visitor.now());
    let required = fields.text("required") == "yes";
    require(&visitor.state.people, required, &id, &caller.network, at).await?;
    Ok(Redirect::to("/second-step"))
}

/// What is wrong with a code, beside its field.
fn fault(why: AccountError, at: Timestamp) -> PageResult<(StatusCode, Faults)> {
    let (status, words) = match why {
        AccountError::WrongCode => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "This is not the code of this moment, or it was used before. Wait for the next one and type that.".into(),
        ),
        AccountError::Wait(until) => (StatusCode::TOO_MANY_REQUESTS, wait(until, at)),
        other => return Err(other.into()),
    };
    Ok((status, Faults::one("code", words)))
}

async fn refused(visitor: &Visitor, why: AccountError) -> PageResult<Response> {
    let (status, faults) = fault(why, visitor.now())?;
    let page = page(visitor, faults, Vec::new()).await?;
    Ok(page.with_status(status))
}

async fn page(
    visitor: &Visitor,
    faults: Faults,
    recovery_codes: Vec<String>,
) -> PageResult<Page<SecondStepPage>> {
    let desk = &visitor.state.people;
    let id = visitor.person.account();
    let state = state(desk, &id).await?;
    let form = match &state {
        State::Off => Form::default().enter("Set up a second step").filled(
            "/second-step/begin",
            Typed::default(),
            faults,
        ),
        State::ToConfirm(_) => Form::of(vec![code_field(
            "The six digits that your device shows now.",
        )])
        .enter("Turn it on")
        .filled("/second-step/confirm", Typed::default(), faults),
        State::On => Form::of(vec![code_field(
            "To turn it off, the six digits that your device shows now, or a recovery code.",
        )])
        .enter("Turn it off")
        .filled("/second-step/end", Typed::default(), faults),
    };
    let picture = match &state {
        State::ToConfirm(secret) => qr(&format!(
            "otpauth://totp/Concordant:{}?secret={secret}&issuer=Concordant",
            form_urlencoded::byte_serialize(id.login.as_bytes()).collect::<String>()
        )),
        _ => None,
    };
    Ok(Page(SecondStepPage {
        frame: visitor.frame("Second step"),
        required: is_required(desk).await?,
        is_coordinator: visitor.is_coordinator(),
        qr: picture,
        state,
        form,
        recovery_codes,
    }))
}

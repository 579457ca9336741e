//! Signing in and out.

mod access;
mod caller;
mod campus;
mod claim;
mod lti;
mod password;
mod refusals;
mod second_step;
mod settings;

use std::sync::Arc;

use askama::Template;
use axum::Router;
use axum::extract::State;
use axum::http::{HeaderName, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::{Cookie, SameSite};
use jiff::Timestamp;

pub(super) use access::{end_sessions, everybodys};
pub use caller::{Caller, Gate, Turn};
pub use lti::Launches;
pub(super) use second_step::ask_of_staff;
pub(super) use settings::{choose, chosen, own_to_choose};

use super::demo::DemoPerson;
use super::error::{Again, PageError, PageResult};
use super::fields::{Fields, OpenFields, QueryFields};
use super::frame::{Frame, Page, home};
use super::state::{AppState, Settings};
use super::surround::cookie_name;
use super::visitor::{Anyone, Visitor};
use crate::desk::accounts::{AccountError, Entry, Person, has_news, sign_in};
use crate::desk::sessions::{Token, end_session};
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::language::{Message, message};

/// Routes of these pages.
pub fn routes() -> Router<AppState> {
    sign_in_routes().route("/", get(start))
}

fn sign_in_routes() -> Router<AppState> {
    Router::new()
        .route("/sign-in", get(show).post(enter))
        .route("/sign-out", post(leave))
        .route("/claim", get(claim::show).post(claim::take))
        .route("/sign-in/campus", get(campus::show).post(campus::enter))
        .route("/sign-in/campus/back", get(campus::back))
        .route("/lti/login", get(lti::login).post(lti::login_posted))
        .route("/lti/launch", post(lti::come))
        .route("/lti/keys", get(lti::keys))
        .route("/sign-in/code", post(second_step::enter))
        .route("/second-step", get(second_step::show))
        .route("/second-step/begin", post(second_step::set_up))
        .route("/second-step/confirm", post(second_step::turn_on))
        .route("/second-step/end", post(second_step::turn_off))
        .route("/access", get(access::own).post(access::leave_everywhere))
        .route("/password", get(password::show).post(password::change))
}

/// What a course of a department has of them: everything else its courses share.
pub fn course_routes() -> Router<AppState> {
    Router::new().route("/", get(start))
}

/// What the courses of a department share.
pub fn shared_routes() -> Router<AppState> {
    sign_in_routes()
        .route("/course/access", get(everybodys).post(end_sessions))
        .route("/course/sign-in", get(chosen).post(choose))
        .route("/course/second-step", post(ask_of_staff))
}

#[derive(Template)]
#[template(path = "sign-in.html")]
pub struct SignInPage {
    frame: Frame,
    form: Filled,
    /// Whether a session has ended just now.
    ended: bool,
    /// Whether the institution's own sign-in leads here too.
    campus: bool,
    /// Where to go on to from there.
    next: String,
    /// Who comes in by a button; empty but on the first page of the demonstration.
    demo: Arc<[DemoPerson]>,
    /// Whether people come by plain HTTP over the network, so that browsers keep nobody signed in.
    plain: bool,
}

#[derive(Template)]
#[template(path = "again.html")]
struct AgainPage {
    frame: Frame,
    again: Again,
}

impl SignInPage {
    /// Asks to sign in again, keeping a form that was sent.
    pub fn again(anyone: &Anyone, kept: Option<Again>) -> Self {
        let mut typed = Typed::default();
        if let Some(kept) = kept {
            let mut encoded = form_urlencoded::Serializer::new(String::new());
            typed.set("again_body", encoded.extend_pairs(&kept.fields).finish());
            typed.set("again_path", kept.path);
        }
        Self {
            ended: true,
            demo: Arc::new([]),
            ..Self::new(anyone, "sign-in.title-again", typed, Faults::default())
        }
    }

    fn new(anyone: &Anyone, title: &str, typed: Typed, faults: Faults) -> Self {
        let text = |key| anyone.language().text(key);
        let form = Form::of(vec![
            Field::text("login", text("sign-in.login"))
                .hint(text("sign-in.login-hint"))
                .autocomplete("username")
                .wide(),
            Field::new("password", text("sign-in.password"), Kind::Password)
                .autocomplete("current-password")
                .wide(),
            Field::hidden("next"),
            Field::hidden("again_path"),
            Field::hidden("again_body"),
        ]);
        let next = form_urlencoded::byte_serialize(typed.text("next").as_bytes());
        Self {
            frame: anyone.frame(text(title)),
            ended: false,
            demo: Arc::clone(&anyone.demo),
            campus: anyone.way.campus,
            next: next.collect(),
            plain: anyone.way.plain,
            form: form
                .in_language(anyone.language())
                .enter(text("sign-in.enter"))
                .filled("/sign-in", typed, faults),
        }
    }
}

async fn start(visitor: Visitor) -> Redirect {
    Redirect::to(home(&visitor.person.role))
}

async fn show(anyone: Anyone, QueryFields(query): QueryFields) -> Response {
    if let Some(session) = &anyone.session {
        return Redirect::to(anyone.home(&session.person)).into_response();
    }
    let next = local(query.text("next")).unwrap_or_default();
    let typed = Typed::from([("next", next)]);
    Page(SignInPage::new(
        &anyone,
        "sign-in.title",
        typed,
        Faults::default(),
    ))
    .into_response()
}

async fn enter(
    State(state): State<AppState>,
    anyone: Anyone,
    caller: Caller,
    jar: CookieJar,
    OpenFields(fields, _turn): OpenFields,
) -> PageResult<Response> {
    let at = state.clock.now();
    let attempt = caller.attempt(fields.text("login"), at);
    let password = fields.one("password").unwrap_or_default();
    let (status, fault) = match sign_in(&state.people, attempt, password).await {
        Ok(Entry::SecondStep(ticket)) => {
            let first = (StatusCode::OK, Faults::default());
            let asked = second_step::ask(&anyone, fields.0, ticket, first);
            return Ok(asked);
        }
        Ok(Entry::In(person, token)) => {
            let jar = begin(&state, &anyone, (jar, &caller), &token).await?;
            let news = has_news(&state.people, &person.account(), false, at).await?;
            let entered = entered(&anyone, &person, token, &fields, news)?;
            return Ok((jar, entered).into_response());
        }
        Err(AccountError::Wrong) => (StatusCode::UNPROCESSABLE_ENTITY, wrong()),
        Err(AccountError::Wait(until)) => (StatusCode::TOO_MANY_REQUESTS, wait(until, at)),
        Err(other) => return Err(other.into()),
    };
    let mut typed = fields.0;
    let next = local(typed.text("next")).unwrap_or_default().to_owned();
    typed.set("next", next);
    let page = SignInPage::new(&anyone, "sign-in.title", typed, Faults::one("", fault));
    Ok(Page(page).with_status(status))
}

/// After signing in: the form kept while the session had ended, or the page asked for, or where that person starts.
fn entered(
    anyone: &Anyone,
    person: &Person,
    token: Token,
    fields: &Fields,
    news: bool,
) -> PageResult<Response> {
    let next = local(fields.text("next")).unwrap_or(anyone.home(person));
    if news {
        return Ok(Redirect::to(&told(next)).into_response());
    }
    if let Some(path) = local(fields.text("again_path")) {
        let fields = Fields::parse(fields.text("again_body").as_bytes())?
            .0
            .into_pairs();
        let session = crate::desk::sessions::Session {
            account: person.account(),
            number: None,
            person: person.clone(),
            token,
            lacks_second_step: false,
        };
        let anyone = Anyone {
            session: Some(session),
            ..anyone.clone()
        };
        let again = Again {
            path: path.to_owned(),
            fields,
        };
        let frame = anyone.frame(anyone.language().text("again.title"));
        return Ok(Page(AgainPage { frame, again }).into_response());
    }
    Ok(Redirect::to(next).into_response())
}

/// Where somebody hears what was done to their account, and goes on from.
fn told(next: &str) -> String {
    let next: String = form_urlencoded::byte_serialize(next.as_bytes()).collect();
    format!("/access?next={next}")
}

async fn leave(
    State(state): State<AppState>,
    anyone: Anyone,
    jar: CookieJar,
    fields: Result<Fields, PageError>,
) -> PageResult<Response> {
    let Some(session) = &anyone.session else {
        return Ok(Redirect::to("/sign-in").into_response());
    };
    fields?;
    end_session(&state.people, &session.token).await?;
    let jar = jar.remove(
        Cookie::build((cookie_name(&state.settings), ""))
            .path("/")
            .secure(state.settings.secure_cookies),
    );
    // drafts in the browser go with their owner
    let clear = [(HeaderName::from_static("clear-site-data"), "\"storage\"")];
    Ok((jar, clear, Redirect::to("/sign-in")).into_response())
}

/// Ends the session there was, and hands out the new one; the browser is known from now on.
async fn begin(
    state: &AppState,
    anyone: &Anyone,
    (jar, caller): (CookieJar, &Caller),
    token: &Token,
) -> PageResult<(CookieJar, CookieJar)> {
    if let Some(before) = &anyone.session {
        end_session(&state.people, &before.token).await?;
    }
    let known = CookieJar::new().add(caller.cookie(&state.settings));
    Ok((jar.add(cookie(&state.settings, token)), known))
}

fn cookie(settings: &Settings, token: &Token) -> Cookie<'static> {
    Cookie::build((cookie_name(settings), token.as_str().to_owned()))
        .path("/")
        .http_only(true)
        .secure(settings.secure_cookies)
        .same_site(SameSite::Lax)
        .build()
}

fn wrong() -> Message {
    message!("sign-in.wrong")
}

fn wait(until: Timestamp, now: Timestamp) -> Message {
    let seconds = until.duration_since(now).as_secs().max(1);
    let minutes = seconds.saturating_add(59) / 60;
    let minutes = message!("count.minute", n = minutes);
    message!("sign-in.wait", minutes = minutes)
}

/// A path of ours to go on to; nothing that could lead to another site.
fn local(path: &str) -> Option<&str> {
    let ours = path.starts_with('/') && !path.starts_with("//") && !path.contains('\\');
    (ours && path.chars().all(|c| c.is_ascii_graphic())).then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_paths_are_gone_on_to() {
        assert_eq!(
            local("/student/vinegar?trial=2"),
            Some("/student/vinegar?trial=2")
        );
        for other in [
            "",
            "student",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "https://elsewhere.example",
            "/a\nb",
            "/a b",
        ] {
            assert_eq!(local(other), None, "{other:?}");
        }
    }

    #[test]
    fn a_wait_is_told_in_whole_minutes() {
        let at = |second: i64| Timestamp::from_second(second).expect("in range");
        assert!(wait(at(61), at(0)).to_string().contains("Wait 2 minutes"));
        assert!(wait(at(60), at(0)).to_string().contains("Wait 1 minute,"));
        assert!(wait(at(0), at(5)).to_string().contains("Wait 1 minute,"));
    }
}

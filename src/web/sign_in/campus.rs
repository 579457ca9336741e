//! Signing in as the institution says: named in a header by its proxy, or sent to its provider and back.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::{Cookie, SameSite};

use super::refusals::of_token;
use super::{Caller, begin, entered, local, second_step};
use crate::campus::{CameBack, Campus, CampusFault, Provider, ProxyHeader, state};
use crate::desk::accounts::{AccountError, Entry, Person, has_news};
use crate::desk::campus::{MatchedBy, note_stranger, person_named, settings, sign_in_named};
use crate::form::{Faults, Filled, Form, Typed};
use crate::language::message;
use crate::web::error::{PageError, PageResult};
use crate::web::fields::{Fields, OpenFields, QueryFields};
use crate::web::frame::{Frame, Page};
use crate::web::random_key;
use crate::web::state::{AppState, Settings};
use crate::web::visitor::Anyone;

/// The header in which the proxy sends the secret.
const SECRET: &str = "x-concordant-secret";
/// How somebody came in, as the record of access keeps it.
pub(super) const BY_INSTITUTION: &str = "with the institution\u{2019}s account";
pub(super) const BY_PLATFORM: &str = "by a launch from a platform";
/// How many seconds somebody may take at the provider.
const LONGEST: i64 = 600;

#[derive(Template)]
#[template(path = "campus.html")]
struct CampusPage {
    frame: Frame,
    name: String,
    form: Filled,
}

/// `GET /sign-in/campus`: whom the proxy names, to be confirmed; or on to the provider.
pub(super) async fn show(
    State(state): State<AppState>,
    anyone: Anyone,
    caller: Caller,
    headers: HeaderMap,
    jar: CookieJar,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let next = local(query.text("next")).unwrap_or_default();
    match campus(&state)? {
        Campus::Proxy(proxy) => {
            let person = named_by_proxy(&state, proxy, &caller, &headers).await?;
            let form = Form::of(vec![crate::form::Field::hidden("next")])
                .enter(anyone.language().text("sign-in.enter"));
            let page = CampusPage {
                frame: anyone.frame(anyone.language().text("campus.title")),
                name: person.name,
                form: form.filled(
                    "/sign-in/campus",
                    Typed::from([("next", next)]),
                    Faults::default(),
                ),
            };
            Ok(Page(page).into_response())
        }
        Campus::Provider(provider) => {
            let _turn = state.gate.enter(&state, &caller).await?;
            let secret = format!("{}{}", random_key()?, random_key()?);
            let begun = state.clock.now().as_second();
            let address = provider.begin(&secret, begun).await.map_err(refused)?;
            let next: String = form_urlencoded::byte_serialize(next.as_bytes()).collect();
            let jar = jar.add(cookie(&state.settings, format!("{secret}.{begun}.{next}")));
            Ok((jar, Redirect::to(&address)).into_response())
        }
    }
}

/// `POST /sign-in/campus`: whom the proxy names comes in.
pub(super) async fn enter(
    State(state): State<AppState>,
    anyone: Anyone,
    caller: Caller,
    headers: HeaderMap,
    jar: CookieJar,
    OpenFields(fields, _turn): OpenFields,
) -> PageResult<Response> {
    let Campus::Proxy(proxy) = campus(&state)? else {
        return Err(PageError::not_found());
    };
    let person = named_by_proxy(&state, proxy, &caller, &headers).await?;
    let person = (person, BY_INSTITUTION);
    let_in(&state, &anyone, (jar, &caller), person, fields).await
}

/// `GET /sign-in/campus/back`: whoever comes back from the provider.
pub(super) async fn back(
    State(state): State<AppState>,
    anyone: Anyone,
    caller: Caller,
    jar: CookieJar,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let Campus::Provider(provider) = campus(&state)? else {
        return Err(PageError::not_found());
    };
    let _turn = state.gate.enter(&state, &caller).await?;
    let kept = jar.get(cookie_name(&state.settings)).map(Cookie::value);
    let now = state.clock.now().as_second();
    let (secret, next) = kept
        .and_then(|kept| begun(kept, now))
        .ok_or_else(|| PageError::forbidden(message!("campus.not-begun")))?;
    let next = form_urlencoded::parse(next.as_bytes()).next();
    let next = next.map(|(next, _)| next.into_owned()).unwrap_or_default();
    let person = named_by_provider(&state, provider, &caller, secret, &query).await?;
    // a sign-in is gone through once
    let jar = jar.remove(cookie(&state.settings, String::new()));
    let fields = Fields(Typed::from([("next", next.as_str())]));
    let person = (person, BY_INSTITUTION);
    let_in(&state, &anyone, (jar, &caller), person, fields).await
}

/// What a browser kept while it was at the provider, if that was not long ago.
fn begun(kept: &str, now: i64) -> Option<(&str, &str)> {
    let (secret, rest) = kept.split_once('.')?;
    let (begun, next) = rest.split_once('.')?;
    let begun: i64 = begun.parse().ok()?;
    (now.checked_sub(begun)? <= LONGEST).then_some((secret, next))
}

pub(super) async fn let_in(
    state: &AppState,
    anyone: &Anyone,
    (jar, caller): (CookieJar, &Caller),
    person: (Person, &str),
    fields: Fields,
) -> PageResult<Response> {
    let at = state.clock.now();
    let entry = match sign_in_named(&state.people, person, &caller.network, at).await {
        Err(AccountError::Wrong) => {
            return Err(PageError::forbidden(message!("campus.closed")));
        }
        entry => entry?,
    };
    match entry {
        Entry::SecondStep(ticket) => {
            let asked = second_step::ask(
                anyone,
                fields.0,
                ticket,
                (StatusCode::OK, Faults::default()),
            );
            Ok((jar, asked).into_response())
        }
        Entry::In(person, token) => {
            let jar = begin(state, anyone, (jar, caller), &token).await?;
            let news = has_news(&state.people, &person.account(), false, at).await?;
            let entered = entered(anyone, &person, token, &fields, news)?;
            Ok((jar, entered).into_response())
        }
    }
}

fn campus(state: &AppState) -> PageResult<&Campus> {
    state.campus.as_deref().ok_or_else(PageError::not_found)
}

/// Whoever is not the proxy learns nothing.
async fn named_by_proxy(
    state: &AppState,
    proxy: &ProxyHeader,
    caller: &Caller,
    headers: &HeaderMap,
) -> PageResult<Person> {
    let secret = headers.get(SECRET).map(|value| value.as_bytes());
    if !caller.is_by_proxy || !secret.is_some_and(|secret| proxy.is_secret(secret)) {
        return Err(PageError::forbidden(message!("campus.not-by-proxy")));
    }
    let mut all = headers.get_all(&proxy.name).iter();
    let name = all.next().and_then(|name| name.to_str().ok());
    let name = name.map(str::trim).unwrap_or_default();
    if name.is_empty() || all.next().is_some() {
        return Err(unnamed());
    }
    let by = settings(&state.people).await?.matching.by;
    of_the_course(state, caller, name, by).await
}

async fn named_by_provider(
    state: &AppState,
    provider: &Arc<Provider>,
    caller: &Caller,
    secret: &str,
    query: &Fields,
) -> PageResult<Person> {
    let own = self::state(secret);
    if query.text("state") != own {
        return Err(PageError::forbidden(message!("campus.another")));
    }
    let came_back = CameBack {
        code: match query.one("error") {
            Some(error) => Err(error),
            None => Ok(query.need("code")?),
        },
        issuer: query.one("iss"),
    };
    let now = state.clock.now().as_second();
    let claims = provider.finish(secret, came_back, now).await;
    let claims = claims.map_err(refused)?;
    let matching = settings(&state.people).await?.matching;
    // some providers write it as a text
    let verified = claims.get("email_verified");
    let verified = verified.is_none_or(|it| *it == true || *it == "true");
    let unsure = matching.claim == "email" && !verified;
    let name = claims
        .get(&matching.claim)
        .and_then(serde_json::Value::as_str)
        .filter(|name| !name.is_empty() && !unsure);
    of_the_course(state, caller, name.ok_or_else(unnamed)?, matching.by).await
}

async fn of_the_course(
    state: &AppState,
    caller: &Caller,
    name: &str,
    by: MatchedBy,
) -> PageResult<Person> {
    let person = person_named(&state.people, name, by).await?;
    if person.is_none() {
        note_stranger(&state.people, &caller.network, state.clock.now()).await?;
    }
    person.ok_or_else(|| PageError::forbidden(message!("campus.stranger")))
}

fn unnamed() -> PageError {
    PageError::forbidden(message!("campus.unnamed"))
}

pub(super) fn refused(why: CampusFault) -> PageError {
    tracing::warn!(error = ?why.to_string(), "the institution's sign-in let nobody in");
    match why {
        CampusFault::Token(why) => {
            PageError::forbidden(message!("campus.not-believed", why = of_token(&why)))
        }
        CampusFault::Refused(why) => PageError::forbidden(message!("campus.refused", why = why)),
        CampusFault::Unreachable(_) | CampusFault::Setting(_) => {
            PageError::new(StatusCode::BAD_GATEWAY, message!("campus.silent"))
        }
    }
}

fn cookie_name(settings: &Settings) -> &'static str {
    if settings.secure_cookies {
        "__Host-concordant-campus"
    } else {
        "concordant-campus"
    }
}

fn cookie(settings: &Settings, value: String) -> Cookie<'static> {
    Cookie::build((cookie_name(settings), value))
        .path("/")
        .http_only(true)
        .secure(settings.secure_cookies)
        .same_site(SameSite::Lax)
        .build()
}

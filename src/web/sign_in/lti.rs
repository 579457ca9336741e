//! Launches by LTI 1.3: a platform sends a browser here, it is sent on to be named, and comes back with a message. The two
//! routes are the only ones to which another site may post.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::{Cookie, SameSite};

use super::campus::{BY_PLATFORM, let_in, refused as token_refused};
use super::refusals::{of_launch, of_login};
use super::{Caller, local};
use crate::campus::{Claims, Expected, KeyRing, nonce, state};
use crate::desk::campus::note_stranger;
use crate::desk::lti::{Launched, launched, platforms, published};
use crate::form::Typed;
use crate::language::{Message, message};
use crate::lti::{ALGORITHMS, LoginRequest, Platform, asked, launch};
use crate::web::error::{PageError, PageResult};
use crate::web::fields::{Fields, OpenFields, QueryFields};
use crate::web::public::PublicAddress;
use crate::web::random_key;
use crate::web::state::{AppState, Settings};
use crate::web::visitor::Anyone;

/// How many seconds somebody may take at the platform.
const LONGEST: i64 = 600;
/// Seconds that a message which was used is remembered; longer than it may take to come back.
const REMEMBERED: i64 = 24 * 60 * 60;

/// Seconds for which a code holds.
const OFFERED: i64 = 15 * 60;

/// What a server keeps of launches: keys by their address, and messages that were used.
#[derive(Clone, Default)]
pub struct Launches {
    rings: Arc<Mutex<BTreeMap<String, Arc<KeyRing>>>>,
    used: Arc<Mutex<BTreeMap<String, i64>>>,
    /// Codes by which a coordinator says which course one of a platform is: its name there, and when it was given out.
    offers: Arc<Mutex<BTreeMap<String, (String, i64)>>>,
}

impl Launches {
    fn key_ring(&self, address: &str) -> Arc<KeyRing> {
        let mut rings = self.rings.lock().unwrap_or_else(PoisonError::into_inner);
        let held = rings.entry(address.to_owned());
        Arc::clone(held.or_insert_with(|| Arc::new(KeyRing::new(address))))
    }

    /// A code for a course of a platform, given to whoever was launched from there as one who teaches it.
    fn offer(&self, context: String, now: i64) -> PageResult<String> {
        let random = random_key()?;
        let parts = [0, 4, 8].map(|at| &random[at..at + 4]);
        let code = parts.join("-");
        let mut offers = self.offers.lock().unwrap_or_else(PoisonError::into_inner);
        offers.retain(|_, (_, at)| now.saturating_sub(*at) < OFFERED);
        offers.insert(code.clone(), (context, now));
        Ok(code)
    }

    /// The course of a platform that a code is for.
    pub(in crate::web) fn offered(&self, code: &str, now: i64) -> Option<String> {
        let code = code.trim().to_lowercase();
        let offers = self.offers.lock().unwrap_or_else(PoisonError::into_inner);
        let (context, at) = offers.get(&code)?;
        (now.saturating_sub(*at) < OFFERED).then(|| context.clone())
    }

    /// A code that was used is used no more.
    pub(in crate::web) fn used_up(&self, code: &str) {
        let mut offers = self.offers.lock().unwrap_or_else(PoisonError::into_inner);
        offers.remove(&code.trim().to_lowercase());
    }

    /// Whether a message is used for the first time.
    fn is_first(&self, nonce: String, now: i64) -> bool {
        let mut used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        used.retain(|_, at| *at > now.saturating_sub(REMEMBERED));
        used.insert(nonce, now).is_none()
    }
}

/// `GET /lti/login`: the beginning of a launch.
pub(super) async fn login(
    State(state): State<AppState>,
    caller: Caller,
    public: PublicAddress,
    jar: CookieJar,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let _turn = state.gate.enter(&state, &caller).await?;
    begin(&state, &public, jar, &query).await
}

/// `POST /lti/login`: the same; both have to be there (Security Framework 1.0, 5.1.1.1).
pub(super) async fn login_posted(
    State(state): State<AppState>,
    public: PublicAddress,
    jar: CookieJar,
    OpenFields(fields, _turn): OpenFields,
) -> PageResult<Response> {
    begin(&state, &public, jar, &fields).await
}

async fn begin(
    app: &AppState,
    public: &PublicAddress,
    jar: CookieJar,
    fields: &Fields,
) -> PageResult<Response> {
    let known = platforms(&app.people).await?;
    let request = LoginRequest {
        issuer: fields.text("iss"),
        login_hint: fields.text("login_hint"),
        target: fields.text("target_link_uri"),
        message_hint: fields.one("lti_message_hint"),
        client: fields.one("client_id"),
        deployment: fields.one("lti_deployment_id"),
    };
    let platform = request.platform(&known);
    let platform = platform.map_err(|why| not_launched(of_login(&why)))?;
    let secret = format!("{}{}", random_key()?, random_key()?);
    let begun = app.clock.now().as_second();
    let back = format!("{}/lti/launch", public.0);
    let own = (&*state(&secret), &*nonce(&secret));
    let address = asked(platform, &request, &back, own);
    let encoded =
        |text: &str| -> String { form_urlencoded::byte_serialize(text.as_bytes()).collect() };
    let kept = format!(
        "{secret}.{begun}.{}~{}",
        encoded(&platform.issuer),
        encoded(&platform.client)
    );
    let jar = jar.add(cookie(&app.settings, kept));
    Ok((jar, Redirect::to(&address)).into_response())
}

/// `POST /lti/launch`: whoever comes back from the platform.
pub(super) async fn come(
    State(app): State<AppState>,
    anyone: Anyone,
    caller: Caller,
    public: PublicAddress,
    jar: CookieJar,
    OpenFields(fields, _turn): OpenFields,
) -> PageResult<Response> {
    let now = app.clock.now().as_second();
    let kept = jar.get(cookie_name(&app.settings)).map(Cookie::value);
    let (secret, issuer, client) = kept
        .and_then(|kept| begun(kept, now))
        .ok_or_else(|| PageError::forbidden(message!("launch.not-begun")))?;
    if fields.text("state") != state(secret) {
        return Err(PageError::forbidden(message!("launch.another")));
    }
    // an error in the place of a message (OpenID Connect Core 1.0, 3.1.2.6)
    if let Some(error) = fields.one("error") {
        let known = |c: &char| c.is_ascii_alphanumeric() || "_-. ".contains(*c);
        let error: String = error.chars().filter(known).take(80).collect();
        return Err(not_launched(message!("launch.said", error = error)));
    }
    let known = platforms(&app.people).await?;
    let same = |one: &&Platform| one.issuer == issuer && one.client == client;
    let all: Vec<&Platform> = known.iter().filter(same).collect();
    let platform = *all
        .first()
        .ok_or_else(|| not_launched(message!("launch.registered-no-more")))?;
    let claims = believed(&app, platform, fields.text("id_token"), (secret, now)).await?;
    let deployments: Vec<&str> = all.iter().map(|one| one.deployment.as_str()).collect();
    let launch = launch(&claims, platform, &deployments);
    let launch = launch.map_err(|why| not_launched(of_launch(&why)))?;
    let at = app.clock.now();
    let (person, course) = match launched(&app.people, platform, &launch, at).await? {
        Launched::By(person, course) => (person, course),
        Launched::Nobody { named, teaches } => {
            note_stranger(&app.people, &caller.network, at).await?;
            return Err(nobody(&app, named, teaches, now)?);
        }
    };
    // a launch is gone through once
    let jar = jar.remove(cookie(&app.settings, String::new()));
    let next = next_page(&launch.target, &public, course.as_deref());
    let fields = Fields(Typed::from([("next", next.as_str())]));
    let how = BY_PLATFORM;
    let_in(&app, &anyone, (jar, &caller), (person, how), fields).await
}

/// Where a launch ends: at a page of ours, if the platform names one; else in the course that it is from.
fn next_page(target: &str, public: &PublicAddress, course: Option<&str>) -> String {
    let named = target.strip_prefix(&*public.0).and_then(local);
    let named = named.filter(|next| !next.starts_with("/lti/"));
    match (named, course.unwrap_or_default()) {
        (Some(next), _) => next.to_owned(),
        (None, "") => String::new(),
        (None, course) => format!("/c/{course}/"),
    }
}

/// `GET /lti/keys`: the public keys of this server (RFC 7517).
pub(super) async fn keys(State(app): State<AppState>) -> PageResult<Response> {
    let (_, set) = published(&app.people, app.clock.now()).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/json"),
        // a new key is looked for anew
        (header::CACHE_CONTROL, "public, max-age=300"),
    ];
    Ok((headers, set).into_response())
}

/// What a message says, if the platform signed it for this launch, and it is used for the first time.
async fn believed(
    app: &AppState,
    platform: &Platform,
    token: &str,
    (secret, now): (&str, i64),
) -> PageResult<Claims> {
    let nonce = nonce(secret);
    let expected = Expected {
        issuer: &platform.issuer,
        client: &platform.client,
        nonce: &nonce,
        now,
        algorithms: &ALGORITHMS,
    };
    let keys = app.launches.key_ring(&platform.keys);
    let claims = keys.claims(token, expected).await.map_err(token_refused)?;
    // Security Framework 1.0, 5.1.3, 9: no nonce twice
    if !app.launches.is_first(nonce, now) {
        return Err(not_launched(message!("launch.used-before")));
    }
    Ok(claims)
}

/// What a browser kept while it was at the platform, if that was not long ago.
fn begun(kept: &str, now: i64) -> Option<(&str, String, String)> {
    let (secret, rest) = kept.split_once('.')?;
    let (begun, rest) = rest.split_once('.')?;
    let (issuer, client) = rest.split_once('~')?;
    let begun: i64 = begun.parse().ok()?;
    let decoded = |text: &str| {
        let mut pairs = form_urlencoded::parse(text.as_bytes());
        pairs.next().map(|(text, _)| text.into_owned())
    };
    let recent = now.checked_sub(begun)? <= LONGEST;
    recent.then_some((secret, decoded(issuer)?, decoded(client)?))
}

/// Nobody of the lists. Whoever teaches the course that it is from is given a code, by which a coordinator who is signed in
/// otherwise says which course it is: no more than that, and it opens nothing.
fn nobody(app: &AppState, named: bool, teaches: Option<String>, now: i64) -> PageResult<PageError> {
    let why = match named {
        true => message!("launch.stranger"),
        false => message!("launch.refused", why = message!("launch.unnamed")),
    };
    let Some(context) = teaches else {
        return Ok(PageError::forbidden(why));
    };
    let code = app.launches.offer(context, now)?;
    let why = message!("launch.with-code", why = why);
    Ok(PageError::forbidden(why.with("code", code)))
}

fn not_launched(why: Message) -> PageError {
    PageError::forbidden(message!("launch.refused", why = why))
}

fn cookie_name(settings: &Settings) -> &'static str {
    if settings.secure_cookies {
        "__Host-concordant-lti"
    } else {
        "concordant-lti"
    }
}

/// The one cookie that comes along when another site posts: it holds a secret of this launch and opens nothing.
fn cookie(settings: &Settings, value: String) -> Cookie<'static> {
    Cookie::build((cookie_name(settings), value))
        .path("/")
        .http_only(true)
        .secure(true)
        .same_site(SameSite::None)
        .build()
}

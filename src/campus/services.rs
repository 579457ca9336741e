//! Services of a platform, asked for by a token that is had for a signed request (RFC 6749, 4.4; RFC 7523, 2.2 and 3) and
//! kept until shortly before it ends. No token is shown, logged or sent to another host than it was given for.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use serde::Deserialize;
use serde_json::json;
use tokio::sync::Semaphore;
use ureq::Agent;
use ureq::http::{Request, Response};

use super::own_key::OwnKey;
use super::provider::{agent, is_loopback, plain};
use crate::words::hexadecimal;

/// A token is not used in the last so many seconds.
const BEFORE_THE_END: i64 = 60;
/// What a token holds that does not say how long.
const UNSAID: i64 = 3_600;
/// Seconds for which a request for a token holds.
const ASSERTION_HOLDS: i64 = 300;
/// Most bytes of an answer: a page of members.
const MOST_BYTES: u64 = 16 * 1024 * 1024;
/// Questions that are under way together.
const AT_ONCE: usize = 8;
/// As what a request for a token is signed (RFC 7523, 2.2).
const ASSERTION: &str = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";

/// What we are at a platform.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// What we are called there.
    pub client: String,
    /// Address at which tokens are had.
    pub token: String,
    /// Whom a request for one is made out to.
    pub audience: String,
}

/// What a service is asked.
#[derive(Clone, Debug)]
pub struct Ask {
    pub address: String,
    /// Media type that is wanted, or sent.
    pub kind: &'static str,
    /// Sent if there is one; asked for otherwise.
    pub body: Option<String>,
    /// What the token has to be good for, with spaces between.
    pub scopes: String,
}

/// What a service answers that did what it was asked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answer {
    pub body: String,
    /// Where more is (RFC 8288).
    pub link: Option<String>,
}

/// Why a service did not do what it was asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ServiceFault {
    /// Another time it may.
    #[error("the platform cannot be had: {0}")]
    Away(String),
    /// The same, and it is there: this one question it cannot answer now.
    #[error("the platform cannot be had: it answers with status {0}")]
    NotNow(u16),
    /// It knows us not, or not for this.
    #[error("the platform gives this server no token: {0}")]
    NoToken(String),
    #[error("the platform refused it with status {0}")]
    Refused(u16),
    #[error("the platform\u{2019}s answer is not what the standard asks for: {0}")]
    Form(String),
}

/// Asks services of platforms.
pub struct Services {
    /// By whom, where and for what.
    tokens: Mutex<BTreeMap<[String; 3], Token>>,
    turns: Semaphore,
    stopping: AtomicBool,
}

#[derive(Clone)]
struct Token {
    text: String,
    until: i64,
}

#[derive(Deserialize)]
struct Given {
    access_token: Option<String>,
    token_type: Option<String>,
    expires_in: Option<i64>,
    error: Option<String>,
}

impl Default for Services {
    fn default() -> Self {
        Self {
            tokens: Mutex::default(),
            turns: Semaphore::new(AT_ONCE),
            stopping: AtomicBool::new(false),
        }
    }
}

impl Services {
    /// Asks a service at `now`, in seconds since 1970, with a token that is had by `key`.
    pub async fn ask(
        self: &Arc<Self>,
        account: &Account,
        key: &Arc<OwnKey>,
        ask: Ask,
        now: i64,
    ) -> Result<Answer, ServiceFault> {
        let held = self.held(account, &ask.scopes, now);
        let was_held = held.is_some();
        let token = match held {
            Some(token) => token,
            None => self.fresh(account, key, &ask.scopes, now).await?,
        };
        match self.once(account, ask.clone(), token).await {
            // it ended before its time
            Err(ServiceFault::Refused(401)) if was_held => {
                let token = self.fresh(account, key, &ask.scopes, now).await?;
                self.once(account, ask, token).await.map_err(unknown)
            }
            answer => answer.map_err(unknown),
        }
    }

    /// Nothing is begun any more that can wait.
    pub fn stop(&self) {
        self.stopping.store(true, Ordering::Release);
    }

    pub fn is_stopping(&self) -> bool {
        self.stopping.load(Ordering::Acquire)
    }

    fn held(&self, account: &Account, scopes: &str, now: i64) -> Option<String> {
        let tokens = self.tokens.lock().unwrap_or_else(PoisonError::into_inner);
        let token = tokens.get(&place(account, scopes))?;
        (now < token.until).then(|| token.text.clone())
    }

    async fn fresh(
        self: &Arc<Self>,
        account: &Account,
        key: &Arc<OwnKey>,
        scopes: &str,
        now: i64,
    ) -> Result<String, ServiceFault> {
        let near = is_loopback(&account.token);
        let mut unique = [0_u8; 16];
        getrandom::fill(&mut unique).map_err(|why| ServiceFault::NoToken(why.to_string()))?;
        let unique = hexadecimal(&unique);
        let claims = json!({
            "iss": account.client,
            "sub": account.client,
            "aud": account.audience,
            "iat": now,
            "exp": now.saturating_add(ASSERTION_HOLDS),
            "jti": unique,
        });
        let signed = key.signed(&claims);
        let signed = signed.map_err(|why| ServiceFault::NoToken(why.to_string()))?;
        let form = form_urlencoded::Serializer::new(String::new())
            .append_pair("grant_type", "client_credentials")
            .append_pair("client_assertion_type", ASSERTION)
            .append_pair("client_assertion", &signed)
            .append_pair("scope", scopes)
            .finish();
        let request = Request::post(&account.token)
            .header("content-type", "application/x-www-form-urlencoded")
            .header("accept", "application/json")
            .body(form);
        let request = request.map_err(|why| ServiceFault::NoToken(why.to_string()))?;
        let (status, answer) = self.sent(near, request).await?;
        if is_passing(status) {
            let what = format!("it answers with status {status}");
            return Err(ServiceFault::Away(what));
        }
        let given: Option<Given> = serde_json::from_str(&answer.body).ok();
        let error = given.as_ref().and_then(|given| given.error.as_deref());
        if status != 200 || error.is_some() {
            let said = error.map(|error| format!(", {}", plain(error)));
            let what = format!("status {status}{}", said.unwrap_or_default());
            return Err(ServiceFault::NoToken(what));
        }
        let given = given.ok_or_else(|| ServiceFault::NoToken("found no JSON".into()))?;
        let bearer = given.token_type.as_deref().unwrap_or("bearer");
        let text = given.access_token.filter(|text| {
            // it goes into a header
            bearer.eq_ignore_ascii_case("bearer")
                && !text.is_empty()
                && text.chars().all(|c| c.is_ascii_graphic())
        });
        let text =
            text.ok_or_else(|| ServiceFault::NoToken("found no token of a bearer in it".into()))?;
        let holds = given.expires_in.unwrap_or(UNSAID);
        let token = Token {
            text: text.clone(),
            until: now.saturating_add(holds).saturating_sub(BEFORE_THE_END),
        };
        let mut tokens = self.tokens.lock().unwrap_or_else(PoisonError::into_inner);
        tokens.retain(|_, token| now < token.until);
        tokens.insert(place(account, scopes), token);
        Ok(text)
    }

    async fn once(
        self: &Arc<Self>,
        account: &Account,
        ask: Ask,
        token: String,
    ) -> Result<Answer, ServiceFault> {
        let near = is_loopback(&account.token) && is_loopback(&ask.address);
        let form = |why: ureq::http::Error| ServiceFault::Form(why.to_string());
        let bearer = format!("Bearer {token}");
        let request = match ask.body {
            Some(body) => Request::post(&ask.address)
                .header("authorization", bearer)
                .header("content-type", ask.kind)
                .header("accept", format!("{}, application/json", ask.kind))
                .body(body),
            None => Request::get(&ask.address)
                .header("authorization", bearer)
                .header("accept", ask.kind)
                .body(String::new()),
        };
        let (status, answer) = self.sent(near, request.map_err(form)?).await?;
        match status {
            200..=299 => Ok(answer),
            status if is_passing(status) => Err(ServiceFault::NotNow(status)),
            status => Err(ServiceFault::Refused(status)),
        }
    }

    /// The client waits for the network, so it has a thread of its own.
    async fn sent(
        self: &Arc<Self>,
        near: bool,
        request: Request<String>,
    ) -> Result<(u16, Answer), ServiceFault> {
        let turn = self.turns.acquire().await;
        let sent = tokio::task::spawn_blocking(move || {
            let agent: Agent = agent(near);
            // a GET has no body
            let answer = match request.method().as_str() {
                "GET" => agent.run(request.map(|_| ())),
                _ => agent.run(request),
            };
            read(answer)
        });
        let sent = sent.await;
        drop(turn);
        sent.map_err(|why| ServiceFault::Away(why.to_string()))?
    }
}

impl std::fmt::Debug for Services {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Services")
    }
}

fn read(answer: Result<Response<ureq::Body>, ureq::Error>) -> Result<(u16, Answer), ServiceFault> {
    let mut answer = answer.map_err(unanswered)?;
    let links = answer.headers().get_all("link").iter();
    let links: Vec<&str> = links.filter_map(|link| link.to_str().ok()).collect();
    let link = (!links.is_empty()).then(|| links.join(", "));
    let body = answer.body_mut().with_config().limit(MOST_BYTES);
    let body = body.read_to_string().map_err(unanswered)?;
    Ok((answer.status().as_u16(), Answer { body, link }))
}

/// In words that somebody can do something with.
fn unanswered(why: ureq::Error) -> ServiceFault {
    let words = match &why {
        ureq::Error::Timeout(_) => "it does not answer in time".to_owned(),
        ureq::Error::HostNotFound => "its name is not known".to_owned(),
        ureq::Error::Io(_) | ureq::Error::ConnectionFailed => "nothing answers there".to_owned(),
        ureq::Error::BodyExceedsLimit(_) => "its answer is too long".to_owned(),
        other => other.to_string(),
    };
    ServiceFault::Away(words)
}

/// A status that may be another one in a while.
fn is_passing(status: u16) -> bool {
    matches!(status, 408 | 425 | 429 | 500..=599)
}

/// A token that was given just now, and is not taken.
fn unknown(why: ServiceFault) -> ServiceFault {
    match why {
        ServiceFault::Refused(401) => {
            ServiceFault::NoToken("the one it gave just now is not taken".into())
        }
        other => other,
    }
}

fn place(account: &Account, scopes: &str) -> [String; 3] {
    [
        account.client.clone(),
        account.token.clone(),
        scopes.to_owned(),
    ]
}

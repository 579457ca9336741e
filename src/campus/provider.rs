//! A provider of OpenID Connect: where it is found, where a browser is sent, what comes back (OpenID Connect Core 1.0,
//! 3.1, and Discovery 1.0; RFC 7636 for the proof that whoever comes back is whoever was sent).

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use serde::Deserialize;
use sha2::{Digest, Sha256};
use tokio::sync::Semaphore;
use ureq::Agent;

use super::CampusFault;
use super::token::{ALGORITHMS, Claims, Expected, Key, TokenFault, claims};

/// Seconds until a provider's addresses and keys are asked for again.
pub(super) const KEPT: i64 = 60 * 60;
/// The same where a token names a key that is not among them.
pub(super) const SOONEST: i64 = 60;
/// Seconds that a token which was used is remembered; longer than it may take to come back.
const REMEMBERED: i64 = 24 * 60 * 60;
/// How long the provider may take to answer.
const LONGEST: Duration = Duration::from_secs(10);
/// Most bytes of an answer.
const MOST_BYTES: u64 = 1024 * 1024;
/// Questions to the provider that are under way together.
const AT_ONCE: usize = 8;

/// What a provider is known by, and what we are called there.
#[derive(Clone)]
pub struct ProviderSettings {
    /// Such as `https://login.example.edu`, exactly as the provider writes it.
    pub issuer: String,
    pub client: String,
    /// None for a client without one, which the proof of RFC 7636 protects.
    pub secret: Option<String>,
    /// Where the provider sends people back to.
    pub back: String,
}

/// What a browser brings back from the provider.
#[derive(Clone, Copy, Debug)]
pub struct CameBack<'a> {
    /// A code, or why there is none.
    pub code: Result<&'a str, &'a str>,
    /// Who sent it back, if that is said.
    pub issuer: Option<&'a str>,
}

pub struct Provider {
    settings: ProviderSettings,
    agent: Agent,
    found: Mutex<Option<Arc<Found>>>,
    /// Nonces of tokens that let somebody in, and when.
    used: Mutex<BTreeMap<String, i64>>,
    turns: Semaphore,
}

/// What the provider says of itself.
struct Found {
    at: i64,
    authorize: String,
    token: String,
    /// Whether it takes our secret in the form only.
    secret_in_form: bool,
    /// Whether whoever comes back brings its name along (RFC 9207).
    names_itself: bool,
    keys: Vec<Key>,
}

#[derive(Deserialize)]
struct Discovery {
    issuer: String,
    authorization_endpoint: String,
    token_endpoint: String,
    jwks_uri: String,
    #[serde(default)]
    token_endpoint_auth_methods_supported: Vec<String>,
    #[serde(default)]
    authorization_response_iss_parameter_supported: bool,
}

#[derive(Deserialize)]
struct KeySet {
    /// Each by itself: a key of a kind that is not known is none of ours.
    keys: Vec<serde_json::Value>,
}

#[derive(Deserialize)]
struct Answer {
    id_token: Option<String>,
    error: Option<String>,
}

impl Provider {
    pub fn new(settings: ProviderSettings) -> Result<Self, CampusFault> {
        let near = is_loopback(&settings.issuer);
        if !settings.issuer.starts_with("https://") && !near {
            return Err(CampusFault::Setting(format!(
                "found the issuer \u{201c}{}\u{201d}, expected an address that begins with https://",
                settings.issuer
            )));
        }
        Ok(Self {
            settings,
            agent: agent(near),
            found: Mutex::default(),
            used: Mutex::default(),
            turns: Semaphore::new(AT_ONCE),
        })
    }

    /// The issuer, as people know it.
    pub fn issuer(&self) -> &str {
        &self.settings.issuer
    }

    /// Where to send a browser that keeps `secret` until it comes back.
    pub async fn begin(self: &Arc<Self>, secret: &str, now: i64) -> Result<String, CampusFault> {
        let found = self.found(now, KEPT).await?;
        let proof = Sha256::digest(verifier(secret));
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.extend_pairs([
            ("response_type", "code"),
            ("client_id", &self.settings.client),
            ("redirect_uri", &self.settings.back),
            ("scope", "openid profile email"),
            ("state", &state(secret)),
            ("nonce", &nonce(secret)),
            ("code_challenge", &URL_SAFE_NO_PAD.encode(proof)),
            ("code_challenge_method", "S256"),
        ]);
        let joined = if found.authorize.contains('?') {
            '&'
        } else {
            '?'
        };
        Ok(format!("{}{joined}{}", found.authorize, query.finish()))
    }

    /// What the provider says of whoever came back with a code or an error, sent by whom they say.
    pub async fn finish(
        self: &Arc<Self>,
        secret: &str,
        came_back: CameBack<'_>,
        now: i64,
    ) -> Result<Claims, CampusFault> {
        let found = self.found(now, KEPT).await?;
        // no code of one provider goes to another (RFC 9207, 2.4)
        let issuer = came_back.issuer;
        if issuer.map_or(found.names_itself, |issuer| issuer != self.settings.issuer) {
            let issuer = plain(issuer.unwrap_or("nobody"));
            let why = format!("it came back from \u{201c}{issuer}\u{201d}");
            return Err(CampusFault::Refused(why));
        }
        let code = came_back
            .code
            .map_err(|error| CampusFault::Refused(plain(error)))?;
        let token = self.token(Arc::clone(&found), secret, code).await?;
        let nonce = nonce(secret);
        let expected = Expected {
            issuer: &self.settings.issuer,
            client: &self.settings.client,
            nonce: &nonce,
            now,
            algorithms: &ALGORITHMS,
        };
        let read = match claims(&token, &found.keys, expected) {
            // providers change their keys
            Err(TokenFault::UnknownKey) => {
                let found = self.found(now, SOONEST).await?;
                claims(&token, &found.keys, expected)
            }
            read => read,
        }?;
        let mut used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        used.retain(|_, at| *at > now.saturating_sub(REMEMBERED));
        if used.insert(nonce, now).is_some() {
            return Err(TokenFault::Replayed.into());
        }
        Ok(read)
    }

    /// What the provider says of itself, asked for again if it is older than that.
    async fn found(self: &Arc<Self>, now: i64, oldest: i64) -> Result<Arc<Found>, CampusFault> {
        let kept = {
            let found = self.found.lock().unwrap_or_else(PoisonError::into_inner);
            found.clone()
        };
        if let Some(kept) = kept
            && now.saturating_sub(kept.at) < oldest
        {
            return Ok(kept);
        }
        let provider = Arc::clone(self);
        let found = self.turn(move || provider.look(now)).await?;
        let found = Arc::new(found);
        let mut kept = self.found.lock().unwrap_or_else(PoisonError::into_inner);
        *kept = Some(Arc::clone(&found));
        Ok(found)
    }

    /// The client waits for the network, so it has a thread of its own.
    async fn turn<T: Send + 'static>(
        &self,
        ask: impl FnOnce() -> Result<T, CampusFault> + Send + 'static,
    ) -> Result<T, CampusFault> {
        let turn = self.turns.acquire().await;
        let asked = tokio::task::spawn_blocking(ask).await;
        drop(turn);
        asked.map_err(unreachable)?
    }

    fn look(&self, now: i64) -> Result<Found, CampusFault> {
        let issuer = self.settings.issuer.trim_end_matches('/');
        let about: Discovery = self.get(&format!("{issuer}/.well-known/openid-configuration"))?;
        if about.issuer != self.settings.issuer {
            return Err(unreachable(format!(
                "found the issuer \u{201c}{}\u{201d}, expected \u{201c}{}\u{201d}",
                about.issuer, self.settings.issuer
            )));
        }
        let address = &about.authorization_endpoint;
        let near = is_loopback(issuer) && is_loopback(address);
        if !address.starts_with("https://") && !near {
            return Err(unreachable("found an address without TLS, expected https"));
        }
        let keys = read_keys(&self.agent, &about.jwks_uri)?;
        let methods = about.token_endpoint_auth_methods_supported;
        let takes = |method: &str| methods.iter().any(|one| one == method);
        Ok(Found {
            at: now,
            authorize: about.authorization_endpoint,
            token: about.token_endpoint,
            names_itself: about.authorization_response_iss_parameter_supported,
            secret_in_form: takes("client_secret_post") && !takes("client_secret_basic"),
            keys,
        })
    }

    fn get<T: serde::de::DeserializeOwned>(&self, address: &str) -> Result<T, CampusFault> {
        get(&self.agent, address)
    }

    /// The ID token for a code.
    async fn token(
        self: &Arc<Self>,
        found: Arc<Found>,
        secret: &str,
        code: &str,
    ) -> Result<String, CampusFault> {
        let (provider, verifier, code) = (Arc::clone(self), verifier(secret), code.to_owned());
        let answer = self.turn(move || {
            let settings = &provider.settings;
            let mut form = vec![
                ("grant_type", "authorization_code"),
                ("code", code.as_str()),
                ("redirect_uri", settings.back.as_str()),
                ("client_id", settings.client.as_str()),
                ("code_verifier", verifier.as_str()),
            ];
            let mut request = provider.agent.post(&found.token);
            match &settings.secret {
                Some(own) if found.secret_in_form => form.push(("client_secret", own)),
                Some(own) => {
                    // RFC 6749, 2.3.1
                    let encoded = |text: &str| -> String {
                        form_urlencoded::byte_serialize(text.as_bytes()).collect()
                    };
                    let both = format!("{}:{}", encoded(&settings.client), encoded(own));
                    let basic = format!("Basic {}", STANDARD.encode(both));
                    request = request.header("authorization", basic);
                }
                None => {}
            }
            let answer = request.send_form(form).map_err(unreachable)?;
            read::<Answer>(answer)
        });
        let answer = answer.await?;
        if let Some(error) = answer.error {
            return Err(CampusFault::Refused(plain(&error)));
        }
        Ok(answer.id_token.ok_or(TokenFault::Form)?)
    }
}

impl std::fmt::Debug for Provider {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Provider({})", self.settings.issuer)
    }
}

/// Asks with TLS, or on this machine; follows nothing that leads elsewhere.
pub(super) fn agent(near: bool) -> Agent {
    let mut config = Agent::config_builder()
        .timeout_global(Some(LONGEST))
        .max_redirects(0)
        .http_status_as_error(false)
        .https_only(!near);
    if near {
        config = config.proxy(None);
    }
    config.build().into()
}

/// The keys at an address that are of a kind we know.
pub(super) fn read_keys(agent: &Agent, address: &str) -> Result<Vec<Key>, CampusFault> {
    let set: KeySet = get(agent, address)?;
    let keys = set.keys.into_iter();
    Ok(keys
        .filter_map(|key| serde_json::from_value(key).ok())
        .collect())
}

fn get<T: serde::de::DeserializeOwned>(agent: &Agent, address: &str) -> Result<T, CampusFault> {
    read(agent.get(address).call().map_err(unreachable)?)
}

/// What a browser comes back with, if it is the one that was sent.
pub fn state(secret: &str) -> String {
    derived("state", secret)
}

/// A code of an error, without anything that a page or log would take for more.
pub(super) fn plain(code: &str) -> String {
    let known = |c: &char| c.is_ascii_alphanumeric() || "_-. ".contains(*c);
    code.chars().filter(known).take(80).collect()
}

pub fn nonce(secret: &str) -> String {
    derived("nonce", secret)
}

fn verifier(secret: &str) -> String {
    derived("verifier", secret)
}

/// Three texts from one, none of which leads to the others.
fn derived(what: &str, secret: &str) -> String {
    URL_SAFE_NO_PAD.encode(Sha256::digest(format!("{what}\u{1f}{secret}")))
}

fn read<T: serde::de::DeserializeOwned>(
    mut answer: ureq::http::Response<ureq::Body>,
) -> Result<T, CampusFault> {
    let status = answer.status();
    let body = answer.body_mut().with_config().limit(MOST_BYTES);
    let body = body.read_to_string().map_err(unreachable)?;
    serde_json::from_str(&body)
        .map_err(|why| unreachable(format!("status {status}, no JSON that is known: {why}")))
}

pub(super) fn unreachable(why: impl std::fmt::Display) -> CampusFault {
    CampusFault::Unreachable(why.to_string())
}

pub(super) fn is_loopback(address: &str) -> bool {
    let host = address.strip_prefix("http://").unwrap_or_default();
    let host = host.split('/').next().unwrap_or_default();
    ["127.0.0.1", "localhost", "[::1]"].iter().any(|near| {
        let rest = host.strip_prefix(near);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(':'))
    })
}

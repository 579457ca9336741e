//! An ID token of OpenID Connect: whether it is what the provider signed, for us, for this sign-in, now (OpenID Connect
//! Core 1.0, 3.1.3.7; RFC 7515, 7517, 7518, 7519).

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::signature::{
    ECDSA_P256_SHA256_FIXED, RSA_PKCS1_2048_8192_SHA256, RSA_PSS_2048_8192_SHA256,
    RsaPublicKeyComponents, UnparsedPublicKey,
};
use serde::Deserialize;
use serde_json::{Map, Value};

/// What a token says, once it is believed.
pub type Claims = Map<String, Value>;

/// So many seconds may two clocks differ.
const LEEWAY: i64 = 60;
/// So many seconds may pass between the signature and us: a token is fetched while it is made.
const OLDEST: i64 = 10 * 60;

/// Algorithms that are taken. `none` and those with a shared key are not among them, whatever a token says.
pub const ALGORITHMS: [&str; 3] = ["RS256", "PS256", "ES256"];

/// A public key of a provider (RFC 7517).
#[derive(Clone, Debug, Deserialize)]
pub struct Key {
    kty: String,
    kid: Option<String>,
    alg: Option<String>,
    #[serde(rename = "use")]
    purpose: Option<String>,
    #[serde(default)]
    n: String,
    #[serde(default)]
    e: String,
    #[serde(default)]
    crv: String,
    #[serde(default)]
    x: String,
    #[serde(default)]
    y: String,
}

/// What a token has to be for.
#[derive(Clone, Copy, Debug)]
pub struct Expected<'a> {
    pub issuer: &'a str,
    /// Our name at the provider.
    pub client: &'a str,
    /// What this sign-in was begun with.
    pub nonce: &'a str,
    /// Seconds since 1970.
    pub now: i64,
    /// Those that are taken, of [`ALGORITHMS`].
    pub algorithms: &'a [&'a str],
}

/// Why a token is not believed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenFault {
    #[error("found no ID token of three parts, expected one")]
    Form,
    #[error("found an ID token by the algorithm \u{201c}{found}\u{201d}, expected {expected}")]
    Algorithm { found: String, expected: String },
    #[error("found an ID token by a key that the provider does not list, expected one of its keys")]
    UnknownKey,
    #[error(
        "found an ID token whose signature is not the provider\u{2019}s, expected the provider\u{2019}s"
    )]
    Signature,
    #[error(
        "found an ID token of the issuer \u{201c}{found}\u{201d}, expected \u{201c}{expected}\u{201d}"
    )]
    Issuer { found: String, expected: String },
    #[error("found an ID token that is for somebody else, expected one for \u{201c}{0}\u{201d}")]
    Audience(String),
    #[error("found an ID token that has expired or says no time, expected one of this minute")]
    Expired,
    #[error("found an ID token of the future, expected one of this minute")]
    Early,
    #[error("found an ID token of another sign-in, expected one of this")]
    Nonce,
    #[error("found an ID token that was used before, expected a new one")]
    Replayed,
}

#[derive(Deserialize)]
struct Header {
    alg: String,
    kid: Option<String>,
    crit: Option<Value>,
}

/// What a token says, if it is signed by one of the keys and is what is expected.
pub fn claims(token: &str, keys: &[Key], expected: Expected<'_>) -> Result<Claims, TokenFault> {
    let parts: Vec<&str> = token.split('.').collect();
    let [header, payload, signature] = parts[..] else {
        return Err(TokenFault::Form);
    };
    let head: Header = read(header)?;
    // extensions that have to be understood are not (RFC 7515, 4.1.11)
    if head.crit.is_some() {
        return Err(TokenFault::Form);
    }
    let taken = |name: &&str| *name == head.alg;
    if !expected.algorithms.iter().any(taken) || !ALGORITHMS.iter().any(taken) {
        let name = head.alg.chars().filter(|c| c.is_ascii_alphanumeric());
        return Err(TokenFault::Algorithm {
            found: name.take(20).collect(),
            expected: in_words(expected.algorithms),
        });
    }
    let mut fitting = keys.iter().filter(|key| key.fits(&head));
    let key = fitting.next().ok_or(TokenFault::UnknownKey)?;
    if head.kid.is_none() && fitting.next().is_some() {
        return Err(TokenFault::UnknownKey);
    }
    let signature = bytes(signature)?;
    let signed = format!("{header}.{payload}");
    if !key.has_signed(&head.alg, signed.as_bytes(), &signature) {
        return Err(TokenFault::Signature);
    }
    let claims: Claims = read(payload)?;
    check(&claims, expected)?;
    Ok(claims)
}

/// `a`, `a or b`, `a, b or c`.
fn in_words(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

fn check(claims: &Claims, expected: Expected<'_>) -> Result<(), TokenFault> {
    let text = |name: &str| claims.get(name).and_then(Value::as_str);
    let seconds = |name: &str| {
        let number = claims.get(name)?;
        number.as_i64().or_else(|| {
            // a number of seconds may have decimals (RFC 7519, 2)
            let whole = number.as_f64()?.floor();
            format!("{whole}").parse().ok()
        })
    };
    let issuer = text("iss").unwrap_or_default();
    if issuer != expected.issuer {
        return Err(TokenFault::Issuer {
            found: issuer.chars().take(200).collect(),
            expected: expected.issuer.to_owned(),
        });
    }
    // there is nobody with whom we would share a token (3.1.3.7, 3)
    let is_us = |one: &Value| one.as_str() == Some(expected.client);
    let ours = match claims.get("aud") {
        Some(Value::Array(all)) => !all.is_empty() && all.iter().all(is_us),
        one => one.is_some_and(is_us),
    };
    if !ours || !claims.get("azp").is_none_or(is_us) {
        return Err(TokenFault::Audience(expected.client.to_owned()));
    }
    let (until, since) = (seconds("exp"), seconds("iat"));
    let oldest = expected.now.saturating_sub(OLDEST + LEEWAY);
    if until.is_none_or(|until| until.saturating_add(LEEWAY) <= expected.now)
        || since.is_some_and(|since| since < oldest)
    {
        return Err(TokenFault::Expired);
    }
    let latest = expected.now.saturating_add(LEEWAY);
    let not_before = claims
        .contains_key("nbf")
        .then(|| seconds("nbf").unwrap_or(i64::MAX));
    if since.is_none_or(|since| since > latest) || not_before.is_some_and(|at| at > latest) {
        return Err(TokenFault::Early);
    }
    if text("nonce") != Some(expected.nonce) {
        return Err(TokenFault::Nonce);
    }
    Ok(())
}

impl Key {
    fn fits(&self, head: &Header) -> bool {
        let kind = if head.alg == "ES256" { "EC" } else { "RSA" };
        let named = head.kid.is_none() || self.kid == head.kid;
        let same = self.alg.as_ref().is_none_or(|alg| *alg == head.alg);
        let signs = self.purpose.as_ref().is_none_or(|purpose| purpose == "sig");
        self.kty == kind && named && same && signs
    }

    fn has_signed(&self, algorithm: &str, text: &[u8], signature: &[u8]) -> bool {
        if algorithm == "ES256" {
            let (Ok(x), Ok(y)) = (bytes(&self.x), bytes(&self.y)) else {
                return false;
            };
            let point = [&[4], x.as_slice(), y.as_slice()].concat();
            let key = UnparsedPublicKey::new(&ECDSA_P256_SHA256_FIXED, point);
            return self.crv == "P-256" && key.verify(text, signature).is_ok();
        }
        let (Ok(n), Ok(e)) = (bytes(&self.n), bytes(&self.e)) else {
            return false;
        };
        let parameters = match algorithm {
            "PS256" => &RSA_PSS_2048_8192_SHA256,
            _ => &RSA_PKCS1_2048_8192_SHA256,
        };
        let key = RsaPublicKeyComponents { n, e };
        key.verify(parameters, text, signature).is_ok()
    }
}

fn bytes(part: &str) -> Result<Vec<u8>, TokenFault> {
    URL_SAFE_NO_PAD.decode(part).map_err(|_| TokenFault::Form)
}

fn read<T: serde::de::DeserializeOwned>(part: &str) -> Result<T, TokenFault> {
    serde_json::from_slice(&bytes(part)?).map_err(|_| TokenFault::Form)
}

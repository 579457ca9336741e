//! A small provider of OpenID Connect, from the standards alone (OpenID Connect Core 1.0 and Discovery 1.0, RFC 7636, RFC
//! 7515 to 7519), which can be made to say what no provider may.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Form, Router};
use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use ring::hmac;
use ring::rand::SystemRandom;
use ring::rsa::{KeyPairComponents, PublicKeyComponents};
use ring::signature::{
    ECDSA_P256_SHA256_FIXED_SIGNING, EcdsaKeyPair, KeyPair, RSA_PKCS1_SHA256, RsaKeyPair,
};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use tokio::net::TcpListener;

/// What we are called there, and our secret; signs in them have to be encoded (RFC 6749, 2.3.1).
pub const CLIENT: &str = "concordant lab";
pub const SECRET: &str = "only+the:two know";

/// The key of RFC 7515, A.2.
pub const N: &str = "ofgWCuLjybRlzo0tZWJjNiuSfb4p4fAkd_wWJcyQoTbji9k0l8W26mPddxHmfHQp-Vaw-4qPCJrcS2mJPMEzP1Pt0Bm4d4QlL-yRT-SFd2lZS-pCgNMsD1W_YpRPEwOWvG6b32690r2jZ47soMZo9wGzjb_7OMg0LOL-bSf63kpaSHSXndS5z5rexMdbBYUsLA9e-KXBdQOS-UTo7WTBEMa2R2CapHg665xsmtdVMTBQY4uDZlxvb3qCo5ZwKh9kG4LT6_I5IhlJH7aGhyxXFvUK-DWNmoudF8NAco9_h9iaGNj8q2ethFkMLs91kzk2PAcDTW9gb54h4FRWyuXpoQ";
const D: &str = "Eq5xpGnNCivDflJsRQBXHx1hdR1k6Ulwe2JZD50LpXyWPEAeP88vLNO97IjlA7_GQ5sLKMgvfTeXZx9SE-7YwVol2NXOoAJe46sui395IW_GO-pWJ1O0BkTGoVEn2bKVRUCgu-GjBVaYLU6f3l9kJfFNS3E0QbVdxzubSu3Mkqzjkn439X0M_V51gfpRLI9JYanrC4D4qAdGcopV_0ZHHzQlBjudU2QvXt4ehNYTCBr6XCLQUShb1juUO1ZdiYoFaFQT5Tw8bGUl_x_jTj3ccPDVZFD9pIuhLhBOneufuBiB4cS98l2SR_RQyGWSeWjnczT0QU91p1DhOVRuOopznQ";
const P: &str = "4BzEEOtIpmVdVEZNCqS7baC4crd0pqnRH_5IB3jw3bcxGn6QLvnEtfdUdiYrqBdss1l58BQ3KhooKeQTa9AB0Hw_Py5PJdTJNPY8cQn7ouZ2KKDcmnPGBY5t7yLc1QlQ5xHdwW1VhvKn-nXqhJTBgIPgtldC-KDV5z-y2XDwGUc";
const Q: &str = "uQPEfgmVtjL0Uyyx88GZFF1fOunH3-7cepKmtH4pxhtCoHqpWmT8YAmZxaewHgHAjLYsp1ZSe7zFYHj7C6ul7TjeLQeZD_YwD66t62wDmpe_HlB-TnBA-njbglfIsRLtXlnDzQkv5dTltRJ11BKBBypeeF6689rjcJIDEz9RWdc";
const DP: &str = "BwKfV3Akq5_MFZDFZCnW-wzl-CCo83WoZvnLQwCTeDv8uzluRSnm71I3QCLdhrqE2e9YkxvuxdBfpT_PI7Yz-FOKnu1R6HsJeDCjn12Sk3vmAktV2zb34MCdy7cpdTh_YVr7tss2u6vneTwrA86rZtu5Mbr1C1XsmvkxHQAdYo0";
const DQ: &str = "h_96-mK1R_7glhsum81dZxjTnYynPbZpHziZjeeHcXYsXaaMwkOlODsWa7I9xXDoRwbKgB719rrmI2oKr6N3Do9U0ajaHF-NKJnwgjMd2w9cjz3_-kyNlxAr2v4IKhGNpmM5iIgOS1VZnOZ68m6_pbLBSp3nssTdlqvd0tIiTHU";
const QI: &str = "IYd7DHOhrWvxkwPQsRM2tOgrjbcrfvtQJipd-DlcxyVuuM9sQLdgjVk2oy26F0EmpScGLq2MowX7fhd_QJQ3ydy5cY7YIBi87w93IKLEdfnbJtoOPLUW0ITrJReOgo1cq9SbsxYawBgfp_gh6A5603k2-ZQwVK0JKSHuLFkuQ3U";

/// What the provider does with the next token.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trick {
    Honest,
    /// Honest, by an elliptic curve.
    Curve,
    /// Honest, for us in a list that holds nobody else, and says that we asked.
    InAList,
    /// For us and somebody else, and says that we asked.
    AmongOthers,
    /// For us, and somebody else asked for it.
    OfAnother,
    WrongIssuer,
    WrongAudience,
    /// For us and somebody else, who asked for it.
    AskedByAnother,
    WrongNonce,
    NoNonce,
    Expired,
    NoExpiry,
    FromTheFuture,
    /// Lasts, and was made an hour ago.
    Old,
    /// `alg` is `none`, and there is no signature.
    Unsigned,
    /// `alg` is `HS256`, and the shared key is our public one, which everybody has.
    SharedKey,
    /// By another key than the one it names.
    WrongKey,
    /// By a key that is on no list.
    UnknownKey,
    /// Its text was changed after it was signed.
    Altered,
    /// The token of the sign-in before, as it was.
    SameAgain,
    NoToken,
    /// Sends whoever has a code and our secret on to somebody else, who gives an honest token.
    SentOn,
    /// Sends people back without its name, or with another's.
    Nameless,
    OfAnotherName,
}

pub struct Provider {
    pub address: String,
    told: Arc<Mutex<Told>>,
}

/// What a test says of the next sign-in.
struct Told {
    address: String,
    trick: Trick,
    claims: Value,
    /// Shows a page first, as providers do.
    asks: bool,
    /// Says that it gives its name to whoever it sends back (RFC 9207).
    names_itself: bool,
    /// What the name of its key ends in.
    key: u32,
    /// How often it was asked for its keys, and how much longer than they need the answer is.
    keys_asked_for: u32,
    padding: usize,
    /// Whether somebody came where nobody may be sent.
    was_lured: bool,
    /// Seconds since 1970, as the tests have it.
    now: i64,
    codes: BTreeMap<String, BTreeMap<String, String>>,
    last_token: String,
    curve: EcdsaKeyPair,
    other_curve: EcdsaKeyPair,
}

type Shared = State<Arc<Mutex<Told>>>;

impl Provider {
    pub async fn spawn(now: i64) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("an address"));
        let told = Arc::new(Mutex::new(Told {
            address: address.clone(),
            trick: Trick::Honest,
            claims: json!({}),
            asks: false,
            names_itself: false,
            key: 0,
            keys_asked_for: 0,
            padding: 0,
            was_lured: false,
            now,
            codes: BTreeMap::new(),
            last_token: String::new(),
            curve: curve(),
            other_curve: curve(),
        }));
        let router = Router::new()
            .route("/.well-known/openid-configuration", get(about))
            .route("/keys", get(keys))
            .route("/authorize", get(authorize))
            .route("/token", post(token))
            .route("/elsewhere", post(elsewhere))
            .with_state(Arc::clone(&told));
        tokio::spawn(async move { axum::serve(listener, router).await });
        Self { address, told }
    }

    /// Whom it names next, and how.
    pub fn says(&self, trick: Trick, claims: Value) {
        let mut told = self.told.lock().expect("no test panicked");
        (told.trick, told.claims) = (trick, claims);
    }

    /// From now on it shows a page first.
    pub fn asks(&self) {
        self.told.lock().expect("no test panicked").asks = true;
    }

    /// Says of itself that it gives its name to whoever it sends back.
    pub fn names_itself(&self) {
        self.told.lock().expect("no test panicked").names_itself = true;
    }

    /// Has a key of another name from now on.
    pub fn changes_its_key(&self) {
        self.told.lock().expect("no test panicked").key += 1;
    }

    /// Puts so many bytes more into its list of keys.
    pub fn pads_its_keys(&self, bytes: usize) {
        self.told.lock().expect("no test panicked").padding = bytes;
    }

    pub fn keys_asked_for(&self) -> u32 {
        self.told.lock().expect("no test panicked").keys_asked_for
    }

    pub fn was_lured(&self) -> bool {
        self.told.lock().expect("no test panicked").was_lured
    }
}

fn curve() -> EcdsaKeyPair {
    let random = SystemRandom::new();
    let document = EcdsaKeyPair::generate_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, &random);
    let document = document.expect("a key");
    EcdsaKeyPair::from_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, document.as_ref(), &random)
        .expect("the key just made")
}

async fn about(State(told): Shared) -> Response {
    let told = told.lock().expect("sound");
    let address = &told.address;
    json(json!({
        "authorization_response_iss_parameter_supported": told.names_itself,
        "issuer": address,
        "authorization_endpoint": format!("{address}/authorize"),
        "token_endpoint": format!("{address}/token"),
        "jwks_uri": format!("{address}/keys"),
        "response_types_supported": ["code"],
        "subject_types_supported": ["public"],
        "id_token_signing_alg_values_supported": ["RS256", "ES256"],
    }))
}

async fn keys(State(told): Shared) -> Response {
    let mut told = told.lock().expect("sound");
    told.keys_asked_for += 1;
    let name = told.key_name();
    // an uncompressed point: 4, then both coordinates
    let point = told.curve.public_key().as_ref();
    let (x, y) = point[1..].split_at(32);
    json(json!({ "padding": "p".repeat(told.padding), "keys": [
        { "kty": "RSA", "kid": name, "use": "sig", "alg": "RS256", "n": N, "e": "AQAB" },
        { "kty": "EC", "kid": "curve", "use": "sig", "crv": "P-256", "x": encode(x), "y": encode(y) },
        { "kty": "of a kind to come", "kid": "later", "parameters": [1, 2] },
    ]}))
}

fn json(value: Value) -> Response {
    ([("content-type", "application/json")], value.to_string()).into_response()
}

/// OpenID Connect Core 1.0, 3.1.2.
async fn authorize(
    State(told): Shared,
    Query(asked): Query<BTreeMap<String, String>>,
    headers: HeaderMap,
) -> Response {
    let mut told = told.lock().expect("sound");
    let field = |name: &str| asked.get(name).map(String::as_str).unwrap_or_default();
    let scopes: Vec<&str> = field("scope").split(' ').collect();
    let sound = field("response_type") == "code"
        && field("client_id") == CLIENT
        && scopes.contains(&"openid")
        && field("code_challenge_method") == "S256"
        && field("code_challenge").len() == 43
        && field("nonce").len() >= 22
        && field("state").len() >= 22
        && field("redirect_uri").ends_with("/sign-in/campus/back");
    assert!(sound, "{asked:?}");
    let referrer = headers.get("referer").map(|value| value.as_bytes());
    if told.asks && !asked.contains_key("yes") {
        assert!(
            referrer.is_none_or(|from| !from.ends_with(b"/student")),
            "the provider learns where somebody was"
        );
        let query = form_urlencoded::Serializer::new(String::new())
            .extend_pairs(&asked)
            .append_pair("yes", "1")
            .finish();
        let page = format!(
            "<!doctype html><title>Campus</title><h1>The campus</h1><a id=\"go\" href=\"/authorize?{query}\">It is me</a>"
        );
        return Html(page.replace('&', "&amp;")).into_response();
    }
    let code = encode(&Sha256::digest(format!("code {}", field("state"))));
    let back = form_urlencoded::Serializer::new(String::new())
        .append_pair("code", &code)
        .append_pair("state", field("state"))
        .finish();
    let name = match told.trick {
        Trick::Nameless => String::new(),
        Trick::OfAnotherName => "&iss=https%3A%2F%2Felsewhere.example".to_owned(),
        _ => format!("&iss={}", encoded(&told.address)),
    };
    let to = format!("{}?{back}{name}", field("redirect_uri"));
    told.codes.insert(code, asked);
    Redirect::to(&to).into_response()
}

/// OpenID Connect Core 1.0, 3.1.3. A code is taken as often as it comes, which no provider should do.
async fn token(
    State(told): Shared,
    headers: HeaderMap,
    Form(sent): Form<BTreeMap<String, String>>,
) -> Response {
    let mut told = told.lock().expect("sound");
    let who = headers
        .get("authorization")
        .and_then(|who| who.to_str().ok());
    let right = STANDARD.encode(format!("{}:{}", encoded(CLIENT), encoded(SECRET)));
    if who != Some(&format!("Basic {right}")) {
        return (
            StatusCode::UNAUTHORIZED,
            json(json!({ "error": "invalid_client" })),
        )
            .into_response();
    }
    let field = |name: &str| sent.get(name).map(String::as_str).unwrap_or_default();
    let asked = told.codes.get(field("code")).cloned().unwrap_or_default();
    let proof = challenge(field("code_verifier"));
    if field("grant_type") != "authorization_code"
        || asked.get("redirect_uri").map(String::as_str) != Some(field("redirect_uri"))
        || asked.get("code_challenge") != Some(&proof)
    {
        return (
            StatusCode::BAD_REQUEST,
            json(json!({ "error": "invalid_grant" })),
        )
            .into_response();
    }
    if told.trick == Trick::SentOn {
        return Redirect::temporary(&format!("{}/elsewhere", told.address)).into_response();
    }
    if told.trick == Trick::NoToken {
        return json(json!({ "access_token": "nothing", "token_type": "Bearer" })).into_response();
    }
    if told.trick != Trick::SameAgain {
        let nonce = asked.get("nonce").cloned().unwrap_or_default();
        told.last_token = told.token(&nonce);
    }
    let id_token = &told.last_token;
    json(json!({ "access_token": "nothing", "token_type": "Bearer", "id_token": id_token }))
        .into_response()
}

/// Where nobody may be sent.
async fn elsewhere(State(told): Shared) -> Response {
    let mut told = told.lock().expect("sound");
    told.was_lured = true;
    let nonces = told.codes.values().filter_map(|asked| asked.get("nonce"));
    let tokens: Vec<String> = nonces.map(|nonce| told.token(nonce)).collect();
    json(json!({ "token_type": "Bearer", "id_token": tokens.last() }))
}

fn encoded(text: &str) -> String {
    form_urlencoded::byte_serialize(text.as_bytes()).collect()
}

impl Told {
    fn key_name(&self) -> String {
        format!("rsa-{}", self.key)
    }

    fn token(&self, nonce: &str) -> String {
        let mut claims = json!({
            "iss": self.address, "sub": "4711", "aud": CLIENT, "nonce": nonce,
            "iat": self.now, "exp": self.now + 300,
        });
        for (name, value) in self.claims.as_object().expect("claims") {
            claims[name] = value.clone();
        }
        match self.trick {
            Trick::WrongIssuer => claims["iss"] = json!("https://elsewhere.example"),
            Trick::WrongAudience => claims["aud"] = json!("another client"),
            Trick::InAList => {
                claims["aud"] = json!([CLIENT]);
                claims["azp"] = json!(CLIENT);
            }
            Trick::OfAnother => claims["azp"] = json!("another client"),
            Trick::AmongOthers => {
                claims["aud"] = json!(["another client", CLIENT]);
                claims["azp"] = json!(CLIENT);
            }
            Trick::AskedByAnother => {
                claims["aud"] = json!(["another client", CLIENT]);
                claims["azp"] = json!("another client");
            }
            Trick::WrongNonce => claims["nonce"] = json!("of somebody else"),
            Trick::NoNonce => claims["nonce"] = Value::Null,
            Trick::Expired => claims["exp"] = json!(self.now - 120),
            Trick::NoExpiry => claims["exp"] = json!("never"),
            Trick::FromTheFuture => claims["iat"] = json!(self.now + 600),
            Trick::Old => claims["iat"] = json!(self.now - 3_600),
            _ => {}
        }
        let own = self.key_name();
        let (algorithm, key) = match self.trick {
            Trick::Curve | Trick::WrongKey => ("ES256", "curve"),
            Trick::Unsigned => ("none", own.as_str()),
            Trick::SharedKey => ("HS256", own.as_str()),
            Trick::UnknownKey => ("RS256", "of yesterday"),
            _ => ("RS256", own.as_str()),
        };
        let header = json!({ "alg": algorithm, "kid": key, "typ": "JWT" }).to_string();
        let signed = format!(
            "{}.{}",
            encode(header.as_bytes()),
            encode(claims.to_string().as_bytes())
        );
        let signature = match self.trick {
            Trick::Unsigned => Vec::new(),
            Trick::SharedKey => {
                let key = hmac::Key::new(hmac::HMAC_SHA256, N.as_bytes());
                hmac::sign(&key, signed.as_bytes()).as_ref().to_vec()
            }
            Trick::Curve => by_curve(&self.curve, &signed),
            Trick::WrongKey => by_curve(&self.other_curve, &signed),
            _ => by_rsa(&signed),
        };
        if self.trick == Trick::Altered {
            claims["preferred_username"] = json!("i.quell");
            let payload = encode(claims.to_string().as_bytes());
            return format!(
                "{}.{payload}.{}",
                encode(header.as_bytes()),
                encode(&signature)
            );
        }
        format!("{signed}.{}", encode(&signature))
    }
}

/// RFC 7636, 4.2.
pub fn challenge(verifier: &str) -> String {
    encode(&Sha256::digest(verifier))
}

pub fn by_rsa(text: &str) -> Vec<u8> {
    let bytes = |part: &str| URL_SAFE_NO_PAD.decode(part).expect("base64");
    let components = KeyPairComponents {
        public_key: PublicKeyComponents {
            n: bytes(N),
            e: bytes("AQAB"),
        },
        d: bytes(D),
        p: bytes(P),
        q: bytes(Q),
        dP: bytes(DP),
        dQ: bytes(DQ),
        qInv: bytes(QI),
    };
    let key = RsaKeyPair::from_components(&components).expect("the key of the standard");
    let mut signature = vec![0; key.public().modulus_len()];
    key.sign(
        &RSA_PKCS1_SHA256,
        &SystemRandom::new(),
        text.as_bytes(),
        &mut signature,
    )
    .expect("a signature");
    signature
}

fn by_curve(key: &EcdsaKeyPair, text: &str) -> Vec<u8> {
    let signed = key.sign(&SystemRandom::new(), text.as_bytes());
    signed.expect("a signature").as_ref().to_vec()
}

fn encode(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(bytes)
}

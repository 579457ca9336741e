//! A small platform of LTI 1.3, from the standard: it publishes a key, sends browsers to the login initiation, asks for what
//! an authentication request has to hold, and signs messages, sound ones or any others.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::extract::{Query, State};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde_json::{Value, json};
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

use super::services::{self, Services};
use crate::provider::{N, by_rsa};

pub const CLIENT: &str = "tool-17";
pub const DEPLOYMENT: &str = "dep-3";
/// Claims of LTI begin so.
pub const CLAIM: &str = "https://purl.imsglobal.org/spec/lti/claim/";

pub struct Platform {
    pub address: String,
    pub told: Arc<Mutex<Told>>,
    serving: JoinHandle<()>,
}

/// What a test says of the platform.
#[derive(Clone, Default)]
pub struct Told {
    pub address: String,
    /// Seconds since 1970.
    pub now: i64,
    /// Put over the claims of a sound message.
    pub claims: BTreeMap<String, Value>,
    /// What the name of its key ends in, and how often its keys were asked for.
    pub key: u32,
    pub asked_for_keys: u32,
    /// Where the tool is, whose keys are asked for.
    pub tool: String,
    pub services: Services,
}

/// What a browser was sent to be named with.
pub type Asked = BTreeMap<String, String>;

impl Platform {
    pub async fn spawn(now: i64) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        // another host than the tool's, as browsers see it: what it posts comes from another site
        let port = listener.local_addr().expect("an address").port();
        let address = format!("http://localhost:{port}");
        let told = Arc::new(Mutex::new(Told {
            address: address.clone(),
            now,
            ..Told::default()
        }));
        let serving = serve(listener, Arc::clone(&told));
        Self {
            address,
            told,
            serving,
        }
    }

    /// Nothing listens any more where it was.
    pub async fn go_away(&mut self) {
        self.serving.abort();
        // it has ended now, and let go of its port
        let _ended = (&mut self.serving).await;
    }

    pub async fn come_back(&mut self) {
        let port = self.address.rsplit(':').next().expect("a port");
        let listener = TcpListener::bind(format!("127.0.0.1:{port}")).await;
        self.serving = serve(listener.expect("its port"), Arc::clone(&self.told));
    }

    pub fn tell(&self, change: impl FnOnce(&mut Told)) {
        change(&mut self.told.lock().expect("sound"));
    }

    /// The fields of its registration.
    pub fn registration(&self, named_by: &str) -> Vec<(String, String)> {
        let fields = [
            ("issuer", self.address.clone()),
            ("client", CLIENT.to_owned()),
            ("deployment", DEPLOYMENT.to_owned()),
            ("authorize", format!("{}/authorize", self.address)),
            ("keys", format!("{}/keys", self.address)),
            ("token", format!("{}/token", self.address)),
            ("named_by", named_by.to_owned()),
        ];
        fields.map(|(name, value)| (name.to_owned(), value)).into()
    }

    /// Where it sends a browser to begin a launch.
    pub fn initiation(&self) -> String {
        let told = self.told.lock().expect("sound");
        told.initiation("")
    }

    /// A message as it is.
    pub fn message(&self, nonce: &str) -> String {
        let told = self.told.lock().expect("sound").clone();
        signed(&told.header(), &told.message(nonce))
    }

    /// A message that was altered before it was signed: its header, then its claims.
    pub fn message_but(&self, nonce: &str, alter: impl FnOnce(&mut Value, &mut Value)) -> String {
        let told = self.told.lock().expect("sound").clone();
        let (mut header, mut claims) = (told.header(), told.message(nonce));
        alter(&mut header, &mut claims);
        signed(&header, &claims)
    }
}

impl Told {
    fn initiation(&self, tool: &str) -> String {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("iss", &self.address)
            .append_pair("login_hint", "user 8")
            .append_pair("target_link_uri", &format!("{tool}/lti/launch"))
            .append_pair("lti_message_hint", "link&9")
            .append_pair("client_id", CLIENT)
            .append_pair("lti_deployment_id", DEPLOYMENT)
            .finish();
        format!("{tool}/lti/login?{query}")
    }

    fn header(&self) -> Value {
        json!({ "alg": "RS256", "kid": format!("key-{}", self.key), "typ": "JWT" })
    }

    /// A sound resource link launch: every claim that the core specification asks for.
    fn message(&self, nonce: &str) -> Value {
        let mut claims = json!({
            "iss": self.address, "aud": [CLIENT], "azp": CLIENT, "sub": "user-8", "nonce": nonce,
            "iat": self.now, "exp": self.now + 300,
        });
        for (name, value) in [
            ("message_type", json!("LtiResourceLinkRequest")),
            ("version", json!("1.3.0")),
            ("deployment_id", json!(DEPLOYMENT)),
            ("target_link_uri", json!("https://tool.example/lti/launch")),
            (
                "resource_link",
                json!({ "id": "link-9", "title": "Titrations" }),
            ),
            (
                "roles",
                json!(["http://purl.imsglobal.org/vocab/lis/v2/membership#Instructor"]),
            ),
        ] {
            claims[format!("{CLAIM}{name}")] = value;
        }
        for (name, value) in services::claims(&self.address) {
            claims[name] = value;
        }
        for (name, value) in &self.claims {
            claims[name] = value.clone();
        }
        claims
    }
}

fn encode(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(bytes)
}

fn signed(header: &Value, claims: &Value) -> String {
    let text = [header, claims]
        .map(|part| encode(part.to_string().as_bytes()))
        .join(".");
    let signature = match header["alg"] == "none" {
        true => Vec::new(),
        false => by_rsa(&text),
    };
    format!("{text}.{}", encode(&signature))
}

pub type Shared = State<Arc<Mutex<Told>>>;

fn serve(listener: TcpListener, told: Arc<Mutex<Told>>) -> JoinHandle<()> {
    let router = Router::new()
        .route("/keys", get(keys))
        .route("/authorize", get(authorize))
        .route("/course", get(course))
        .merge(services::routes())
        .with_state(told);
    tokio::spawn(async move {
        axum::serve(listener, router).await.expect("serves");
    })
}

async fn keys(State(told): Shared) -> Response {
    let mut told = told.lock().expect("sound");
    told.asked_for_keys += 1;
    let kid = format!("key-{}", told.key);
    let key =
        json!({ "kty": "RSA", "kid": kid, "alg": "RS256", "use": "sig", "n": N, "e": "AQAB" });
    let set = json!({ "keys": [key] }).to_string();
    ([("content-type", "application/json")], set).into_response()
}

/// A page of a course there, with the link; `?tool=` is where the tool is.
async fn course(State(told): Shared, Query(asked): Query<Asked>) -> Html<String> {
    let to = told
        .lock()
        .expect("sound")
        .initiation(&asked["tool"])
        .replace('&', "&amp;");
    Html(format!(
        "<!doctype html><title>Platform</title><h1>The platform</h1><a id=\"go\" href=\"{to}\">Titrations</a>"
    ))
}

/// The authentication request: what has to be in it is in it, and what was given is given back.
pub fn assert_sound(asked: &Asked) {
    for (name, value) in [
        ("scope", "openid"),
        ("response_type", "id_token"),
        ("response_mode", "form_post"),
        ("prompt", "none"),
        ("client_id", CLIENT),
        ("login_hint", "user 8"),
        ("lti_message_hint", "link&9"),
    ] {
        assert_eq!(
            asked.get(name).map(String::as_str),
            Some(value),
            "{name} in {asked:?}"
        );
    }
    assert!(asked["redirect_uri"].ends_with("/lti/launch"), "{asked:?}");
    assert!(
        asked["state"].len() >= 22 && asked["nonce"].len() >= 22,
        "{asked:?}"
    );
    assert_ne!(asked["state"], asked["nonce"]);
}

/// Names whoever came, by a form that is posted back.
async fn authorize(State(told): Shared, Query(asked): Query<Asked>) -> Html<String> {
    assert_sound(&asked);
    let told = told.lock().expect("sound").clone();
    let message = signed(&told.header(), &told.message(&asked["nonce"]));
    Html(format!(
        "<!doctype html><title>Platform</title><h1>On the way</h1><form method=\"post\" action=\"{}\">\
         <input type=\"hidden\" name=\"id_token\" value=\"{message}\"><input type=\"hidden\" name=\"state\" value=\"{}\">\
         <button id=\"on\">Go on</button></form>",
        asked["redirect_uri"], asked["state"]
    ))
}

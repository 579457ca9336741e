//! Services of the small platform, from the standards: tokens for a signed request (RFC 7523), members (NRPS 2.0) in two
//! pages, columns and scores of a gradebook (AGS 2.0). Each looks at what it is asked as the standard says it has to be.

use std::collections::BTreeMap;
use std::time::Duration;

use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Form, Router};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::signature::{RSA_PKCS1_2048_8192_SHA256, RsaPublicKeyComponents};
use serde_json::{Value, json};

use super::platform::{Asked, CLIENT, Shared, Told};

pub const MEMBERS: &str =
    "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly";
pub const LINE_ITEM: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/lineitem";
pub const SCORE: &str = "https://purl.imsglobal.org/spec/lti-ags/scope/score";

/// What the services are told, and what they were asked.
#[derive(Clone)]
pub struct Services {
    /// Members as they stand in pages, two to a page.
    pub members: Vec<Value>,
    /// Put before the address of the next page, in place of the platform's own.
    pub next: Option<String>,
    /// Seconds for which a token holds.
    pub holds: i64,
    /// Tokens that were given, with what each is good for.
    pub tokens: Vec<(String, String)>,
    /// Tokens from before are taken no more.
    pub forgotten: usize,
    /// Said to whoever asks for a token, in the place of one.
    pub no_token: Option<&'static str>,
    /// What services answer, whatever they are asked.
    pub away: Option<u16>,
    /// What is answered to scores.
    pub no_scores: Option<u16>,
    /// Whose scores it cannot take now.
    pub stumbles_over: Option<&'static str>,
    /// Columns that were made: resource, tag, label, most points.
    pub line_items: Vec<Value>,
    /// Scores as they came, with the column.
    pub scores: Vec<(usize, Value)>,
    /// How long a score takes.
    pub slow: Duration,
    seen: Vec<String>,
}

impl Default for Services {
    fn default() -> Self {
        Self {
            members: Vec::new(),
            next: None,
            holds: 3_600,
            tokens: Vec::new(),
            forgotten: 0,
            no_token: None,
            away: None,
            no_scores: None,
            stumbles_over: None,
            line_items: Vec::new(),
            scores: Vec::new(),
            slow: Duration::ZERO,
            seen: Vec::new(),
        }
    }
}

impl Services {
    /// What the gradebook shows: of each column and user the score with the newest timestamp, if it has points.
    pub fn gradebook(&self) -> BTreeMap<(String, String), f64> {
        let mut newest: BTreeMap<(usize, String), &Value> = BTreeMap::new();
        for (item, score) in &self.scores {
            let user = score["userId"].as_str().expect("a user").to_owned();
            let held = newest.get(&(*item, user.clone()));
            let stamp = |score: &Value| score["timestamp"].as_str().expect("one").to_owned();
            // AGS 3.4.6: no older one, and not the same one again
            let later = held.is_none_or(|held| stamp(score) > stamp(held));
            assert!(later, "{score} came after {held:?}");
            newest.insert((*item, user), score);
        }
        let shown = newest.into_iter().filter_map(|((item, user), score)| {
            let of = |value: &Value| value.as_f64();
            let given = of(&score["scoreGiven"])?;
            let item = &self.line_items[item];
            let label = item["label"].as_str().expect("a label").to_owned();
            Some((
                (label, user),
                given * of(&item["scoreMaximum"])? / of(&score["scoreMaximum"])?,
            ))
        });
        shown.collect()
    }
}

/// A member as the service writes it (NRPS 2.2).
pub fn member(sub: &str, given: &str, family: &str, sourced_id: &str) -> Value {
    json!({
        "status": "Active", "user_id": sub, "name": format!("{given} {family}"), "given_name": given,
        "family_name": family, "email": format!("{sub}@students.example"), "lis_person_sourcedid": sourced_id,
        "roles": ["http://purl.imsglobal.org/vocab/lis/v2/membership#Learner"],
    })
}

/// Claims by which a launch tells of its course and the services there.
pub fn claims(address: &str) -> [(&'static str, Value); 3] {
    [
        (
            "https://purl.imsglobal.org/spec/lti/claim/context",
            json!({ "id": "course-5", "label": "CHEM", "title": "Chemistry, 5th of many" }),
        ),
        (
            "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice",
            json!({ "context_memberships_url": format!("{address}/members"), "service_versions": ["2.0"] }),
        ),
        (
            "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint",
            json!({ "scope": [LINE_ITEM, SCORE], "lineitems": format!("{address}/lineitems?type=2") }),
        ),
    ]
}

pub fn routes() -> Router<std::sync::Arc<std::sync::Mutex<Told>>> {
    Router::new()
        .route("/token", post(token))
        .route("/members", get(members))
        .route("/groups", get(groups))
        .route("/lineitems", get(line_items).post(make_line_item))
        .route("/lineitems/{item}/scores", post(score))
}

async fn token(State(told): Shared, Form(form): Form<Asked>) -> Response {
    let (tool, address, now, no_token) = {
        let told = told.lock().expect("sound");
        let no_token = told.services.no_token;
        (told.tool.clone(), told.address.clone(), told.now, no_token)
    };
    if let Some(why) = no_token {
        return (StatusCode::BAD_REQUEST, json!({ "error": why }).to_string()).into_response();
    }
    // RFC 6749, 4.4.2 and RFC 7523, 2.2
    assert_eq!(form["grant_type"], "client_credentials");
    assert_eq!(
        form["client_assertion_type"],
        "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
    );
    let claims = signed_by(&tool, &form["client_assertion"]).await;
    // RFC 7523, 3
    assert_eq!(
        (&claims["iss"], &claims["sub"]),
        (&json!(CLIENT), &json!(CLIENT))
    );
    assert_eq!(claims["aud"], json!(format!("{address}/token")));
    let (made, ends) = (
        claims["iat"].as_i64().expect("iat"),
        claims["exp"].as_i64().expect("exp"),
    );
    assert!((made - now).abs() < 3_600 * 24 * 30 && ends > made && ends - made <= 3_600);
    let mut told = told.lock().expect("sound");
    let jti = claims["jti"].as_str().expect("jti").to_owned();
    assert!(!told.services.seen.contains(&jti), "used twice");
    told.services.seen.push(jti);
    let text = format!("token-{}-secret", told.services.tokens.len());
    told.services
        .tokens
        .push((text.clone(), form["scope"].clone()));
    let given = json!({
        "access_token": text, "token_type": "Bearer", "expires_in": told.services.holds, "scope": form["scope"],
    });
    ([("content-type", "application/json")], given.to_string()).into_response()
}

/// What a token says that is signed by a key that the tool publishes.
pub async fn signed_by(tool: &str, token: &str) -> Value {
    let keys = reqwest::get(format!("{tool}/lti/keys"))
        .await
        .expect("keys");
    let keys: Value = serde_json::from_str(&keys.text().await.expect("text")).expect("JSON");
    let parts: Vec<&str> = token.split('.').collect();
    let bytes = |part: &str| URL_SAFE_NO_PAD.decode(part).expect("base64url");
    let read = |part: &str| -> Value { serde_json::from_slice(&bytes(part)).expect("JSON") };
    let header = read(parts[0]);
    assert_eq!(header["alg"], "RS256");
    let all = keys["keys"].as_array().expect("a set");
    let key = all
        .iter()
        .find(|key| key["kid"] == header["kid"])
        .expect("its key");
    let of = |name: &str| bytes(key[name].as_str().expect(name));
    let key = RsaPublicKeyComponents {
        n: of("n"),
        e: of("e"),
    };
    let text = format!("{}.{}", parts[0], parts[1]);
    key.verify(
        &RSA_PKCS1_2048_8192_SHA256,
        text.as_bytes(),
        &bytes(parts[2]),
    )
    .expect("signed by the tool");
    read(parts[1])
}

/// Why a service does not answer: it is away, or the token is none that is good for it.
fn refusal(told: &Told, headers: &HeaderMap, scope: &str) -> Option<StatusCode> {
    if let Some(status) = told.services.away {
        return Some(StatusCode::from_u16(status).expect("a status"));
    }
    let header = headers
        .get("authorization")
        .and_then(|value| value.to_str().ok());
    let token = header.and_then(|header| header.strip_prefix("Bearer "));
    let known = told.services.tokens.iter().skip(told.services.forgotten);
    let mut known = known.filter(|(text, _)| Some(text.as_str()) == token);
    match known.next() {
        None => Some(StatusCode::UNAUTHORIZED),
        Some((_, scopes)) if scopes.split(' ').any(|one| one == scope) => None,
        Some(_) => Some(StatusCode::FORBIDDEN),
    }
}

fn accepts(headers: &HeaderMap, name: &str, kind: &str) {
    let found = headers.get(name).and_then(|value| value.to_str().ok());
    assert!(
        found.is_some_and(|found| found.contains(kind)),
        "{kind} in {found:?}"
    );
}

async fn members(State(told): Shared, Query(asked): Query<Asked>, headers: HeaderMap) -> Response {
    let told = told.lock().expect("sound").clone();
    if let Some(status) = refusal(&told, &headers, MEMBERS) {
        return status.into_response();
    }
    let kind = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json";
    accepts(&headers, "accept", kind);
    let page: usize = asked
        .get("page")
        .map_or(0, |page| page.parse().expect("a page"));
    let all = &told.services.members;
    let mut shown: Vec<Value> = all.iter().skip(page * 2).take(2).cloned().collect();
    // NRPS 3.2: messages come only with a link that is asked for
    match asked.get("rlid") {
        Some(link) => assert_eq!(link, "link-9"),
        None => shown.iter_mut().for_each(|member| {
            member.as_object_mut().expect("a member").remove("message");
        }),
    }
    let body = json!({
        "id": format!("{}/members", told.address), "context": { "id": "course-5" }, "members": shown,
    });
    let mut answer = ([("content-type", kind)], body.to_string()).into_response();
    if all.len() > page * 2 + 2 {
        let before = told.services.next.as_ref().unwrap_or(&told.address);
        // with what it was asked for, as services do
        let more = asked.iter().filter(|(name, _)| *name != "page");
        let more: String = more
            .map(|(name, value)| format!("&{name}={value}"))
            .collect();
        let link = format!("<{before}/members?page={}{more}>; rel=\"next\"", page + 1);
        answer
            .headers_mut()
            .insert("link", link.parse().expect("a header"));
    }
    answer
}

async fn groups(State(told): Shared, headers: HeaderMap) -> Response {
    let told = told.lock().expect("sound").clone();
    let scope = "https://purl.imsglobal.org/spec/lti-gs/scope/contextgroup.readonly";
    if let Some(status) = refusal(&told, &headers, scope) {
        return status.into_response();
    }
    let groups = json!({ "groups": [{ "id": "g-1", "name": "B" }, { "id": "g-2", "name": "C" }] });
    groups.to_string().into_response()
}

async fn line_items(
    State(told): Shared,
    Query(asked): Query<Asked>,
    headers: HeaderMap,
) -> Response {
    let told = told.lock().expect("sound").clone();
    if let Some(status) = refusal(&told, &headers, LINE_ITEM) {
        return status.into_response();
    }
    accepts(
        &headers,
        "accept",
        "application/vnd.ims.lis.v2.lineitemcontainer+json",
    );
    assert_eq!(asked["type"], "2", "what stood in the address stays in it");
    let same = |item: &&Value| item["resourceId"] == asked["resource_id"].as_str();
    let found: Vec<&Value> = told.services.line_items.iter().filter(same).collect();
    json!(found).to_string().into_response()
}

async fn make_line_item(State(told): Shared, headers: HeaderMap, body: String) -> Response {
    let mut told = told.lock().expect("sound");
    if let Some(status) = refusal(&told, &headers, LINE_ITEM) {
        return status.into_response();
    }
    accepts(
        &headers,
        "content-type",
        "application/vnd.ims.lis.v2.lineitem+json",
    );
    let mut item: Value = serde_json::from_str(&body).expect("JSON");
    // AGS 3.2.7 and 3.2.9: both are needed
    assert!(item["scoreMaximum"].as_f64().expect("most points") > 0.0);
    assert!(!item["label"].as_str().expect("a label").is_empty());
    let number = told.services.line_items.len();
    item["id"] = json!(format!("{}/lineitems/{number}?type=2", told.address));
    told.services.line_items.push(item.clone());
    (StatusCode::CREATED, item.to_string()).into_response()
}

async fn score(
    State(told): Shared,
    Path(item): Path<usize>,
    headers: HeaderMap,
    body: String,
) -> Response {
    let slow = told.lock().expect("sound").services.slow;
    tokio::time::sleep(slow).await;
    let mut told = told.lock().expect("sound");
    if let Some(status) = refusal(&told, &headers, SCORE) {
        return status.into_response();
    }
    if let Some(status) = told.services.no_scores {
        return StatusCode::from_u16(status)
            .expect("a status")
            .into_response();
    }
    if item >= told.services.line_items.len() {
        return StatusCode::NOT_FOUND.into_response();
    }
    accepts(
        &headers,
        "content-type",
        "application/vnd.ims.lis.v1.score+json",
    );
    let score: Value = serde_json::from_str(&body).expect("JSON");
    if told
        .services
        .stumbles_over
        .is_some_and(|who| score["userId"] == who)
    {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    }
    // AGS 3.4: each of these is needed, with a word of the list
    assert!(
        score["userId"].is_string() && score["timestamp"].is_string(),
        "{score}"
    );
    let activity = [
        "Initialized",
        "Started",
        "InProgress",
        "Submitted",
        "Completed",
    ];
    let grading = [
        "FullyGraded",
        "Pending",
        "PendingManual",
        "Failed",
        "NotReady",
    ];
    let is_of = |value: &Value, words: &[&str]| words.iter().any(|word| value == word);
    assert!(is_of(&score["activityProgress"], &activity), "{score}");
    assert!(is_of(&score["gradingProgress"], &grading), "{score}");
    // AGS 3.4.4: points not negative, and not without what they are of
    if let Some(given) = score.get("scoreGiven") {
        assert!(given.as_f64().expect("points") >= 0.0);
        assert!(score["scoreMaximum"].as_f64().expect("most points") > 0.0);
    }
    told.services.scores.push((item, score));
    StatusCode::NO_CONTENT.into_response()
}

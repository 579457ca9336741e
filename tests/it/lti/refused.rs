//! Messages that a tool has to refuse.

use serde_json::{Value, json};

use super::platform::CLAIM;
use super::{begun, come, with_platform};

type Alter = fn(&mut Value, &mut Value, i64);

/// What the standard has a tool refuse, and the words for it.
const REFUSED: [(&str, Alter, &str); 31] = [
    (
        "no signature",
        |h, _, _| h["alg"] = json!("none"),
        "algorithm “none”",
    ),
    (
        "a shared key",
        |h, _, _| h["alg"] = json!("HS256"),
        "algorithm “HS256”, expected RS256",
    ),
    (
        "another algorithm of ours",
        |h, _, _| h["alg"] = json!("PS256"),
        "algorithm “PS256”, expected RS256",
    ),
    (
        "a key not listed",
        |h, _, _| h["kid"] = json!("another"),
        "a key that the provider does not list",
    ),
    (
        "another issuer",
        |_, c, _| c["iss"] = json!("https://elsewhere.example"),
        "of the issuer",
    ),
    (
        "no issuer",
        |_, c, _| c["iss"] = Value::Null,
        "of the issuer",
    ),
    (
        "another audience",
        |_, c, _| c["aud"] = json!("another"),
        "for somebody else",
    ),
    (
        "several audiences",
        |_, c, _| c["aud"] = json!(["tool-17", "another"]),
        "for somebody else",
    ),
    (
        "no audience",
        |_, c, _| c["aud"] = json!([]),
        "for somebody else",
    ),
    (
        "another party",
        |_, c, _| c["azp"] = json!("another"),
        "for somebody else",
    ),
    (
        "expired",
        |_, c, now| c["exp"] = json!(now - 120),
        "has expired",
    ),
    (
        "no expiry",
        |_, c, _| c["exp"] = Value::Null,
        "has expired or says no time",
    ),
    (
        "made long ago",
        |_, c, now| c["iat"] = json!(now - 3_600),
        "has expired",
    ),
    (
        "of the future",
        |_, c, now| c["iat"] = json!(now + 600),
        "of the future",
    ),
    ("no time", |_, c, _| c["iat"] = Value::Null, "of the future"),
    (
        "another nonce",
        |_, c, _| c["nonce"] = json!("of somebody else"),
        "of another sign-in",
    ),
    (
        "no nonce",
        |_, c, _| c["nonce"] = Value::Null,
        "of another sign-in",
    ),
    (
        "another message",
        |_, c, _| c[format!("{CLAIM}message_type")] = json!("LtiDeepLinkingRequest"),
        "LtiDeepLinkingRequest",
    ),
    (
        "no message",
        |_, c, _| c[format!("{CLAIM}message_type")] = Value::Null,
        "expected “LtiResourceLinkRequest”",
    ),
    (
        "another version",
        |_, c, _| c[format!("{CLAIM}version")] = json!("1.2.0"),
        "found version “1.2.0”",
    ),
    (
        "a version that is no text",
        |_, c, _| c[format!("{CLAIM}version")] = json!(1.3),
        "expected “1.3.0”",
    ),
    (
        "another deployment",
        |_, c, _| c[format!("{CLAIM}deployment_id")] = json!("dep-4"),
        "another deployment",
    ),
    (
        "no deployment",
        |_, c, _| c[format!("{CLAIM}deployment_id")] = Value::Null,
        "another deployment",
    ),
    (
        "a deployment in other letters",
        |_, c, _| c[format!("{CLAIM}deployment_id")] = json!("DEP-3"),
        "another deployment",
    ),
    (
        "no target",
        |_, c, _| c[format!("{CLAIM}target_link_uri")] = Value::Null,
        "found no target_link_uri",
    ),
    (
        "no link",
        |_, c, _| c[format!("{CLAIM}resource_link")] = Value::Null,
        "found no resource_link id",
    ),
    (
        "a link without an id",
        |_, c, _| c[format!("{CLAIM}resource_link")] = json!({}),
        "found no resource_link id",
    ),
    (
        "a link with too long an id",
        |_, c, _| c[format!("{CLAIM}resource_link")] = json!({ "id": "x".repeat(256) }),
        "found no resource_link id",
    ),
    (
        "no roles",
        |_, c, _| c[format!("{CLAIM}roles")] = Value::Null,
        "found no roles",
    ),
    (
        "nobody",
        |_, c, _| c["sub"] = Value::Null,
        "found nobody launched",
    ),
    (
        "too long a name",
        |_, c, _| c["sub"] = json!("x".repeat(256)),
        "found nobody launched",
    ),
];

#[tokio::test]
async fn every_message_that_is_not_sound_is_refused() {
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("ada@students.example"));
    });
    let now = platform.told.lock().expect("sound").now;
    for (what, alter, why) in REFUSED {
        let mut person = app.stranger();
        let asked = begun(&mut person, &platform).await;
        let message =
            platform.message_but(&asked["nonce"], |header, claims| alter(header, claims, now));
        let answer = come(&mut person, &asked["state"], &message).await;
        assert_eq!(answer.status, 403, "{what}");
        assert!(
            answer.body.contains(why),
            "{what}: {why} in {}",
            answer.body
        );
        assert_eq!(
            person.get("/student").await.status,
            303,
            "{what}: nobody is signed in"
        );
    }
    // altered after it was signed
    let mut person = app.stranger();
    let asked = begun(&mut person, &platform).await;
    let (sound, other) = (platform.message(&asked["nonce"]), platform.message("other"));
    let parts: Vec<&str> = sound.split('.').collect();
    let forged = format!(
        "{}.{}.{}",
        parts[0],
        other.split('.').nth(1).expect("claims"),
        parts[2]
    );
    for message in [forged.as_str(), "", "a.b", "a.b.c.d"] {
        let answer = come(&mut person, &asked["state"], message).await;
        assert_eq!(answer.status, 403, "{message}");
    }
    // roles may be none
    let sound = platform.message_but(&asked["nonce"], |_, claims| {
        claims[format!("{CLAIM}roles")] = json!([])
    });
    assert_eq!(come(&mut person, &asked["state"], &sound).await.status, 303);
}

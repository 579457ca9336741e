//! Tokens at the edge of what the standards take, and a provider that is no provider.

use concordant::campus::{Expected, Key, TokenFault, claims};
use jiff::SignedDuration;
use serde_json::json;

use super::campus::{named, through, with_provider};
use crate::provider::{N, Trick, by_rsa};

const NOW: i64 = 1_800_000_000;

fn encode(bytes: impl AsRef<[u8]>) -> String {
    base64::Engine::encode(
        &base64::engine::general_purpose::URL_SAFE_NO_PAD,
        bytes.as_ref(),
    )
}

/// What is read of a token that is signed as it should be.
fn read(header: &str, payload: &str) -> Result<(), TokenFault> {
    let signed = format!("{}.{}", encode(header), encode(payload));
    read_whole(&format!("{signed}.{}", encode(by_rsa(&signed))))
}

fn read_whole(token: &str) -> Result<(), TokenFault> {
    let keys: Vec<Key> = serde_json::from_value(json!([
        { "kty": "RSA", "kid": "one", "n": N, "e": "AQAB" },
        { "kty": "RSA", "kid": "hides", "use": "enc", "n": N, "e": "AQAB" },
        { "kty": "RSA", "kid": "other", "alg": "PS256", "n": N, "e": "AQAB" },
    ]))
    .expect("keys");
    let expected = Expected {
        issuer: "https://login.example.edu",
        client: "us",
        nonce: "this",
        now: NOW,
        algorithms: &concordant::campus::ALGORITHMS,
    };
    claims(token, &keys, expected).map(|_| ())
}

const HEADER: &str = r#"{"alg":"RS256","kid":"one"}"#;

/// A payload with these members in place of the usual ones.
fn payload(members: &str) -> String {
    let usual = [
        ("iss", "\"https://login.example.edu\"".to_owned()),
        ("aud", "\"us\"".to_owned()),
        ("nonce", "\"this\"".to_owned()),
        ("iat", NOW.to_string()),
        ("exp", (NOW + 300).to_string()),
    ];
    let usual = usual
        .iter()
        .filter(|(name, _)| !members.contains(&format!("\"{name}\":")));
    let usual: Vec<String> = usual
        .map(|(name, value)| format!("\"{name}\":{value}"))
        .collect();
    let given = [members.to_owned()]
        .into_iter()
        .filter(|given| !given.is_empty());
    format!(
        "{{{}}}",
        usual.into_iter().chain(given).collect::<Vec<_>>().join(",")
    )
}

/// OpenID Connect Core 1.0, 3.1.3.7; RFC 7519, 4.1.
#[test]
fn claims_are_taken_up_to_their_edges() {
    let nobody = || TokenFault::Audience("us".to_owned());
    for (members, expected) in [
        (String::new(), Ok(())),
        (format!("\"exp\":{}", NOW - 59), Ok(())),
        (format!("\"exp\":{}", NOW - 60), Err(TokenFault::Expired)),
        (format!("\"exp\":{}.5", NOW + 1), Ok(())),
        ("\"exp\":1e300".to_owned(), Err(TokenFault::Expired)),
        ("\"exp\":null".to_owned(), Err(TokenFault::Expired)),
        (
            format!("\"exp\":\"{}\"", NOW + 300),
            Err(TokenFault::Expired),
        ),
        (format!("\"iat\":{}", NOW + 60), Ok(())),
        (format!("\"iat\":{}", NOW + 61), Err(TokenFault::Early)),
        (format!("\"iat\":{}", NOW - 660), Ok(())),
        (format!("\"iat\":{}", NOW - 661), Err(TokenFault::Expired)),
        ("\"iat\":null".to_owned(), Err(TokenFault::Early)),
        (format!("\"nbf\":{}", NOW + 61), Err(TokenFault::Early)),
        ("\"nbf\":\"now\"".to_owned(), Err(TokenFault::Early)),
        ("\"aud\":[\"us\"]".to_owned(), Ok(())),
        ("\"aud\":[]".to_owned(), Err(nobody())),
        ("\"aud\":[\"us\",\"them\"]".to_owned(), Err(nobody())),
        ("\"aud\":[\"us\",5]".to_owned(), Err(nobody())),
        ("\"aud\":{\"us\":true}".to_owned(), Err(nobody())),
        ("\"aud\":\"us \"".to_owned(), Err(nobody())),
        ("\"azp\":\"us\"".to_owned(), Ok(())),
        ("\"azp\":null".to_owned(), Err(nobody())),
        ("\"azp\":\"them\"".to_owned(), Err(nobody())),
        ("\"nonce\":[\"this\"]".to_owned(), Err(TokenFault::Nonce)),
        // of two claims of one name the last counts, everywhere (RFC 7519, 4)
        (
            "\"nonce\":\"this\",\"nonce\":\"that\"".to_owned(),
            Err(TokenFault::Nonce),
        ),
        ("\"aud\":\"us\",\"aud\":\"them\"".to_owned(), Err(nobody())),
    ] {
        assert_eq!(read(HEADER, &payload(&members)), expected, "{members}");
    }
    let issuer = payload("\"iss\":\"https://login.example.edu/\"");
    assert!(matches!(
        read(HEADER, &issuer),
        Err(TokenFault::Issuer { .. })
    ));
}

/// RFC 7515, 4.1; RFC 8725, 3.
#[test]
fn a_token_says_nothing_of_how_it_is_to_be_checked() {
    let usual = payload("");
    for (header, expected) in [
        (HEADER, Ok(())),
        (
            r#"{"alg":"RS256","kid":"one","crit":[]}"#,
            Err(TokenFault::Form),
        ),
        (
            r#"{"alg":"RS256","alg":"RS256","kid":"one"}"#,
            Err(TokenFault::Form),
        ),
        (r#"{"kid":"one"}"#, Err(TokenFault::Form)),
        (
            r#"{"alg":"rs256","kid":"one"}"#,
            Err(TokenFault::Algorithm {
                found: "rs256".to_owned(),
                expected: "RS256, PS256 or ES256".to_owned(),
            }),
        ),
        (
            r#"{"alg":"RS512","kid":"one"}"#,
            Err(TokenFault::Algorithm {
                found: "RS512".to_owned(),
                expected: "RS256, PS256 or ES256".to_owned(),
            }),
        ),
        // another algorithm than the key is for, a key that signs nothing, none of the keys, any of them
        (
            r#"{"alg":"RS256","kid":"other"}"#,
            Err(TokenFault::UnknownKey),
        ),
        (
            r#"{"alg":"RS256","kid":"hides"}"#,
            Err(TokenFault::UnknownKey),
        ),
        (
            r#"{"alg":"ES256","kid":"one"}"#,
            Err(TokenFault::UnknownKey),
        ),
        (r#"{"alg":"PS256","kid":"one"}"#, Err(TokenFault::Signature)),
        (r#"{"alg":"PS256"}"#, Err(TokenFault::UnknownKey)),
        // a key that it brings along, or says where to find
        (
            r#"{"alg":"RS256","kid":"own","jwk":{"kty":"RSA","kid":"own","n":"AQAB","e":"AQAB"}}"#,
            Err(TokenFault::UnknownKey),
        ),
        (
            r#"{"alg":"RS256","kid":"own","jku":"http://127.0.0.1:1/keys"}"#,
            Err(TokenFault::UnknownKey),
        ),
    ] {
        assert_eq!(read(header, &usual), expected, "{header}");
    }
}

#[test]
fn what_is_no_token_is_refused_at_once() {
    let begun = std::time::Instant::now();
    let long = "a".repeat(1_000_000);
    let deep = encode("[".repeat(100_000));
    for token in [
        "",
        ".",
        "..",
        "a.b",
        "a.b.c.d",
        &format!("{long}.{long}.{long}"),
        &".".repeat(1_000_000),
        &format!("{deep}.{deep}."),
        &format!("{}.{}.=", encode(HEADER), encode(payload(""))),
    ] {
        assert_eq!(read_whole(token), Err(TokenFault::Form));
    }
    // one that is long, and signed, is read
    let padded = payload(&format!("\"groups\":\"{long}\""));
    assert_eq!(read(HEADER, &padded), Ok(()));
    assert!(begun.elapsed().as_secs() < 5);
}

#[tokio::test]
async fn a_code_and_our_secret_go_to_nobody_else() {
    let (app, provider) = with_provider().await;
    provider.says(Trick::SentOn, named("b.tarn"));
    let mut visitor = app.stranger();
    let refused = through(&mut visitor, "/sign-in/campus").await;
    assert_eq!((refused.status, visitor.cookie()), (502, None));
    assert!(!provider.was_lured());
}

/// RFC 9207, 2.4.
#[tokio::test]
async fn a_provider_that_gives_its_name_gives_it_always() {
    let (app, provider) = with_provider().await;
    provider.names_itself();
    for (trick, status) in [
        (Trick::Honest, 303),
        (Trick::Nameless, 403),
        (Trick::OfAnotherName, 403),
    ] {
        provider.says(trick, named("b.tarn"));
        let came = through(&mut app.stranger(), "/sign-in/campus").await;
        assert_eq!(came.status, status, "{trick:?}: {}", came.body);
    }
}

#[tokio::test]
async fn keys_change_and_are_asked_for_once_a_minute_at_most() {
    let (app, provider) = with_provider().await;
    let enter = async |trick| {
        provider.says(trick, named("b.tarn"));
        through(&mut app.stranger(), "/sign-in/campus").await.status
    };
    assert_eq!(
        (enter(Trick::Honest).await, provider.keys_asked_for()),
        (303, 1)
    );
    provider.changes_its_key();
    // just asked
    assert_eq!(
        (enter(Trick::Honest).await, provider.keys_asked_for()),
        (403, 1)
    );
    app.clock.put_forward(SignedDuration::from_secs(61));
    assert_eq!(
        (enter(Trick::Honest).await, provider.keys_asked_for()),
        (303, 2)
    );
    app.clock.put_forward(SignedDuration::from_secs(61));
    for _ in 0..3 {
        assert_eq!(enter(Trick::UnknownKey).await, 403);
    }
    assert_eq!(
        (enter(Trick::Honest).await, provider.keys_asked_for()),
        (303, 3)
    );
}

#[tokio::test]
async fn keys_without_end_are_not_read() {
    let (app, provider) = with_provider().await;
    provider.pads_its_keys(2 * 1024 * 1024);
    let answer = app.stranger().get("/sign-in/campus").await;
    assert_eq!(answer.status, 502, "{}", answer.body);
    provider.pads_its_keys(900 * 1024);
    provider.says(Trick::Honest, named("b.tarn"));
    let entered = through(&mut app.stranger(), "/sign-in/campus").await;
    assert_eq!(entered.status, 303);
}

//! Signing in as the institution says: by its proxy, and by its provider of OpenID Connect.

use std::sync::Arc;

use concordant::campus::{
    Campus, Expected, Key, Provider as Client, ProviderSettings, ProxyHeader, TokenFault, claims,
};
use concordant::web::Settings;
use reqwest::Method;
use serde_json::{Value, json};

use crate::app::{Answer, PASSWORD, Person, TestApp};
use crate::provider::{CLIENT, N, Provider, SECRET, Trick, by_rsa, challenge};

const PROXY_SECRET: &str = "a secret that only the proxy knows, of some length";

async fn behind_proxy() -> TestApp {
    let settings = Settings {
        behind_proxy: true,
        ..Settings::default()
    };
    let proxy = ProxyHeader::new("X-Remote-User", PROXY_SECRET).expect("long enough");
    TestApp::spawn_on(settings, |_| Campus::Proxy(proxy)).await
}

/// A server that knows a provider, and that provider.
pub async fn with_provider() -> (TestApp, Provider) {
    let now = jiff::Timestamp::now().as_second();
    let provider = Provider::spawn(now).await;
    let issuer = provider.address.clone();
    let app = TestApp::spawn_on(Settings::default(), |address| {
        let settings = ProviderSettings {
            issuer,
            client: CLIENT.to_owned(),
            secret: Some(SECRET.to_owned()),
            back: format!("{address}/sign-in/campus/back"),
        };
        Campus::Provider(Arc::new(Client::new(settings).expect("on loopback")))
    });
    (app.await, provider)
}

async fn choose(app: &TestApp, claim: &str, by: &str) {
    let mut coordinator = app.person("i.quell").await;
    let fields = [
        ("claim", claim),
        ("match", by),
        ("institution", "Larchfield LFU"),
        ("days", "30"),
    ];
    let chosen = coordinator.post_form("/course/sign-in", &fields).await;
    assert_eq!(chosen.location(), "/course/sign-in", "{}", chosen.body);
}

async fn asked(person: &mut Person, method: Method, headers: &[(&str, &str)]) -> Answer {
    let mut request = person.request(method.clone(), "/sign-in/campus");
    if method == Method::POST {
        request = person.form("/sign-in/campus", &[("next", "/review?group=A")]);
    }
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    person.send(request).await
}

#[tokio::test]
async fn the_proxy_says_who_and_the_course_says_what_they_may() {
    let app = behind_proxy().await;
    let page = app.stranger().get("/sign-in").await.body;
    assert!(page.contains("href=\"/sign-in/campus?next="), "{page}");
    let secret = ("x-concordant-secret", PROXY_SECRET);
    let mut visitor = app.stranger();
    let shown = asked(
        &mut visitor,
        Method::GET,
        &[("x-remote-user", "B.Tarn"), secret],
    )
    .await;
    assert!(
        shown.status == 200 && shown.body.contains("Bo Tarn"),
        "{}",
        shown.body
    );
    assert_eq!(visitor.cookie(), None, "asking signs nobody in");
    // a role from outside is not heard
    let headers = [
        ("x-remote-user", "b.tarn"),
        ("x-remote-role", "coordinator"),
        secret,
    ];
    let entered = asked(&mut visitor, Method::POST, &headers).await;
    assert_eq!(
        (entered.status, entered.location()),
        (303, "/review?group=A")
    );
    assert_eq!(visitor.get("/course").await.status, 403);
    for headers in [
        &[("x-remote-user", "i.quell")][..],
        &[
            ("x-remote-user", "i.quell"),
            ("x-concordant-secret", "a guess"),
        ],
        &[secret],
        &[("x-remote-user", ""), secret],
        &[("x-remote-user", "nobody.here"), secret],
        &[
            ("x-remote-user", "b.tarn"),
            ("x-remote-user", "i.quell"),
            secret,
        ],
    ] {
        let mut stranger = app.stranger();
        let refused = asked(&mut stranger, Method::POST, headers).await;
        assert_eq!(
            (refused.status, stranger.cookie()),
            (403, None),
            "{headers:?}"
        );
    }
    let mut coordinator = app.person("i.quell").await;
    let record = coordinator.get("/course/access?who=b.tarn").await.body;
    assert!(
        record.contains("with the institution’s account"),
        "{record}"
    );
}

#[tokio::test]
async fn nobody_else_is_believed() {
    let secret = ("x-concordant-secret", PROXY_SECRET);
    let headers = [("x-remote-user", "i.quell"), secret];
    // not set up at all
    let app = TestApp::spawn().await;
    let mut stranger = app.stranger();
    assert_eq!(
        asked(&mut stranger, Method::POST, &headers).await.status,
        404
    );
    assert!(
        !stranger
            .get("/sign-in")
            .await
            .body
            .contains("/sign-in/campus")
    );
    // set up, and no proxy is believed: whoever comes is no proxy
    let proxy = ProxyHeader::new("X-Remote-User", PROXY_SECRET).expect("long enough");
    let app = TestApp::spawn_on(Settings::default(), |_| Campus::Proxy(proxy)).await;
    let mut stranger = app.stranger();
    assert_eq!(
        asked(&mut stranger, Method::POST, &headers).await.status,
        403
    );
    assert!(ProxyHeader::new("X-Remote-User", "short").is_err());
}

/// Goes to the provider and comes back.
pub async fn through(visitor: &mut Person, start: &str) -> Answer {
    let back = sent(visitor, start).await;
    visitor.get(&back).await
}

/// Where the provider sends somebody back to, as a path.
pub async fn sent(visitor: &mut Person, start: &str) -> String {
    let begun = visitor.get(start).await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    let client = reqwest::Client::builder()
        .no_proxy()
        .redirect(reqwest::redirect::Policy::none());
    let at = client
        .build()
        .expect("a client")
        .get(begun.location())
        .send();
    let at = at.await.expect("an answer");
    let back = at.headers()["location"]
        .to_str()
        .expect("is text")
        .to_owned();
    let path = back.find("/sign-in/campus/back").expect("our own page");
    back[path..].to_owned()
}

pub fn named(name: &str) -> Value {
    json!({ "preferred_username": name, "roles": ["coordinator"], "role": "coordinator" })
}

#[tokio::test]
async fn the_provider_says_who_and_the_course_says_what_they_may() {
    let (app, provider) = with_provider().await;
    for trick in [Trick::Honest, Trick::Curve, Trick::InAList, Trick::Nameless] {
        provider.says(trick, named("b.tarn"));
        let mut visitor = app.stranger();
        let entered = through(&mut visitor, "/sign-in/campus?next=%2Freview%3Fgroup%3DA").await;
        assert_eq!(
            (entered.status, entered.location()),
            (303, "/review?group=A"),
            "{trick:?}"
        );
        assert_eq!(visitor.get("/review").await.status, 200);
        assert_eq!(visitor.get("/course").await.status, 403);
        assert_eq!(*visitor.campus_cookie(), None);
    }
    provider.says(Trick::Honest, named("0042"));
    let mut student = app.stranger();
    let entered = through(&mut student, "/sign-in/campus?next=//elsewhere.example").await;
    assert_eq!((entered.status, entered.location()), (303, "/student"));
}

#[tokio::test]
async fn what_no_provider_may_say_lets_nobody_in() {
    let (app, provider) = with_provider().await;
    provider.says(Trick::Honest, named("b.tarn"));
    let first = through(&mut app.stranger(), "/sign-in/campus").await;
    assert_eq!(first.status, 303);
    for (trick, words) in [
        (Trick::WrongIssuer, "issuer “https://elsewhere.example”"),
        (Trick::WrongAudience, "for somebody else"),
        (Trick::AskedByAnother, "for somebody else"),
        (Trick::AmongOthers, "for somebody else"),
        (Trick::OfAnother, "for somebody else"),
        (
            Trick::OfAnotherName,
            "came back from “httpselsewhere.example”",
        ),
        (Trick::Old, "has expired"),
        (Trick::WrongNonce, "of another sign-in"),
        (Trick::NoNonce, "of another sign-in"),
        (Trick::SameAgain, "of another sign-in"),
        (Trick::Expired, "has expired"),
        (Trick::NoExpiry, "has expired"),
        (Trick::FromTheFuture, "of the future"),
        (Trick::Unsigned, "algorithm “none”"),
        (Trick::SharedKey, "algorithm “HS256”"),
        (Trick::WrongKey, "signature is not the provider’s"),
        (Trick::UnknownKey, "does not list"),
        (Trick::Altered, "signature is not the provider’s"),
        (Trick::NoToken, "no ID token"),
    ] {
        provider.says(trick, named("b.tarn"));
        let mut visitor = app.stranger();
        let refused = through(&mut visitor, "/sign-in/campus").await;
        assert_eq!((refused.status, visitor.cookie()), (403, None), "{trick:?}");
        let said = refused.body.replace("&#8217;", "’");
        assert!(said.contains(words), "{trick:?}: {said}");
    }
}

#[tokio::test]
async fn nobody_comes_back_twice_or_for_somebody_else() {
    let (app, provider) = with_provider().await;
    provider.says(Trick::Honest, named("b.tarn"));
    let mut visitor = app.stranger();
    let back = sent(&mut visitor, "/sign-in/campus").await;
    // the way back in another browser, which began nothing or something else
    let refused = app.stranger().get(&back).await;
    assert!(refused.status == 403 && refused.body.contains("not begun in this browser"));
    let mut other = app.stranger();
    sent(&mut other, "/sign-in/campus").await;
    let refused = other.get(&back).await;
    assert!(refused.status == 403 && refused.body.contains("another sign-in"));
    let kept = visitor.campus_cookie().clone();
    assert_eq!(visitor.get(&back).await.status, 303);
    // whoever has the address and the cookie
    let mut thief = app.stranger();
    assert_eq!(thief.get(&back).await.status, 403);
    *thief.campus_cookie() = kept;
    let refused = thief.get(&back).await;
    assert!(
        refused.status == 403 && refused.body.contains("used before"),
        "{}",
        refused.body
    );
    // who sent the browser back, or that it was refused there
    for (ending, words) in [
        ("&iss=https://elsewhere.example", "came more than once"),
        ("&error=access_denied", "access_denied"),
    ] {
        let mut visitor = app.stranger();
        let back = sent(&mut visitor, "/sign-in/campus").await;
        let refused = visitor.get(&format!("{back}{ending}")).await;
        assert!(
            refused.status != 303 && refused.body.contains(words),
            "{}",
            refused.body
        );
    }
    // half an hour at the provider is too long
    let mut slow = app.stranger();
    let back = sent(&mut slow, "/sign-in/campus").await;
    app.clock.put_forward(jiff::SignedDuration::from_mins(30));
    assert_eq!(slow.get(&back).await.status, 403);
}

#[tokio::test]
async fn the_coordinator_chooses_the_claim() {
    let (app, provider) = with_provider().await;
    choose(&app, "matriculation", "login").await;
    provider.says(
        Trick::Honest,
        json!({ "preferred_username": "i.quell", "matriculation": "0051" }),
    );
    let mut visitor = app.stranger();
    let entered = through(&mut visitor, "/sign-in/campus").await;
    assert_eq!(entered.location(), "/student");
    // by address: staff have none, nobody has an empty one, and nobody is on the lists under this
    choose(&app, "email", "email").await;
    for claims in [
        json!({ "email": "" }),
        json!({ "email": "i.quell" }),
        json!({ "email": "0042" }),
        json!({ "email": "ada@example.org" }),
        json!({ "email": 42 }),
        json!({ "email": "0042@example.org", "email_verified": false }),
        json!({ "email": "0042@example.org", "email_verified": "false" }),
        json!({ "preferred_username": "i.quell" }),
    ] {
        provider.says(Trick::Honest, claims.clone());
        let mut visitor = app.stranger();
        let refused = through(&mut visitor, "/sign-in/campus").await;
        assert_eq!((refused.status, visitor.cookie()), (403, None), "{claims}");
    }
    let mut coordinator = app.person("i.quell").await;
    let wrong = [("claim", "two words"), ("match", "login"), ("days", "-1")];
    let refused = coordinator.post_form("/course/sign-in", &wrong).await;
    assert!(refused.status == 422 && refused.body.contains("two words"));
    let record = coordinator.get("/course/access").await.body;
    assert!(
        record.contains("campus sign-in by email as email"),
        "{record}"
    );
    assert!(record.contains("kept for 30 days"), "{record}");
}

/// The second step is asked for here too, and an account without a password is sound.
#[tokio::test]
async fn a_second_step_and_the_record_hold() {
    let (app, provider) = with_provider().await;
    provider.says(Trick::Honest, named("m.sedge"));
    let mut assistant = app.stranger();
    assert_eq!(through(&mut assistant, "/sign-in/campus").await.status, 303);
    assistant.post_form("/second-step/begin", &[]).await;
    let page = assistant.get("/second-step").await.body;
    let key = super::second_step::next_code(&page, "Key:");
    let code = super::second_step::device(&key, app.clock.now());
    let on = assistant
        .post_form("/second-step/confirm", &[("code", &code)])
        .await;
    assert_eq!(on.status, 200, "{}", on.body);
    let mut again = app.stranger();
    let asked = through(&mut again, "/sign-in/campus").await;
    assert!(
        asked.status == 200 && asked.body.contains("/sign-in/code"),
        "{}",
        asked.body
    );
    assert_eq!(again.cookie(), None);
    let mut reader = app.desk.store().read().await.expect("a reader");
    let difference = concordant::store::first_difference(&mut reader).await;
    assert_eq!(difference.expect("is read"), None);
    drop(reader);
    // signed out everywhere, by themselves or by the coordinator
    assert_eq!(assistant.get("/review").await.status, 200);
    assert_eq!(
        assistant.post_form("/access", &[]).await.location(),
        "/sign-in"
    );
    assert!(
        assistant
            .get("/review")
            .await
            .location()
            .starts_with("/sign-in")
    );
    let mut student = app.person("0042").await;
    let mut coordinator = app.person("i.quell").await;
    coordinator
        .post_form("/course/access", &[("who", "0042")])
        .await;
    assert!(
        student
            .get("/student")
            .await
            .location()
            .starts_with("/sign-in")
    );
    let record = coordinator.get("/course/access?who=0042").await.body;
    assert!(record.contains("signed out everywhere"), "{record}");
    // nobody has a password that they did not set
    let fields = [("login", "m.sedge"), ("password", PASSWORD)];
    assert_eq!(
        app.stranger().post_open("/sign-in", &fields).await.status,
        422
    );
}

/// RFC 7636, appendix B; RFC 7515, A.2 and A.3.
#[test]
fn signatures_and_proofs_are_those_of_the_standards() {
    assert_eq!(
        challenge("dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"),
        "E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM"
    );
    let payload = "eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ";
    let rsa = "cC4hiUPoj9Eetdgtv3hF80EGrhuB__dzERat0XF9g2VtQgr9PJbu3XOiZj5RZmh7AAuHIm4Bh-0Qc_lF5YKt_O8W2Fp5jujGbds9uJdbF9CUAr7t1dnZcAcQjbKBYNX4BAynRFdiuB--f_nZLgrnbyTyWzO75vRK5h6xBArLIARNPvkSjtQBMHlb1L07Qe7K0GarZRmB_eSN9383LcOLn6_dO--xi12jzDwusC-eOkHWEsqtFZESc6BfI7noOPqvhJ1phCnvWh6IeYI2w9QOYEUipUTI8np6LbgGY9Fs98rqVt5AXLIhWkWywlVmtVrBp0igcN_IoypGlUPQGe77Rw";
    let curve =
        "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q";
    let keys: Vec<Key> = serde_json::from_value(json!([
        { "kty": "RSA", "n": N, "e": "AQAB" },
        { "kty": "EC", "crv": "P-256", "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU", "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0" },
    ]))
    .expect("keys");
    let expected = Expected {
        issuer: "joe",
        client: "nobody",
        nonce: "",
        now: 1_300_819_000,
        algorithms: &concordant::campus::ALGORITHMS,
    };
    for (header, signature) in [
        ("eyJhbGciOiJSUzI1NiJ9", rsa),
        ("eyJhbGciOiJFUzI1NiJ9", curve),
    ] {
        let read =
            |payload: &str| claims(&format!("{header}.{payload}.{signature}"), &keys, expected);
        // it is signed, and for nobody
        assert_eq!(
            read(payload),
            Err(TokenFault::Audience("nobody".to_owned()))
        );
        assert_eq!(
            read(&payload.replacen('z', "A", 1)),
            Err(TokenFault::Signature)
        );
    }
    // what the provider of these tests signs with is that key
    let own = by_rsa(&format!("eyJhbGciOiJSUzI1NiJ9.{payload}"));
    let own = base64::Engine::encode(&base64::engine::general_purpose::URL_SAFE_NO_PAD, own);
    assert_eq!(own, rsa);
}

/// Beyond loopback without a proxy browsers keep nobody signed in: the page says so instead of asking again and again.
#[tokio::test]
async fn plain_http_over_the_network_is_said_at_sign_in() {
    for (secure_cookies, behind_proxy, said) in [
        (true, false, true),
        (true, true, false),
        (false, false, false),
    ] {
        let settings = Settings {
            secure_cookies,
            behind_proxy,
        };
        let app = TestApp::spawn_with(settings).await;
        let page = app.stranger().get("/sign-in").await.body;
        assert_eq!(page.contains("reached by plain HTTP"), said, "{settings:?}");
    }
}

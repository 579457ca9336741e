//! What holds for every page: headers, refusals, pages for errors.

use concordant::web::Settings;
use reqwest::Method;

use crate::app::{PASSWORD, TestApp};

/// Where a student's readings go.
const BENCH: &str = "/student/experiments/vinegar/bench";

#[tokio::test]
async fn every_answer_carries_the_headers() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    for path in [
        "/sign-in",
        "/claim",
        "/password",
        "/",
        "/nowhere",
        "/healthz",
        "/static/style.css",
        "/course",
    ] {
        let answer = person.get(path).await;
        let policy = answer.header("content-security-policy");
        assert!(
            policy.starts_with("default-src 'none'; style-src 'self'; script-src 'self'"),
            "{path}: {policy}"
        );
        assert!(
            policy.contains("form-action 'self'; base-uri 'none'; frame-ancestors 'none'"),
            "{path}"
        );
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answer.header("referrer-policy"), "same-origin", "{path}");
        assert!(
            answer.header("permissions-policy").contains("camera=()"),
            "{path}"
        );
        assert_eq!(
            answer.header("strict-transport-security"),
            "",
            "{path}: plain HTTP"
        );
        let kept = if path.starts_with("/static/") {
            "no-cache"
        } else {
            "no-store"
        };
        assert_eq!(answer.header("cache-control"), kept, "{path}");
        assert!(
            !answer.body.contains(" style=")
                && !answer.body.contains("<style")
                && !answer.body.contains("<script>")
        );
    }
}

#[tokio::test]
async fn the_cookie_is_for_us_alone() {
    let app = TestApp::spawn().await;
    let code = app.code_for("0042").await;
    let fields = [
        ("login", "0042"),
        ("code", &code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    let answer = app.stranger().post_open("/claim", &fields).await;
    let cookie = answer.header("set-cookie");
    let (pair, flags) = cookie.split_once("; ").expect("flags");
    assert!(
        pair.starts_with("concordant=") && pair.len() == "concordant=".len() + 64,
        "{pair}"
    );
    assert_eq!(flags, "HttpOnly; SameSite=Lax; Path=/");

    let app = TestApp::spawn_with(Settings {
        secure_cookies: true,
        ..Settings::default()
    })
    .await;
    let code = app.code_for("0042").await;
    let fields = [
        ("login", "0042"),
        ("code", &code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    let mut person = app.stranger();
    let answer = person.post_open("/claim", &fields).await;
    let cookie = answer.header("set-cookie");
    assert!(cookie.starts_with("__Host-concordant="), "{cookie}");
    assert!(
        cookie.ends_with("; HttpOnly; SameSite=Lax; Secure; Path=/"),
        "{cookie}"
    );
    assert_eq!(
        answer.header("strict-transport-security"),
        "max-age=31536000; includeSubDomains"
    );
    assert_eq!(person.get("/password").await.status, 200);
    let out = person.post_form("/sign-out", &[]).await;
    let cookie = out.header("set-cookie");
    assert!(
        cookie.starts_with("__Host-concordant=;") && cookie.contains("Secure"),
        "{cookie}"
    );
}

#[tokio::test]
async fn a_form_needs_the_token_of_its_session() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    let fields = [
        ("current", PASSWORD),
        ("password", "seven otters 18 lamps"),
        ("repeat", "seven otters 18 lamps"),
    ];
    let without = person.post_open("/password", &fields).await;
    assert_eq!(without.status, 403);
    assert!(
        without
            .body
            .contains("did not come from a page of the course")
    );
    assert_eq!(person.post_open("/sign-out", &[]).await.status, 403);
    let other = app.person("0043").await.form_token().await;
    let mut with_other = vec![("csrf", other.as_str())];
    with_other.extend_from_slice(&fields);
    let refused = person.post_open("/password", &with_other).await;
    assert_eq!(refused.status, 403);
    assert!(
        !refused.body.contains("seven otters"),
        "a password is not written on a page"
    );
    let reading = [("csrf", other.as_str()), ("1.burette_end_mL", "18.40")];
    let refused = person.post_open(BENCH, &reading).await;
    assert_eq!(refused.status, 403);
    assert!(
        refused
            .body
            .contains("name=\"1.burette_end_mL\" value=\"18.40\""),
        "what was typed can be sent again"
    );
    assert_eq!(person.post_form("/password", &fields).await.status, 200);
}

#[tokio::test]
async fn a_form_from_another_site_is_refused() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    let token = person.form_token().await;
    for (header, value) in [
        ("origin", "https://elsewhere.example"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        for path in ["/sign-out", "/sign-in", "/claim"] {
            let form = person.form(path, &[("csrf", &token)]).header(header, value);
            let answer = person.send(form).await;
            assert_eq!(answer.status, 403, "{path} {header}: {value}");
            assert!(
                answer.body.contains("came from another site"),
                "{}",
                answer.body
            );
        }
    }
    let form = person
        .form("/sign-out", &[("csrf", &token)])
        .header("origin", app.address.clone());
    assert_eq!(person.send(form).await.status, 303);
}

#[tokio::test]
async fn a_page_asked_for_is_shown_after_signing_in_but_never_another_site() {
    let app = TestApp::spawn().await;
    app.person("0042").await;
    let mut person = app.stranger();
    let asked = person.get("/password?from=here&x=1").await;
    assert_eq!(
        asked.location(),
        "/sign-in?next=%2Fpassword%3Ffrom%3Dhere%26x%3D1"
    );
    let page = person.get(asked.location()).await;
    assert!(
        page.body
            .contains("name=\"next\" value=\"/password?from=here&#38;x=1\""),
        "{}",
        page.body
    );
    for (next, leads_to) in [
        ("/password?x=1", "/password?x=1"),
        ("//elsewhere.example", "/student"),
        ("https://elsewhere.example", "/student"),
    ] {
        let fields = [("login", "0042"), ("password", PASSWORD), ("next", next)];
        assert_eq!(
            app.stranger()
                .post_open("/sign-in", &fields)
                .await
                .location(),
            leads_to
        );
    }
}

#[tokio::test]
async fn errors_are_pages_of_ours() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    let long = "x".repeat(70 * 1024);
    let not_found = person.get("/nowhere/at/all").await;
    let not_allowed = person
        .send(person.request(Method::DELETE, "/password"))
        .await;
    let too_long = person.post_form("/password", &[("current", &long)]).await;
    let not_a_form = person
        .request(Method::POST, "/password")
        .header("content-type", "application/json")
        .body("{}");
    let not_a_form = person.send(not_a_form).await;
    let twice = person
        .post_form("/password", &[("current", "a"), ("current", "b")])
        .await;
    for (answer, status, says) in [
        (&not_found, 404, "There is nothing at this address"),
        (&not_allowed, 405, "not used in that way"),
        (&too_long, 413, "64 KiB"),
        (&not_a_form, 415, "not a form as our pages send it"),
        (&twice, 400, "“current” came more than once, expected once"),
    ] {
        assert_eq!(answer.status, status, "{}", answer.body);
        assert_eq!(answer.header("content-type"), "text/html; charset=utf-8");
        assert!(answer.body.contains(says), "{}", answer.body);
        assert!(
            answer.body.contains("Quantitative analysis") && answer.body.contains("Ada Fennimore")
        );
    }
    assert_eq!(not_allowed.header("allow"), "GET,HEAD,POST");
}

#[tokio::test]
async fn a_duplicated_parameter_of_a_query_is_refused_too() {
    let app = TestApp::spawn().await;
    let answer = app.stranger().get("/sign-in?next=/a&next=/b").await;
    assert_eq!(answer.status, 400);
    assert!(answer.body.contains("“next” came more than once"));
}

#[tokio::test]
async fn a_form_sent_without_a_session_is_kept_until_its_owner_has_signed_in() {
    let app = TestApp::spawn().await;
    app.person("0042").await;
    let mut person = app.stranger();
    let refused = person
        .post_open(BENCH, &[("csrf", "old"), ("note", "18.40 & \"more\"")])
        .await;
    assert_eq!(refused.status, 401);
    let value = |name: &str| {
        let after = refused
            .body
            .split(&format!("name=\"{name}\" value=\""))
            .nth(1)
            .expect("is kept");
        after
            .split('"')
            .next()
            .unwrap_or_default()
            .replace("&#38;", "&")
    };
    let (path, body) = (value("again_path"), value("again_body"));
    assert_eq!(path, BENCH);
    let wrong = [
        ("login", "0042"),
        ("password", "x"),
        ("again_path", &path),
        ("again_body", &body),
    ];
    assert!(
        person
            .post_open("/sign-in", &wrong)
            .await
            .body
            .contains("name=\"again_body\""),
        "kept through a typing error"
    );
    let right = [
        ("login", "0042"),
        ("password", PASSWORD),
        ("again_path", &path),
        ("again_body", &body),
    ];
    let page = person.post_open("/sign-in", &right).await;
    assert_eq!(page.status, 200);
    assert!(page.body.contains(&format!("action=\"{BENCH}\"")));
    assert!(page.body.contains("Send it now as Ada Fennimore"));
    assert!(
        page.body
            .contains("name=\"note\" value=\"18.40 &#38; &#34;more&#34;\""),
        "{}",
        page.body
    );
    let token = page.body.split("name=\"csrf\" value=\"").nth(1);
    let token = token
        .and_then(|after| after.split('"').next())
        .expect("a token");
    let sent = person.post_open("/password", &[("csrf", token)]).await;
    assert_eq!(sent.status, 422, "the token of the new session is taken");
}

#[tokio::test]
async fn files_are_kept_by_their_version() {
    let app = TestApp::spawn().await;
    let mut person = app.stranger();
    let page = person.get("/sign-in").await.body;
    let address = page
        .split("href=\"")
        .find(|part| part.starts_with("/static/style.css"))
        .expect("a style sheet");
    let address = address.split('"').next().unwrap_or_default();
    let file = person.get(address).await;
    assert_eq!(file.header("content-type"), "text/css; charset=utf-8");
    assert_eq!(
        file.header("cache-control"),
        "public, max-age=31536000, immutable"
    );
    let tag = file.header("etag").to_owned();
    let again = person
        .request(Method::GET, "/static/style.css")
        .header("if-none-match", tag);
    assert_eq!(person.send(again).await.status, 304);
    assert_eq!(
        person
            .get("/static/style.css?v=0")
            .await
            .header("cache-control"),
        "no-cache"
    );
    assert_eq!(person.get("/static/../Cargo.toml").await.status, 404);
}

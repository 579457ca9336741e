//! Signing in with a real browser.

use super::{Browser, LAPTOP, Look, PHONE, with};
use crate::app::{PASSWORD, TestApp};
use crate::web::second_step::device;

async fn claims_then_signs_out_and_in(app: TestApp, browser: Browser, name: &str) {
    let code = app.code_for("0042").await;
    browser.open(&format!("{}/student", app.address)).await;
    assert_eq!(browser.path().await, "/sign-in");
    browser.screenshot(&format!("sign-in-{name}")).await;
    browser.open(&format!("{}/claim", app.address)).await;
    browser.fill("#login", "0042").await;
    browser.fill("#code", &code.to_lowercase()).await;
    browser.fill("#password", "too short").await;
    browser.fill("#repeat", "too short").await;
    browser.submit("main button").await;
    assert!(
        browser
            .text(".summary-errors")
            .await
            .contains("at least 15")
    );
    assert!(
        browser
            .text("#password-fault")
            .await
            .contains("at least 15")
    );
    browser.screenshot(&format!("claim-faults-{name}")).await;
    browser.fill("#password", PASSWORD).await;
    browser.fill("#repeat", PASSWORD).await;
    browser.submit("main button").await;
    assert_eq!(browser.path().await, "/student");
    browser.open(&format!("{}/password", app.address)).await;
    assert!(browser.text(".person").await.contains("Ada Fennimore"));
    browser.screenshot(&format!("password-{name}")).await;
    browser.open(&format!("{}/nowhere", app.address)).await;
    assert_eq!(browser.text("h1").await, "Nothing here");
    browser.screenshot(&format!("not-found-{name}")).await;
    browser.submit(".person button").await;
    assert_eq!(browser.path().await, "/sign-in");

    browser.fill("#login", "0042").await;
    browser.fill("#password", "copper kettle walks south").await;
    browser.submit("main button").await;
    assert!(
        browser
            .text(".summary-errors")
            .await
            .contains("do not belong together")
    );
    browser.screenshot(&format!("sign-in-wrong-{name}")).await;
    browser.fill("#password", PASSWORD).await;
    browser.submit("main button").await;
    assert_eq!(browser.path().await, "/student");
}

async fn visit(look: Look, name: &'static str) {
    let app = TestApp::spawn().await;
    with(look, |browser| {
        claims_then_signs_out_and_in(app, browser, name)
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_laptop() {
    visit(LAPTOP, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_phone_without_scripts_in_the_dark() {
    let look = Look {
        dark: true,
        scripts: false,
        ..PHONE
    };
    visit(look, "phone-dark").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn scripts_are_off_when_they_should_be() {
    let app = TestApp::spawn().await;
    let look = Look {
        scripts: false,
        ..LAPTOP
    };
    with(look, |browser| async move {
        browser.open(&format!("{}/sign-in", app.address)).await;
        let page = "data:text/html,<title>off</title><script>document.title='on'</script>";
        browser.open(page).await;
        assert_eq!(browser.driver.title().await.expect("a title"), "off");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_does_not_scroll_sideways() {
    let app = TestApp::spawn().await;
    with(PHONE, |browser| async move {
        for path in ["/sign-in", "/claim"] {
            browser.open(&format!("{}{path}", app.address)).await;
            assert_eq!(browser.overhang().await, 0, "{path}");
            let width = browser
                .driver
                .execute("return innerWidth", vec![])
                .await
                .expect("runs");
            assert_eq!(width.json().as_i64(), Some(360));
            browser
                .screenshot(&format!("{}-phone-light", &path[1..]))
                .await;
        }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_sent_after_the_session_ended_is_kept() {
    let app = TestApp::spawn().await;
    let _claimed = app.person("0042").await;
    with(LAPTOP, |browser| async move {
        browser.open(&format!("{}/sign-in", app.address)).await;
        browser.fill("#login", "0042").await;
        browser.fill("#password", PASSWORD).await;
        browser.submit("main button").await;
        browser.open(&format!("{}/password", app.address)).await;
        // any form of the course will do: this one is sent to where readings go
        let script = "const form = document.querySelector('main form');
            form.action = '/student/experiments/none/bench';
            document.querySelector('#current').type = 'text';";
        browser.driver.execute(script, vec![]).await.expect("runs");
        browser.fill("#current", "18.40").await;
        browser.fill("#password", "x").await;
        browser.fill("#repeat", "x").await;
        app.clock.put_forward(jiff::SignedDuration::from_hours(3));
        browser.submit("main button").await;
        assert_eq!(browser.text("h1").await, "Sign in again");
        browser.screenshot("sign-in-again").await;
        browser.fill("#login", "0042").await;
        browser.fill("#password", PASSWORD).await;
        browser.submit("main button").await;
        assert_eq!(browser.text("h1").await, "You are signed in again");
        let kept = browser.find("input[name=current]").await;
        let kept = kept.prop("value").await.expect("has a value");
        assert_eq!(kept.as_deref(), Some("18.40"));
        browser.screenshot("signed-in-again").await;
        browser.submit("main button").await;
        assert_eq!(browser.path().await, "/student/experiments/none/bench");
    })
    .await;
}

/// Set up with a device, signed out, and in again with a password and what the device shows.
async fn sets_up_a_second_step(app: TestApp, browser: Browser) {
    let code = app.code_for("i.quell").await;
    browser.open(&format!("{}/claim", app.address)).await;
    browser.fill("#login", "i.quell").await;
    browser.fill("#code", &code).await;
    browser.fill("#password", PASSWORD).await;
    browser.fill("#repeat", PASSWORD).await;
    browser.submit("main button").await;
    browser.open(&format!("{}/second-step", app.address)).await;
    browser.submit("main form button").await;
    assert_eq!(browser.path().await, "/second-step");
    let key = browser.text("main p .code").await;
    browser.fill("#code", &device(&key, app.clock.now())).await;
    browser.screenshot("second-step").await;
    browser.submit("main form button").await;
    assert!(browser.text(".notice").await.contains("recovery codes"));
    browser.submit(".person button").await;
    browser.fill("#login", "i.quell").await;
    browser.fill("#password", PASSWORD).await;
    browser.submit("main button").await;
    assert_eq!(browser.text("h1").await, "Second step");
    browser.fill("#code", "000000").await;
    browser.submit("main button").await;
    let told = browser.text(".summary-errors").await;
    assert!(told.contains("not the code of this moment"), "{told}");
    app.clock.put_forward(jiff::SignedDuration::from_secs(60));
    browser.fill("#code", &device(&key, app.clock.now())).await;
    browser.submit("main button").await;
    // that it was turned on is told once, in case it was somebody else
    assert_eq!(browser.path().await, "/access");
    browser.submit("main .bar a.button").await;
    assert_eq!(browser.path().await, "/course");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_step_is_set_up_and_asked_for() {
    let app = TestApp::spawn().await;
    with(PHONE, |browser| sets_up_a_second_step(app, browser)).await;
}

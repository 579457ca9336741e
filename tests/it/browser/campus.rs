//! Signing in at the institution and coming back, with a real browser.

use serde_json::json;

use super::{LAPTOP, Look, PHONE, with};
use crate::provider::Trick;
use crate::web::campus::with_provider;

async fn goes_and_comes_back(look: Look, name: &'static str) {
    let (app, provider) = with_provider().await;
    provider.asks();
    provider.says(Trick::Honest, json!({ "preferred_username": "0042" }));
    with(look, |browser| async move {
        browser
            .open(&format!("{}/student/record", app.address))
            .await;
        assert_eq!(browser.path().await, "/sign-in");
        browser.screenshot(&format!("campus-{name}")).await;
        browser.submit("main a.button").await;
        assert_eq!(browser.text("h1").await, "The campus");
        browser.submit("#go").await;
        // back on the page that was asked for, as who the course says
        assert_eq!(browser.path().await, "/student/record");
        assert!(browser.text(".person").await.contains("Ada Fennimore"));
        browser.submit(".person button").await;
        provider.says(Trick::Unsigned, json!({ "preferred_username": "0042" }));
        browser.submit("main a.button").await;
        browser.submit("#go").await;
        assert_eq!(browser.text("h1").await, "Not open to you");
        assert!(browser.text("main").await.contains("algorithm “none”"));
        browser.screenshot(&format!("campus-refused-{name}")).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_laptop() {
    goes_and_comes_back(LAPTOP, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_phone_without_scripts() {
    let look = Look {
        scripts: false,
        ..PHONE
    };
    goes_and_comes_back(look, "phone").await;
}

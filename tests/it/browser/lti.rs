//! Launched from a platform, with a real browser: another site posts here, and nothing but that is let through.

use serde_json::json;

use super::{LAPTOP, Look, PHONE, with};
use crate::lti::platform::CLAIM;
use crate::lti::with_platform;

async fn launched_as_a_student(look: Look, name: &'static str) {
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("ada@students.example"));
    });
    with(look, |browser| async move {
        let course = format!("{}/course?tool={}", platform.address, app.address);
        browser.open(&course).await;
        assert_eq!(browser.text("h1").await, "The platform");
        browser.submit("#go").await;
        assert_eq!(browser.text("h1").await, "On the way");
        browser.submit("#on").await;
        assert_eq!(browser.path().await, "/student");
        assert!(browser.text(".person").await.contains("Ada Fennimore"));
        browser.open(&format!("{}/mail", app.address)).await;
        browser
            .submit("main form[action='/mail/calendar'] button")
            .await;
        browser.screenshot(&format!("mail-{name}")).await;
        browser.submit(".person button").await;
        // a message that is not believed says why, and nobody is signed in
        platform.tell(|told| {
            told.claims
                .insert(format!("{CLAIM}deployment_id"), json!("dep-4"));
        });
        browser.open(&course).await;
        browser.submit("#go").await;
        browser.submit("#on").await;
        assert_eq!(browser.text("h1").await, "Not open to you");
        assert!(browser.text("main").await.contains("another deployment"));
        browser.screenshot(&format!("lti-refused-{name}")).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_student_on_a_laptop() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    launched_as_a_student(dark, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_student_on_a_phone_without_scripts() {
    let look = Look {
        scripts: false,
        ..PHONE
    };
    launched_as_a_student(look, "phone").await;
}

async fn launched_as_the_coordinator(look: Look, name: &'static str) {
    let (app, platform) = with_platform("custom").await;
    platform.tell(|told| {
        let custom = json!({ "student_number": "i.quell" });
        told.claims.insert(format!("{CLAIM}custom"), custom);
    });
    with(look, |browser| async move {
        let course = format!("{}/course?tool={}", platform.address, app.address);
        browser.open(&course).await;
        browser.submit("#go").await;
        browser.submit("#on").await;
        assert_eq!(browser.path().await, "/course");
        assert!(browser.text(".person").await.contains("Iris Quell"));
        for page in ["lti", "mail"] {
            browser
                .open(&format!("{}/course/{page}", app.address))
                .await;
            browser.screenshot(&format!("course-{page}-{name}")).await;
        }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_coordinator_on_a_laptop() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    launched_as_the_coordinator(dark, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_coordinator_on_a_phone() {
    launched_as_the_coordinator(PHONE, "phone").await;
}

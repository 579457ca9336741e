//! Launched from a platform, with a real browser: another site posts here, and nothing but that is let through.

use serde_json::json;

use super::{LAPTOP, Look, PHONE, with};
use crate::lti::grades::Back;
use crate::lti::platform::CLAIM;
use crate::lti::services::member;
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

/// The roster comes from the platform, grades go there; a grade is corrected, the platform is away and comes back.
async fn roster_in_and_grades_back(look: Look, name: &'static str) {
    let mut back = Back::open().await;
    let (address, there) = (back.app.address.clone(), back.platform.address.clone());
    back.platform.tell(|told| {
        told.services
            .members
            .push(member("u-77", "Noor", "Lund", "0077"));
    });
    with(look, move |browser| async move {
        let shot = async |what: &str| {
            browser.screenshot(&format!("platform-{what}-{name}")).await;
        };
        let shows = async |text: &str| {
            let main = browser.text("main").await;
            assert!(main.contains(text), "{text} in {main}");
        };
        browser
            .open(&format!("{there}/course?tool={address}"))
            .await;
        browser.submit("#go").await;
        browser.submit("#on").await;
        assert_eq!(browser.path().await, "/course");
        browser.open(&format!("{address}/course/platform")).await;
        shows("Chemistry, 5th of many").await;
        shot("course").await;
        browser
            .submit("form[action='/course/platform/members'] button")
            .await;
        shows("1 join the roster").await;
        shows("Lund, Noor").await;
        shot("roster").await;
        browser
            .submit("form[action='/course/roster/confirm'] button")
            .await;
        assert_eq!(browser.path().await, "/course/roster");
        shows("4 students").await;
        let grades = format!("{address}/course/platform/grades");
        back.release(true).await;
        browser.open(&grades).await;
        shows("2 waiting").await;
        assert_eq!(back.pass().await.sent, 2);
        browser.open(&grades).await;
        shows("2 sent").await;
        shot("sent").await;
        // corrected while the platform is away
        back.platform.go_away().await;
        back.adjust("0042", -2).await;
        back.pass().await;
        browser.open(&grades).await;
        shows("cannot be had").await;
        shows("there it is").await;
        shot("away").await;
        back.platform.come_back().await;
        browser
            .submit("main form[action='/course/platform/grades/again'] button")
            .await;
        shows("1 grade is tried within half a minute").await;
        assert_eq!(back.pass().await.sent, 1);
        browser.open(&grades).await;
        shows("2 sent").await;
        // refused, with the reason
        back.platform
            .tell(|told| told.services.no_scores = Some(422));
        back.adjust("0042", -3).await;
        back.pass().await;
        browser.open(&grades).await;
        shows("status 422").await;
        shot("refused").await;
        browser.open(&format!("{address}/course/lti")).await;
        shows("Keys of this server").await;
        shot("registered").await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn roster_and_grades_on_a_laptop() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    roster_in_and_grades_back(dark, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn roster_and_grades_on_a_phone_without_scripts() {
    let look = Look {
        scripts: false,
        ..PHONE
    };
    roster_in_and_grades_back(look, "phone").await;
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

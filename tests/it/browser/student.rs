//! A student's way from the list to the receipt, the correction and the feedback, in a real browser.

use concordant::desk::release;

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use crate::week;

async fn looked_at(browser: &Browser, name: &str, page: &str) {
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
    browser.screenshot(&format!("student-{page}-{name}")).await;
}

fn field(name: &str) -> String {
    format!("[name=\"{name}\"]")
}

async fn journey(app: TestApp, browser: Browser, name: &str, look: Look) {
    sign_in(&app, &browser, "0042").await;
    assert_eq!(browser.path().await, "/student");
    looked_at(&browser, name, "home").await;
    browser.submit("a[href='/student/experiments/acid']").await;
    looked_at(&browser, name, "experiment").await;
    browser
        .submit("a[href='/student/experiments/acid/bench']")
        .await;
    looked_at(&browser, name, "bench").await;

    browser.fill(&field("1.burette_start_mL"), "0,00").await;
    browser.fill(&field("1.burette_end_mL"), "20.4O").await;
    browser.fill(&field("2.burette_start_mL"), "0.10").await;
    browser.fill(&field("2.burette_end_mL"), "20.48").await;
    let live = browser
        .find("fieldset[data-trial='2'] [data-delivered]")
        .await;
    let shown = live.is_displayed().await.expect("known");
    assert_eq!(
        shown, look.scripts,
        "the delivered volume is live with scripts only"
    );
    if look.scripts {
        assert_eq!(live.text().await.expect("text"), "Delivered 20.38 mL");
    }
    // the option with a value comes second
    browser.click("#lot option:nth-child(2)").await;
    browser.fill("#reported", "0.2043").await;
    browser.submit("main .bar button").await;
    assert!(
        browser
            .text(".summary-errors")
            .await
            .contains("1 field needs another look")
    );
    let kept = browser
        .find(&field("2.burette_end_mL"))
        .await
        .value()
        .await
        .expect("a value");
    assert_eq!(kept.as_deref(), Some("20.48"));
    looked_at(&browser, name, "bench-fault").await;

    browser.fill(&field("1.burette_end_mL"), "20.4").await;
    browser.submit("main .bar button").await;
    assert_eq!(browser.text("h1").await, "Look it over");
    assert!(
        browser
            .text("main")
            .await
            .contains("20.4 is not written with 2 decimals")
    );
    looked_at(&browser, name, "look").await;
    browser.submit("main .bar button").await;
    assert!(
        browser
            .text(".summary-errors")
            .await
            .contains("Some readings look odd")
    );
    browser.click(".question input").await;
    browser.submit("main .bar button").await;
    assert!(browser.text("h1").await.starts_with("Receipt no."));
    looked_at(&browser, name, "receipt").await;

    browser
        .open(&format!("{}/student/experiments/acid/bench", app.address))
        .await;
    browser.fill(&field("1.burette_end_mL"), "20.40").await;
    browser.fill("#reason", "the last nought was missing").await;
    browser.submit("main .bar button").await;
    browser.submit("main .bar button").await;
    assert!(browser.text("h1").await.starts_with("Receipt no."));
    browser
        .open(&format!("{}/student/experiments/acid", app.address))
        .await;
    assert!(browser.text(".replaced s").await.contains("Version 1"));
    looked_at(&browser, name, "record").await;

    release(&app.desk, "acid", ("i.quell", app.clock.now()))
        .await
        .expect("released");
    browser
        .open(&format!("{}/student/experiments/acid", app.address))
        .await;
    assert!(browser.text("main").await.contains("of 22.00 points"));
    looked_at(&browser, name, "feedback").await;
}

async fn visit(look: Look, name: &'static str) {
    let app = week::app().await;
    with(look, move |browser| journey(app, browser, name, look)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_phone() {
    visit(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_phone_without_scripts_in_the_dark() {
    let look = Look {
        scripts: false,
        dark: true,
        ..PHONE
    };
    visit(look, "phone-dark").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_laptop_in_the_dark() {
    visit(
        Look {
            dark: true,
            ..LAPTOP
        },
        "laptop-dark",
    )
    .await;
}

//! A student's way from the list to the receipt, the correction and the feedback, in a real browser.

use concordant::desk::release;

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use crate::week;

async fn looked_at(browser: &Browser, name: &str, page: &str) {
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
    browser.screenshot(&format!("student-{page}-{name}")).await;
}

/// A field by its name.
pub fn field(name: &str) -> String {
    format!("[name=\"{name}\"]")
}

/// Types into a field of the bench form, whose part of the form is opened first where one is shown at a time.
pub async fn write(browser: &Browser, css: &str, text: &str) {
    open_part_of(browser, css).await;
    browser.fill(css, text).await;
}

/// Opens the part of the bench form that holds an element, where one is shown at a time.
pub async fn open_part_of(browser: &Browser, css: &str) {
    let script = "const step = document.querySelector(arguments[0]).closest('[data-step]');
        return step.getClientRects().length ? '' : step.dataset.step";
    let away = browser.driver.execute(script, vec![css.into()]).await;
    let away = away.expect("runs").json().as_str().map(str::to_owned);
    if let Some(step) = away.filter(|step| !step.is_empty()) {
        let button = format!(".trial-steps [aria-label='{step}']");
        browser.click(&button).await;
    }
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

    write(&browser, &field("1.burette_start_mL"), "0,00").await;
    write(&browser, &field("1.burette_end_mL"), "20.4O").await;
    write(&browser, &field("2.burette_start_mL"), "0.10").await;
    write(&browser, &field("2.burette_end_mL"), "20.48").await;
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
    open_part_of(&browser, "#lot").await;
    // the option with a value comes second
    browser.click("#lot option:nth-child(2)").await;
    write(&browser, "#reported", "0.2043").await;
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

    write(&browser, &field("1.burette_end_mL"), "20.4").await;
    browser.submit("main .bar button").await;
    assert_eq!(browser.text("h1").await, "Check before handing in");
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
    write(&browser, &field("1.burette_end_mL"), "20.40").await;
    write(&browser, "#reason", "the last nought was missing").await;
    browser.submit("main .bar button").await;
    browser.submit("main .bar button").await;
    assert!(browser.text("h1").await.starts_with("Receipt no."));
    browser
        .open(&format!("{}/student/experiments/acid", app.address))
        .await;
    assert!(browser.text(".replaced s").await.contains("Version 1"));
    looked_at(&browser, name, "record").await;

    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
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

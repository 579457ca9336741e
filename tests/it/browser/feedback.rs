//! After release: what students are told, the class, another look, the record; and readings shared by a group.

use concordant::desk::forms::{ShowTruth, enter};
use concordant::desk::release;
use concordant::form::Typed;
use serde_json::json;

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use crate::sharing::{class_of_twelve, group_of_two, hand_in_as};

const PAGE: &str = "/student/experiments/acid";
const PLAIN: Look = Look {
    scripts: false,
    dark: true,
    ..PHONE
};

async fn looked_at(browser: &Browser, name: &str) {
    assert!(browser.overhang().await <= 0, "{name} scrolls sideways");
    browser.screenshot(name).await;
}

async fn another_look(look: Look, name: &'static str) {
    let app = class_of_twelve().await;
    let now = app.clock.now();
    let show = Typed::from([("show", "yes")]);
    enter(
        &app.desk,
        &ShowTruth(crate::key("acid")),
        &show,
        ("i.quell", now),
    )
    .await
    .expect("chosen");
    release(&app.desk, &crate::key("acid"), ("i.quell", now))
        .await
        .expect("released");
    with(look, move |browser| async move {
        sign_in(&app, &browser, "0042").await;
        browser.open(&format!("{}{PAGE}", app.address)).await;
        assert!(
            browser
                .text("main")
                .await
                .contains("Your bottle U-1 held 0.20371 mol/L")
        );
        assert!(
            browser
                .text(".class-picture")
                .await
                .contains("Of 13 results of the class")
        );
        looked_at(&browser, &format!("feedback-class-{name}")).await;
        browser.submit(".talk button").await;
        assert!(
            browser
                .text("#note-error")
                .await
                .contains("expected a sentence")
        );
        browser
            .fill(
                "#note",
                "My tip had an air bubble in trial 2.\nCould you look?",
            )
            .await;
        browser.submit(".talk button").await;
        assert!(browser.text(".notice").await.contains("is with the staff"));
        assert!(browser.text(".talk").await.contains("waits for an answer"));

        sign_out(&app, &browser).await;
        sign_in(&app, &browser, "b.tarn").await;
        assert!(
            browser
                .text("main")
                .await
                .contains("asked for another look")
        );
        browser.submit(".shortlist a").await;
        assert!(
            browser
                .text("main")
                .await
                .contains("My tip had an air bubble")
        );
        looked_at(&browser, &format!("submission-asked-{name}")).await;
        browser
            .fill("#note-reason", "I looked: the readings agree, it stands.")
            .await;
        browser.submit("form[action$='/note'] button").await;
        assert!(browser.text(".notice").await.contains("Note sent"));

        sign_out(&app, &browser).await;
        sign_in(&app, &browser, "0042").await;
        browser.open(&format!("{}{PAGE}", app.address)).await;
        let talk = browser.text(".talk").await;
        assert!(
            talk.contains("Bo Tarn") && talk.contains("it stands"),
            "{talk}"
        );
        assert!(!talk.contains("waits for an answer"));
        looked_at(&browser, &format!("feedback-answered-{name}")).await;
        browser
            .open(&format!("{}/student/record", app.address))
            .await;
        let record = browser.text("main").await;
        assert!(record.contains("it stands") && record.contains("of 22.00 points"));
        looked_at(&browser, &format!("record-{name}")).await;
    })
    .await;
}

async fn sign_out(app: &TestApp, browser: &Browser) {
    browser.driver.delete_all_cookies().await.expect("gone");
    browser.open(&format!("{}/sign-in", app.address)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn feedback_and_another_look_on_a_laptop() {
    another_look(LAPTOP, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn feedback_and_another_look_on_a_phone_without_scripts() {
    another_look(PLAIN, "phone-dark").await;
}

async fn shared(look: Look, name: &'static str) {
    let app = group_of_two().await;
    hand_in_as(&app, "0042", "20.40", "20.48").await;
    with(look, move |browser| async move {
        sign_in(&app, &browser, "0043").await;
        browser.open(&format!("{}{PAGE}", app.address)).await;
        assert!(
            browser
                .text("main")
                .await
                .contains("They were entered by Ada Fennimore")
        );
        browser.submit("main .bar a.button").await;
        assert!(
            browser
                .text("main")
                .await
                .contains("Entered by Ada Fennimore")
        );
        looked_at(&browser, &format!("shared-{name}")).await;
        browser.submit("main form button").await;
        assert!(
            browser
                .text("#reported-fault")
                .await
                .contains("found nothing")
        );
        browser.fill("#reported", "0,2050").await;
        browser.submit("main form button").await;
        assert!(browser.text("h1").await.starts_with("Receipt no."));
        browser.open(&format!("{}{PAGE}", app.address)).await;
        let page = browser.text("main").await;
        assert!(page.contains("Your own answer: 0,2050"), "{page}");
        assert!(
            !page.contains("0.2043"),
            "the mate's answer is the mate's own affair"
        );
        looked_at(&browser, &format!("shared-record-{name}")).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn shared_readings_on_a_phone() {
    shared(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn shared_readings_without_scripts() {
    shared(PLAIN, "phone-dark").await;
}

/// What is wrong with how formulae are set, a line to each.
const BADLY_SET: &str = r#"
const wrong = [];
const box = e => e.getBoundingClientRect();
const size = e => parseFloat(getComputedStyle(e).fontSize);
const shown = css => [...document.querySelectorAll(css)].filter(e => box(e).width > 0);
if (document.fonts.size > 0) wrong.push('a font is fetched');
for (const e of shown('.step .eqs')) if (e.scrollWidth > e.clientWidth) wrong.push('too wide: ' + e.textContent);
for (const e of shown('math')) if (box(e).right > innerWidth) wrong.push('beyond the edge: ' + e.textContent);
for (const e of shown('msub')) {
  const [base, low] = e.children;
  const share = size(low) / size(base);
  if (share > 0.85 || size(low) < 10) wrong.push('size of ' + e.textContent + ': ' + size(low));
  if (box(low).bottom < box(base).bottom + 1) wrong.push('not lowered: ' + e.textContent);
}
for (const e of shown('mfrac')) {
  const [over, under] = [...e.children].map(box);
  if (over.bottom > under.top) wrong.push('one on the other: ' + e.textContent);
}
return {wrong, subscripts: shown('msub').length, fractions: shown('mfrac').length};
"#;

#[tokio::test(flavor = "multi_thread")]
async fn formulae_are_legible_at_any_width_without_a_font_of_their_own() {
    let app = class_of_twelve().await;
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    with(LAPTOP, move |browser| async move {
        sign_in(&app, &browser, "0042").await;
        browser.open(&format!("{}{PAGE}", app.address)).await;
        for width in [320, 360, 1280] {
            let metrics =
                json!({"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": false});
            browser
                .command("Emulation.setDeviceMetricsOverride", metrics)
                .await;
            let found = browser.driver.execute(BADLY_SET, vec![]).await;
            let found = found.expect("the script runs").json().clone();
            assert_eq!(found["wrong"], json!([]), "{width} px");
            for what in ["subscripts", "fractions"] {
                assert!(found[what].as_u64() > Some(0), "{width} px: no {what}");
            }
            looked_at(&browser, &format!("formulae-{width}")).await;
        }
    })
    .await;
}

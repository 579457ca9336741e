//! A coordinator looks at a bad lot in a real browser, corrects it, and sees sections side by side.

use concordant::desk::{bring_in_term, give_points_to};
use rust_decimal::Decimal;

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use concordant::simulate::supplies::Wrong;

use crate::audit::rehearsal::crossed;

async fn looked_at(browser: &Browser, page: &str) {
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
    browser.screenshot(page).await;
}

async fn app() -> TestApp {
    let app = TestApp::spawn_new().await;
    let wrong = Wrong::Both([(1, 1.8), (3, 3.0)]);
    let term = crossed("vinegar-acidity")
        .but(wrong)
        .rehearse(42)
        .expect("can be carried out")
        .term;
    let points: Vec<(concordant::ids::StudentId, Decimal)> = term
        .students
        .iter()
        .zip(0_i64..)
        .map(|(student, n)| {
            let generous = student.section == "S2" || student.section == "S3";
            let tenths = if generous { 17 + n % 4 } else { 11 + n % 7 };
            (student.id.clone(), Decimal::new(tenths, 1))
        })
        .collect();
    let now = app.clock.now();
    bring_in_term(&app.desk, &term, "test", now)
        .await
        .expect("is brought in");
    let given = give_points_to(&app.desk, &crate::key("e"), &points, ("a1", now)).await;
    assert!(given.expect("given").is_empty());
    app
}

async fn corrects(app: TestApp, browser: Browser, name: &str) {
    sign_in(&app, &browser, "i.quell").await;
    let to = |path: &str| format!("{}/course{path}", app.address);
    browser.open(&to("/audit")).await;
    looked_at(&browser, &format!("audit-overview-{name}")).await;
    browser.open(&to("/experiments/e/audit")).await;
    let lot = browser.text("main").await;
    assert!(
        lot.contains("Titrant lot L1") && lot.contains("Unknown U3"),
        "{lot}"
    );
    looked_at(&browser, &format!("audit-experiment-{name}")).await;
    browser
        .submit("form[action='/course/lots/preview'] button")
        .await;
    let preview = browser.text("main").await;
    assert!(preview.contains("Nothing is changed yet"), "{preview}");
    looked_at(&browser, &format!("audit-preview-{name}")).await;
    browser.submit("form[action='/course/lots'] button").await;
    looked_at(&browser, &format!("audit-lots-{name}")).await;
    let view = app.desk.view().await.expect("a course");
    assert_eq!(view.term.lots["L1"].version, 2);
    drop(view);
    browser.open(&to("/sections")).await;
    looked_at(&browser, &format!("sections-{name}")).await;
    // keys reach everything a mouse does
    browser.open(&to("/experiments/e/audit")).await;
    browser.click("details summary").await;
    looked_at(&browser, &format!("audit-results-{name}")).await;
}

async fn correcting(look: Look, name: &'static str) {
    let app = app().await;
    with(look, move |browser| corrects(app, browser, name)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_lot_on_a_phone_in_the_dark_without_scripts() {
    correcting(
        Look {
            scripts: false,
            dark: true,
            ..PHONE
        },
        "phone-dark",
    )
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_lot_on_a_phone() {
    correcting(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_lot_on_a_laptop() {
    correcting(LAPTOP, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_lot_on_a_laptop_in_the_dark() {
    correcting(
        Look {
            dark: true,
            ..LAPTOP
        },
        "laptop-dark",
    )
    .await;
}

/// A lot that loses 1 % in four days: its page has a value by day.
async fn drifting(look: Look, name: &'static str) {
    let app = TestApp::spawn_new().await;
    let class = crossed("vinegar-acidity").with_many_bottles().over_a_week();
    let rehearsed = class.but(Wrong::Decay(0, 0.25)).rehearse(42);
    let term = rehearsed.expect("can be carried out").term;
    let now = app.clock.now();
    bring_in_term(&app.desk, &term, "test", now)
        .await
        .expect("is brought in");
    with(look, move |browser| async move {
        sign_in(&app, &browser, "i.quell").await;
        let page = format!("{}/course/experiments/e/audit", app.address);
        browser.open(&page).await;
        let main = browser.text("main").await;
        assert!(
            main.contains("Titrant lot L0") && main.contains("drifts by +0.2"),
            "{main}"
        );
        assert!(
            main.contains("2026-09-18") && main.contains("By day"),
            "{main}"
        );
        looked_at(&browser, &format!("audit-drift-{name}")).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_drift_on_a_phone_in_the_dark() {
    drifting(
        Look {
            dark: true,
            ..PHONE
        },
        "phone-dark",
    )
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_drift_on_a_laptop() {
    drifting(LAPTOP, "laptop").await;
}

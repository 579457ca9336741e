//! The prep room's journeys: a lot, a batch of twelve, labels, an issue list; with and without scripts.

use std::fs;
use std::path::PathBuf;

use serde_json::json;

use super::{Browser, LAPTOP, Look, PHONE, from_base64, sign_in, with};
use crate::app::TestApp;
use crate::{prep, week};

const QUIET: Look = Look {
    scripts: false,
    ..LAPTOP
};
const QUIET_PHONE: Look = Look {
    scripts: false,
    ..PHONE
};
const DARK_PHONE: Look = Look {
    dark: true,
    ..PHONE
};

async fn choose(browser: &Browser, field: &str, value: &str) {
    let option = format!("select[name=\"{field}\"] option[value=\"{value}\"]");
    browser.click(&option).await;
}

async fn is_narrow_enough(browser: &Browser, page: &str) {
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
}

/// Signs in, records a lot row by row, and sees its value before it is kept.
async fn a_lot(app: TestApp, browser: Browser, name: &'static str) {
    sign_in(&app, &browser, "f.alder").await;
    assert_eq!(browser.path().await, "/prep");
    browser.screenshot(&format!("{name}-home")).await;
    is_narrow_enough(&browser, "home").await;
    browser.submit("main a.button").await;
    for (field, value) in [
        ("code", "C-7"),
        ("reagent", "Na2CO3"),
        ("formula", "Na2CO3"),
        ("weighed", "2,6497"),
        ("purity", "0.9995"),
    ] {
        browser.fill(&format!("#{field}"), value).await;
    }
    choose(&browser, "balance", "balance-0.1mg").await;
    choose(&browser, "flask", "flask-250-a").await;
    browser
        .submit("button[value=row]:not(.visually-hidden)")
        .await;
    choose(&browser, "taken.1", "burette-50-a").await;
    browser.fill("[name=\"volume.1\"]", "40.0x").await;
    choose(&browser, "flask.1", "flask-100-a").await;
    browser.submit(".bar button[value=look]").await;
    let fault = browser.text(".field-error").await;
    assert!(fault.contains("40.0x"), "{fault}");
    browser.screenshot(&format!("{name}-form")).await;
    is_narrow_enough(&browser, "form").await;
    browser.fill("[name=\"volume.1\"]", "40.00").await;
    browser.submit(".bar button[value=look]").await;
    let page = browser.text("main").await;
    assert!(page.contains("0.03998"), "{page}");
    browser.screenshot(&format!("{name}-look")).await;
    is_narrow_enough(&browser, "look").await;
    browser.submit(".bar button[value=enter]").await;
    assert_eq!(browser.path().await, "/prep/lot");
    let page = browser.text("main").await;
    assert!(page.contains("The lot is recorded."), "{page}");
    browser.screenshot(&format!("{name}-lot")).await;
    is_narrow_enough(&browser, "lot").await;
    browser.open(&format!("{}/prep/lots", app.address)).await;
    browser.screenshot(&format!("{name}-lots")).await;
    is_narrow_enough(&browser, "lots").await;
}

/// A batch of twelve, then what is printed for it.
async fn a_batch(app: TestApp, browser: Browser, name: &'static str) {
    sign_in(&app, &browser, "f.alder").await;
    let at = format!("{}/prep/experiments/acid", app.address);
    browser.open(&format!("{at}/batch?how=stock")).await;
    browser.fill("#formula", "HCl").await;
    browser.fill("#stock", "0.5012").await;
    browser.fill("#stock_u", "0.0004").await;
    choose(&browser, "taken", "burette-50-a").await;
    choose(&browser, "made_up", "flask-100-a").await;
    browser.fill("#many", &prep::lines()).await;
    browser.screenshot(&format!("{name}-batch")).await;
    is_narrow_enough(&browser, "batch").await;
    browser.submit(".bar button[value=look]").await;
    browser.screenshot(&format!("{name}-batch-look")).await;
    is_narrow_enough(&browser, "batch looked at").await;
    browser.submit(".bar button[value=enter]").await;
    let page = browser.text("main").await;
    assert!(page.contains("12 unknowns are recorded."), "{page}");
    browser.screenshot(&format!("{name}-unknowns")).await;
    is_narrow_enough(&browser, "unknowns").await;
    for (page, file) in [
        ("labels?first=3&copies=2", "labels"),
        ("issue-list?bench=1", "issue-list"),
        ("bench-sheets?section=A", "bench-sheets"),
        ("key", "key"),
        ("unknown?code=R03", "unknown"),
    ] {
        browser.open(&format!("{at}/{page}")).await;
        browser.screenshot(&format!("{name}-{file}")).await;
        is_narrow_enough(&browser, page).await;
    }
    browser.open(&format!("{at}/key")).await;
    browser.submit(".bar button").await;
    let page = browser.text("main").await;
    assert!(page.contains("R03") && page.contains("0.2165"), "{page}");
    browser.screenshot(&format!("{name}-key-open")).await;
    is_narrow_enough(&browser, "open key").await;
}

/// Inches.
const PAPERS: [(&str, f64, f64); 2] = [("a4", 8.27, 11.69), ("letter", 8.5, 11.0)];

/// Prints the page; how many sheets it takes. Kept as `NAME-PAPER.pdf` if pictures are wanted. A page of labels says
/// itself what it is printed on.
async fn sheets(browser: &Browser, name: &str, paper: (&str, f64, f64)) -> usize {
    let own = name.starts_with("labels");
    let size = json!({"paperWidth": paper.1, "paperHeight": paper.2, "preferCSSPageSize": own});
    let printed = browser.command("Page.printToPDF", size).await;
    let pdf = from_base64(printed["data"].as_str().expect("a document"));
    if let Some(directory) = std::env::var_os("CONCORDANT_SCREENSHOTS").map(PathBuf::from) {
        fs::create_dir_all(&directory).expect("a directory for pictures");
        fs::write(directory.join(format!("{name}-{}.pdf", paper.0)), &pdf).expect("kept");
    }
    let text = String::from_utf8_lossy(&pdf);
    text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
}

async fn on_paper(app: TestApp, browser: Browser) {
    let mut person = app.person("f.alder").await;
    prep::enter_batch(&mut person).await;
    sign_in(&app, &browser, "i.quell").await;
    let at = format!("{}/prep/experiments", app.address);
    // 14 bottles, 4 labels each, from the third label on: 58 places
    for (sheet, expected) in [("a4-70x36", 3), ("a4-63x38", 3), ("letter-67x25", 2)] {
        let page = format!("{at}/acid/labels?sheet={sheet}&first=3&copies=4");
        browser.open(&page).await;
        let taken = sheets(&browser, &format!("labels-{sheet}"), PAPERS[0]).await;
        assert_eq!(taken, expected, "{sheet}");
    }
    browser
        .open(&format!(
            "{}/prep/lots/labels?hazard=Irritant.%20Wear%20eye%20protection.",
            app.address
        ))
        .await;
    assert_eq!(sheets(&browser, "labels-lots", PAPERS[0]).await, 1);
    for paper in PAPERS {
        for (page, name, expected) in [
            ("prep/experiments/acid/issue-list?bench=1", "issue-list", 2),
            ("prep/experiments/acid/bench-sheets", "bench-sheets", 3),
            (
                "prep/experiments/shell/bench-sheets?blank=1",
                "blank-sheet",
                1,
            ),
            ("sheets/acid", "section-sheet", 2),
        ] {
            browser.open(&format!("{}/{page}", app.address)).await;
            let taken = sheets(&browser, name, paper).await;
            assert_eq!(taken, expected, "{name} on {}", paper.0);
        }
        browser.open(&format!("{at}/acid/key")).await;
        browser.submit(".bar button").await;
        assert_eq!(
            sheets(&browser, "key", paper).await,
            1,
            "the key on {}",
            paper.0
        );
    }
}

/// The chart of a lot that sections have used, with the table behind it.
async fn a_chart(app: TestApp, browser: Browser, name: &'static str) {
    sign_in(&app, &browser, "p.rowan").await;
    browser.screenshot(&format!("{name}-home")).await;
    is_narrow_enough(&browser, "home").await;
    browser
        .open(&format!("{}/prep/lot?code=W-T1", app.address))
        .await;
    let words = browser.text(".control desc").await;
    let found = browser
        .driver
        .execute(
            "return [document.querySelectorAll('.control circle').length, \
             document.querySelectorAll('details tbody tr').length]",
            vec![],
        )
        .await;
    let found = found.expect("the script runs").json().clone();
    assert_eq!(found[0], found[1], "a row for each dot: {found} {words}");
    assert!(found[0].as_u64() > Some(3), "{found}");
    browser.click("details summary").await;
    browser.screenshot(&format!("{name}-chart")).await;
    is_narrow_enough(&browser, "chart").await;
}

async fn demo() -> TestApp {
    let app = TestApp::spawn_new().await;
    let folder = concordant::files::demo_folder();
    concordant::desk::bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("imported");
    app
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lot_over_the_term() {
    let app = demo().await;
    with(LAPTOP, move |browser| {
        a_chart(app, browser, "prep-laptop-demo")
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lot_over_the_term_on_a_dark_phone() {
    let app = demo().await;
    with(DARK_PHONE, move |browser| {
        a_chart(app, browser, "prep-dark-phone-demo")
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lot_is_recorded() {
    let app = week::app().await;
    with(LAPTOP, move |browser| a_lot(app, browser, "prep-laptop")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lot_is_recorded_without_scripts_on_a_phone() {
    let app = week::app().await;
    with(QUIET_PHONE, move |browser| {
        a_lot(app, browser, "prep-phone")
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_without_scripts() {
    let app = week::app().await;
    with(QUIET, move |browser| a_batch(app, browser, "prep-laptop")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_on_a_dark_phone() {
    let app = week::app().await;
    with(DARK_PHONE, move |browser| {
        a_batch(app, browser, "prep-dark-phone")
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_prep_room_prints() {
    let app = week::app().await;
    with(LAPTOP, move |browser| on_paper(app, browser)).await;
}

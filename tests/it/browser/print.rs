//! What a page looks like on paper: a student's report and a submission, on A4 and on Letter.

use std::fs;
use std::path::PathBuf;

use concordant::desk::release;
use serde_json::json;

use super::{Browser, LAPTOP, Look, from_base64, sign_in, with};
use crate::app::TestApp;
use crate::week::acid_form;
use crate::{assistant, week};

const KEY: &str = "0123456789abcdef0123456789abcdef";

/// Inches.
const PAPERS: [(&str, f64, f64); 2] = [("a4", 8.27, 11.69), ("letter", 8.5, 11.0)];

/// Prints the page; how many sheets it takes. Kept as `NAME-PAPER.pdf` if pictures are wanted.
async fn sheets(browser: &Browser, name: &str, paper: (&str, f64, f64)) -> usize {
    let size = json!({"paperWidth": paper.1, "paperHeight": paper.2});
    let printed = browser.command("Page.printToPDF", size).await;
    let pdf = from_base64(printed["data"].as_str().expect("a document"));
    if let Some(directory) = std::env::var_os("CONCORDANT_SCREENSHOTS").map(PathBuf::from) {
        fs::create_dir_all(&directory).expect("a directory for pictures");
        fs::write(directory.join(format!("{name}-{}.pdf", paper.0)), &pdf).expect("kept");
    }
    let text = String::from_utf8_lossy(&pdf);
    text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
}

/// What a script finds on the page as it is printed.
async fn found(browser: &Browser, script: &str) -> serde_json::Value {
    let value = browser.driver.execute(script, vec![]).await;
    value.expect("the script runs").json().clone()
}

async fn is_fit_for_paper(browser: &Browser, name: &str) {
    for paper in PAPERS {
        let sheets = sheets(browser, name, paper).await;
        assert!(
            (2..=6).contains(&sheets),
            "{name}: {sheets} sheets of {}",
            paper.0
        );
    }
    browser
        .command("Emulation.setEmulatedMedia", json!({"media": "print"}))
        .await;
    let shown = "return [...document.querySelectorAll('nav, button, a.button, form, .bar, .foot')]\
        .filter(e => e.getClientRects().length > 0).map(e => e.outerHTML)";
    assert_eq!(
        found(browser, shown).await,
        json!([]),
        "{name}: shown on paper"
    );
    let ground = "const s = getComputedStyle(document.body); return [s.backgroundColor, s.color]";
    let black_on_white = json!(["rgb(255, 255, 255)", "rgb(0, 0, 0)"]);
    assert_eq!(found(browser, ground).await, black_on_white, "{name}");
    let split = "return [...document.querySelectorAll('.step, main tr')]\
        .filter(e => getComputedStyle(e).breakInside != 'avoid').length";
    assert_eq!(
        found(browser, split).await,
        json!(0),
        "{name}: may be split"
    );
    let steps = "return [...document.querySelectorAll('.step')]\
        .filter(e => !e.closest('.part details') && e.getClientRects().length > 0 && e.offsetHeight > 0).length";
    let steps = found(browser, steps).await.as_u64().unwrap_or_default();
    assert!(steps >= 10, "{name}: {steps} steps on paper");
}

async fn a_report(app: TestApp, browser: Browser) {
    let mut student = app.person("0042").await;
    let form = acid_form(KEY, "0", "20.40", "20.48");
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    sign_in(&app, &browser, "0042").await;
    browser
        .open(&format!("{}/student/experiments/acid", app.address))
        .await;
    is_fit_for_paper(&browser, "report").await;
    let page = browser.text("main").await;
    let head = "Acid in a plain solution\nAda Fennimore, 0042, section A\n";
    assert!(page.starts_with(head), "{page}");
    assert!(!page.contains("What to do"), "{page}");

    browser
        .open(&format!("{}/student/record", app.address))
        .await;
    for paper in PAPERS {
        assert_eq!(sheets(&browser, "record", paper).await, 1, "{}", paper.0);
    }
    let shown = "return [...document.querySelectorAll('nav, button, a, .foot')]\
        .filter(e => e.getClientRects().length > 0 && !e.closest('.course')).length";
    assert_eq!(found(&browser, shown).await, json!(0), "shown on paper");
}

async fn a_submission(app: TestApp, browser: Browser) {
    sign_in(&app, &browser, "b.tarn").await;
    browser
        .open(&format!("{}/review/acid/0042", app.address))
        .await;
    is_fit_for_paper(&browser, "submission").await;
    let page = browser.text("main").await;
    assert!(page.starts_with("Fennimore, Ada\n"), "{page}");
    let causes = "return document.querySelector('.print-open .causes').offsetHeight";
    let height = found(&browser, causes).await.as_u64();
    assert!(height > Some(100), "the budget is {height:?} px high");
}

const DARK: Look = Look {
    dark: true,
    ..LAPTOP
};

#[tokio::test(flavor = "multi_thread")]
async fn a_students_report() {
    let app = week::app().await;
    with(DARK, move |browser| a_report(app, browser)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assistants_submission() {
    let app = assistant::evening().await;
    with(DARK, move |browser| a_submission(app, browser)).await;
}

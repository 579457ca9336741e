//! The review desk with a keyboard alone: Tab and Enter, no pointer, and always in sight where the focus is.

use std::time::Duration;

use concordant::term::Ruling;
use thirtyfour::Key;

use super::{Browser, LAPTOP, sign_in, with};
use crate::app::TestApp;
use crate::assistant;

/// Presses a key where the focus is.
async fn press(browser: &Browser, key: &str) {
    let chain = browser.driver.action_chain().send_keys(key);
    chain.perform().await.expect("the key is pressed");
}

/// Goes on with Tab until the focus is on what is asked for; every stop on the way shows that it has the focus.
async fn tab_to(browser: &Browser, css: &str) {
    let script = "const at = document.activeElement, style = getComputedStyle(at); \
        return [at.matches(arguments[0]), style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2, at.outerHTML.slice(0, 120)]";
    let tab = Key::Tab.value().to_string();
    for _ in 0..80 {
        press(browser, &tab).await;
        let found = browser.driver.execute(script, vec![css.into()]).await;
        let found = found.expect("the script runs").json().clone();
        assert_eq!(found[1], true, "no focus to be seen on {}", found[2]);
        if found[0] == true {
            return;
        }
    }
    panic!("80 times Tab did not lead to {css}");
}

/// Presses Enter on what leads to another page, and waits for it.
async fn enter(browser: &Browser) {
    let before = browser.find("html").await;
    press(browser, &Key::Enter.value().to_string()).await;
    for _ in 0..200 {
        if before.tag_name().await.is_err() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("Enter led to no other page within 10 s");
}

async fn says(browser: &Browser, text: &str) {
    let page = browser.text("main").await;
    assert!(page.contains(text), "{text} in {page}");
}

async fn settles_by_keys(app: TestApp, browser: Browser) {
    sign_in(&app, &browser, "b.tarn").await;
    says(&browser, "2 submissions wait for you").await;
    // past the navigation by the first link of the page
    press(&browser, &Key::Tab.value().to_string()).await;
    press(&browser, &Key::Enter.value().to_string()).await;
    tab_to(&browser, "main .bar a.button").await;
    enter(&browser).await;
    // a decision that takes a number and a reason
    tab_to(&browser, "details:has(#adjust-points) > summary").await;
    press(&browser, &Key::Enter.value().to_string()).await;
    tab_to(&browser, "#adjust-points").await;
    press(&browser, "-1.5").await;
    tab_to(&browser, "#adjust-reason").await;
    press(&browser, "the notebook is missing").await;
    tab_to(&browser, "form:has(#adjust-points) button").await;
    enter(&browser).await;
    says(&browser, "the notebook is missing").await;
    browser.open(&format!("{}/review", app.address)).await;
    says(&browser, "1 submission waits for you").await;
    // and one that takes nothing but a yes
    tab_to(&browser, "main .bar a.button").await;
    enter(&browser).await;
    tab_to(&browser, "#decide form button").await;
    enter(&browser).await;
    browser.open(&format!("{}/review", app.address)).await;
    says(&browser, "Nothing waits for you").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_review_desk_with_a_keyboard_alone() {
    let app = assistant::evening().await;
    with(LAPTOP, move |browser| settles_by_keys(app, browser)).await;
}

/// A trial is left out by its number, the reason, and two presses.
async fn leaves_a_trial_out(app: TestApp, browser: Browser) {
    sign_in(&app, &browser, "b.tarn").await;
    browser
        .open(&format!("{}/review/acid/0042", app.address))
        .await;
    // the key of each decision stands on it
    for (form, key) in [("trial", "t"), ("adjust", "p"), ("return", "r")] {
        let css = format!("details:has(#{form}-reason) > summary kbd");
        assert_eq!(browser.text(&css).await, key);
    }
    let readings = browser
        .find("#readings")
        .await
        .rect()
        .await
        .expect("a place");
    let result = browser.find("#result").await.rect().await.expect("a place");
    assert!(readings.y < result.y, "readings stand under the flags");
    let mut presses = 0;
    press(&browser, "1").await;
    presses += 1;
    press(&browser, "its endpoint was overrun").await;
    let before = browser.find("html").await;
    press(&browser, &Key::Tab.value().to_string()).await;
    press(&browser, &Key::Enter.value().to_string()).await;
    presses += 2;
    for _ in 0..200 {
        if before.tag_name().await.is_err() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert!(presses <= 4);
    browser
        .open(&format!("{}/review/acid/0042", app.address))
        .await;
    says(&browser, "its endpoint was overrun").await;
    let view = app.desk.view().await.expect("a course");
    let made = &view
        .term
        .decisions
        .get(&crate::slot("acid", "0042"))
        .expect("is there");
    let last = made.last().expect("a decision");
    assert!(
        matches!(last.ruling, Ruling::LeaveOut { trial: 1 }),
        "{:?}",
        last.ruling
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trial_is_left_out_by_its_number_and_a_reason() {
    let app = assistant::evening().await;
    with(LAPTOP, move |browser| leaves_a_trial_out(app, browser)).await;
}

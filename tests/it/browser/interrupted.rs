//! The bench interrupted: a dead connection, an ended session, somebody else at the device, two tabs.

use std::time::Duration;

use concordant::desk::accounts::set_password;
use serde_json::json;
use thirtyfour::By;

use super::bench::{BENCH, NO_SCRIPTS, at_the_bench, drafts, says, set_offline, two_trials, value};
use super::line::Line;
use super::student::{field, open_part_of, write};
use super::{Browser, Look, PHONE, sign_in_at, with};
use crate::app::{PASSWORD, TestApp};
use crate::week;

/// What the page of the newest receipt says first.
async fn receipt(app: &TestApp) -> String {
    let view = app.desk.view().await.expect("a course");
    let revisions = view.term.submissions.values().flatten();
    let newest = revisions.filter_map(|one| one.receipt).max();
    format!("Receipt no. {}", newest.expect("a receipt"))
}

async fn submissions(app: &TestApp) -> usize {
    let view = app.desk.view().await.expect("a course");
    let slot = crate::slot("acid", "0042");
    view.term.submissions.get(&slot).map_or(0, Vec::len)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dead_connection_loses_nothing_and_hands_in_once() {
    let app = week::app().await;
    with(PHONE, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        two_trials(&browser).await;
        set_offline(&browser, true).await;
        browser.click("main .bar button").await;
        says(
            &browser,
            "[data-state]",
            "No connection. Draft kept on this phone",
        )
        .await;
        browser.screenshot("bench-phone-offline").await;
        let before = browser.find("html").await;
        set_offline(&browser, false).await;
        for _ in 0..300 {
            if before.tag_name().await.is_err() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        assert_eq!(browser.text("h1").await, "Check before handing in");
        set_offline(&browser, true).await;
        browser.click("main .bar button").await;
        says(
            &browser,
            "[data-state]",
            "No connection. Draft kept on this phone",
        )
        .await;
        assert_eq!(submissions(&app).await, 0);
        browser.click("[data-state] button").await;
        says(&browser, "[data-state]", "No connection").await;
        browser.screenshot("look-phone-offline").await;
        set_offline(&browser, false).await;
        says(&browser, "h1", "Receipt no. ").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        assert_eq!(submissions(&app).await, 1);
        assert_eq!(drafts(&browser).await, 0);
    })
    .await;
}

async fn an_ended_session(look: Look) {
    let app = week::app().await;
    with(look, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        two_trials(&browser).await;
        browser.submit("main .bar button").await;
        assert_eq!(browser.text("h1").await, "Check before handing in");
        app.clock.put_forward(jiff::SignedDuration::from_hours(3));
        browser.submit("main .bar button").await;
        assert_eq!(browser.text("h1").await, "Sign in again");
        browser.fill("#login", "0042").await;
        browser.fill("#password", PASSWORD).await;
        browser.submit("main button").await;
        assert_eq!(browser.text("h1").await, "You are signed in again");
        assert_eq!(value(&browser, "2.burette_end_mL").await, "20.48");
        browser.submit("main button").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        assert_eq!(submissions(&app).await, 1);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_ended_session_asks_to_sign_in_and_keeps_everything() {
    an_ended_session(PHONE).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_ended_session_keeps_everything_without_scripts() {
    an_ended_session(NO_SCRIPTS).await;
}

/// What was kept over the sign-in page is not handed in by somebody else.
#[tokio::test(flavor = "multi_thread")]
async fn a_form_of_somebody_else_is_not_handed_in() {
    let app = week::app().await;
    let set = set_password(&app.desk, "0043", PASSWORD, app.clock.now()).await;
    set.expect("an account");
    with(NO_SCRIPTS, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        two_trials(&browser).await;
        app.clock.put_forward(jiff::SignedDuration::from_hours(3));
        browser.submit("main .bar button").await;
        browser.fill("#login", "0043").await;
        browser.fill("#password", PASSWORD).await;
        browser.submit("main button").await;
        browser.submit("main button").await;
        assert!(
            browser
                .text("main")
                .await
                .contains("filled in by somebody else")
        );
        assert!(
            !browser
                .driver
                .source()
                .await
                .expect("a page")
                .contains("20.48")
        );
    })
    .await;
}

async fn two_tabs(look: Look) {
    let app = week::app().await;
    with(look, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        let first = browser.driver.window().await.expect("a tab");
        let second = browser.driver.new_tab().await.expect("another tab");
        browser
            .driver
            .switch_to_window(second.clone())
            .await
            .expect("there");
        if look == NO_SCRIPTS {
            browser
                .command(
                    "Emulation.setScriptExecutionDisabled",
                    json!({"value": true}),
                )
                .await;
        }
        browser.open(&format!("{}{BENCH}", app.address)).await;
        write(&browser, &field("1.burette_start_mL"), "0.00").await;
        write(&browser, &field("1.burette_end_mL"), "33.33").await;
        browser.driver.switch_to_window(first).await.expect("there");
        two_trials(&browser).await;
        browser.submit("main .bar button").await;
        browser.submit("main .bar button").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        browser
            .driver
            .switch_to_window(second)
            .await
            .expect("there");
        open_part_of(&browser, "#lot").await;
        browser.click("#lot option:nth-child(2)").await;
        browser.submit("main .bar button").await;
        // one trial of two: still to be looked over, and then it is stale
        browser.submit("main .bar button").await;
        let told = browser.text(".summary-errors").await;
        assert!(told.contains("another version"), "{told}");
        assert!(
            browser.text(".replaced").await.contains("20.48"),
            "the version in the record is shown"
        );
        assert_eq!(value(&browser, "1.burette_end_mL").await, "33.33");
        browser
            .screenshot(&format!("bench-stale-{}", look.scripts))
            .await;
        write(&browser, "#reason", "the other tab had it wrong").await;
        browser.submit("main .bar button").await;
        browser.submit("main .bar button").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        assert_eq!(submissions(&app).await, 2);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_tab_is_told_and_loses_nothing() {
    two_tabs(PHONE).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stale_tab_is_told_and_loses_nothing_without_scripts() {
    two_tabs(NO_SCRIPTS).await;
}

/// Goes back, and says what the page shows first; a browser that asks whether to send a form again has no heading of ours.
async fn back(browser: &Browser) -> String {
    browser.driver.back().await.expect("there is a way back");
    browser.text("h1").await
}

async fn the_way_back(look: Look) {
    let app = week::app().await;
    with(look, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        let form = browser.text("h1").await;
        two_trials(&browser).await;
        write(&browser, &field("2.burette_end_mL"), "20,4x").await;
        browser.submit("main .bar button").await;
        assert!(browser.text(".summary-errors").await.contains("20,4x"));
        write(&browser, &field("2.burette_end_mL"), "20.48").await;
        browser.submit("main .bar button").await;
        assert_eq!(browser.text("h1").await, "Check before handing in");
        assert_eq!(back(&browser).await, form);
        // with scripts the draft is newer than the page that was refused
        let shown = if look.scripts { "20.48" } else { "20,4x" };
        assert_eq!(value(&browser, "2.burette_end_mL").await, shown);
        assert_eq!(value(&browser, "1.burette_end_mL").await, "20.40");
        browser.driver.forward().await.expect("there is a way on");
        assert_eq!(browser.text("h1").await, "Check before handing in");
        browser.driver.refresh().await.expect("the page comes anew");
        assert_eq!(browser.text("h1").await, "Check before handing in");
        browser.submit("main .bar button").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        assert_eq!(back(&browser).await, "Check before handing in");
        browser.submit("main .bar button").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        assert_eq!(submissions(&app).await, 1, "sent twice, received once");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_way_back_from_a_refused_form_asks_nothing_and_loses_nothing() {
    the_way_back(PHONE).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_way_back_from_a_refused_form_asks_nothing_without_scripts() {
    the_way_back(NO_SCRIPTS).await;
}

/// A page kept for one session is nobody else's.
#[tokio::test]
async fn a_kept_answer_is_shown_to_its_own_session_alone() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    let token = student.form_token().await;
    let typed = [("csrf", token.as_str()), ("1.burette_end_mL", "20,4x")];
    // as it comes, without going on to where it leads
    let answer = student.form(BENCH, &typed).send().await;
    let answer = answer.expect("an answer");
    assert_eq!(answer.status(), 303);
    let kept = answer.headers()["location"].to_str().expect("is text");
    let kept = kept.to_owned();
    let own = student.get(&kept).await;
    assert_eq!(own.status, 422);
    assert!(own.body.contains("20,4x"));
    let other = app.person("0043").await.get(&kept).await;
    assert_eq!((other.status, other.location()), (303, BENCH));
    let stranger = app.stranger().get(&kept).await;
    assert!(!stranger.body.contains("20,4x"));
}

/// Waits until the browser has put the empty form by.
async fn form_put_by(browser: &Browser) {
    let script = format!(
        "return navigator.serviceWorker.controller ? caches.match('{BENCH}').then(Boolean) : false"
    );
    for _ in 0..200 {
        let there = browser.driver.execute(&script, vec![]).await;
        if there.expect("the script runs").json() == &json!(true) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the form was not put by within 10 s");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_form_opens_without_a_connection_once_it_has_been_opened() {
    let app = week::app().await;
    with(PHONE, |browser| async move {
        let line = Line::to(&app.address).await;
        let address = format!("{}{BENCH}", line.address);
        sign_in_at(&app, &line.address, &browser, "0042").await;
        browser.open(&address).await;
        form_put_by(&browser).await;
        write(&browser, &field("1.burette_start_mL"), "0.00").await;
        write(&browser, &field("1.burette_end_mL"), "20.40").await;
        line.cut();
        browser.open(&address).await;
        says(&browser, "[data-state]", "No connection").await;
        assert_eq!(value(&browser, "1.burette_end_mL").await, "20.40");
        let page = browser.driver.source().await.expect("a page");
        assert!(!page.contains("Fennimore") && page.contains("Bottle"));
        write(&browser, &field("2.burette_start_mL"), "0.10").await;
        write(&browser, &field("2.burette_end_mL"), "20.48").await;
        browser.screenshot("bench-phone-opened-offline").await;
        browser.click("main .bar button").await;
        says(&browser, "[data-state]", "the page opens anew").await;
        assert_eq!(submissions(&app).await, 0);
        line.join();
        says(&browser, ".person", "Fennimore").await;
        assert_eq!(value(&browser, "1.burette_end_mL").await, "20.40");
        assert_eq!(value(&browser, "2.burette_end_mL").await, "20.48");
        open_part_of(&browser, "#lot").await;
        browser.click("#lot option:nth-child(2)").await;
        browser.submit("main .bar button").await;
        assert_eq!(browser.text("h1").await, "Check before handing in");
        form_put_by(&browser).await;
        line.cut();
        browser.submit("main .bar button.quiet").await;
        assert_eq!(value(&browser, "2.burette_end_mL").await, "20.48");
        line.join();
        browser.submit("main .bar button").await;
        browser.submit("main .bar button").await;
        browser.submit("main .bar button").await;
        assert!(browser.text("h1").await.starts_with(&receipt(&app).await));
        assert_eq!(submissions(&app).await, 1);
        browser.submit(".account form button").await;
        let left = browser
            .driver
            .execute("return caches.keys().then((names) => names.length)", vec![]);
        assert_eq!(left.await.expect("the script runs").json(), &json!(0));
        line.cut();
        // an error page is no page of ours, whether or not the driver takes it for one
        let _opened = browser.driver.goto(&address).await;
        let form = browser.driver.find(By::Css("form[data-bench]")).await;
        assert!(form.is_err(), "nothing is left on the device");
    })
    .await;
}

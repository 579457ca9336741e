//! The bench interrupted: a dead connection, an ended session, somebody else at the device, two tabs.

use std::time::Duration;

use concordant::desk::accounts::set_password;
use serde_json::json;

use super::bench::{BENCH, NO_SCRIPTS, at_the_bench, drafts, says, set_offline, two_trials, value};
use super::student::{field, open_part_of, write};
use super::{Look, PHONE, with};
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

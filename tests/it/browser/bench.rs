//! The bench in a real browser: taps, drafts, a dead connection, an ended session, two tabs, a scanned label.

use std::time::Duration;

use concordant::desk::accounts::set_password;
use concordant::desk::bring_in;
use concordant::files::Folder;
use serde_json::json;
use thirtyfour::{By, Key};

use super::student::{field, open_part_of, write};
use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::{PASSWORD, TestApp};
use crate::{schemes, week};

pub const BENCH: &str = "/student/experiments/acid/bench";
pub const NO_SCRIPTS: Look = Look {
    scripts: false,
    ..PHONE
};

/// The week with three trials asked for and one lot, so that nothing but readings is left to enter.
async fn three_trials() -> TestApp {
    let app = TestApp::spawn().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let text = String::from_utf8(bytes.to_vec()).expect("is text");
        let text = text
            .replace("minimum = 2", "minimum = 3")
            .replace("B-1,NaOH,0.2510,0.0002\n", "");
        folder.insert(path, text.into_bytes()).expect("room");
    }
    let now = app.clock.now();
    bring_in(&app.desk, &folder, "test", now)
        .await
        .expect("imported");
    app
}

pub async fn at_the_bench(app: &TestApp, browser: &Browser, login: &str) {
    sign_in(app, browser, login).await;
    browser.open(&format!("{}{BENCH}", app.address)).await;
}

pub async fn value(browser: &Browser, name: &str) -> String {
    let found = browser.find(&field(name)).await.prop("value").await;
    found.expect("has a value").unwrap_or_default()
}

async fn run(browser: &Browser, script: &str) -> serde_json::Value {
    let value = browser.driver.execute(script, vec![]).await;
    value.expect("the script runs").json().clone()
}

pub async fn drafts(browser: &Browser) -> usize {
    let count = run(browser, "return localStorage.length").await;
    usize::try_from(count.as_u64().expect("a number")).expect("small")
}

pub async fn set_offline(browser: &Browser, offline: bool) {
    let conditions =
        json!({"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
    browser.command("Network.enable", json!({})).await;
    browser
        .command("Network.emulateNetworkConditions", conditions)
        .await;
}

/// Waits until an element says something.
pub async fn says(browser: &Browser, css: &str, words: &str) {
    for _ in 0..300 {
        if let Ok(found) = browser.driver.find(By::Css(css)).await
            && found.text().await.is_ok_and(|text| text.contains(words))
        {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("{css} does not say “{words}” within 15 s");
}

pub async fn two_trials(browser: &Browser) {
    write(browser, &field("1.burette_start_mL"), "0.00").await;
    write(browser, &field("1.burette_end_mL"), "20.40").await;
    write(browser, &field("2.burette_start_mL"), "0.10").await;
    write(browser, &field("2.burette_end_mL"), "20.48").await;
    write(browser, "#reported", "0.2043").await;
    open_part_of(browser, "#lot").await;
    browser.click("#lot option:nth-child(2)").await;
}

/// A three-trial titration takes no more taps than it has fields: a tap on the first, then Enter.
#[tokio::test(flavor = "multi_thread")]
async fn three_trials_take_no_more_taps_than_fields() {
    let app = three_trials().await;
    with(PHONE, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        assert_eq!(
            browser.text(".trial-steps [aria-current=step]").await,
            "1",
            "the bottles are known, so the first trial is open"
        );
        let readings = ["0.00", "20.40", "0,10", "20,48", "1.00", "21.42", "0.2043"];
        browser.click(&field("1.burette_start_mL")).await;
        let mut taps = 1;
        for (at, reading) in readings.iter().enumerate() {
            let here = browser.driver.active_element().await.expect("a field");
            here.send_keys(*reading).await.expect("can be typed into");
            if at + 1 < readings.len() {
                here.send_keys(Key::Enter + "").await.expect("Enter");
                taps += 1;
            }
        }
        assert_eq!(taps, readings.len());
        assert_eq!(value(&browser, "3.burette_end_mL").await, "21.42");
        assert_eq!(value(&browser, "reported").await, "0.2043");
        says(
            &browser,
            "[data-agreement]",
            "Trials 1, 2 and 3 agree within 0.10 mL: that is enough",
        )
        .await;
        browser.screenshot("bench-phone-answer").await;
        // Enter in the last field goes on
        let before = browser.find("html").await;
        let last = browser.driver.active_element().await.expect("a field");
        last.send_keys(Key::Enter + "").await.expect("Enter");
        for _ in 0..100 {
            if before.tag_name().await.is_err() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        assert_eq!(browser.text("h1").await, "Check before handing in");
        assert!(browser.text(".agreement").await.contains("that is enough"));
        browser.screenshot("bench-phone-look").await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_form_says_whether_another_trial_is_worth_doing_and_adds_one_offline() {
    let app = three_trials().await;
    with(PHONE, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        write(&browser, &field("1.burette_start_mL"), "0.00").await;
        write(&browser, &field("1.burette_end_mL"), "20.40").await;
        says(&browser, "[data-agreement]", "do another").await;
        open_part_of(&browser, &field("2.burette_start_mL")).await;
        let carry = browser.find("[data-trial='2'] .carry button").await;
        assert_eq!(
            carry.text().await.expect("text"),
            "Start where trial 1 ended (20.40)"
        );
        carry.click().await.expect("a tap");
        assert_eq!(value(&browser, "2.burette_start_mL").await, "20.40");
        let here = browser.driver.active_element().await.expect("a field");
        let here = here.attr("name").await.expect("a name");
        assert_eq!(here.as_deref(), Some("2.burette_end_mL"));
        write(&browser, &field("2.burette_end_mL"), "41.20").await;
        says(
            &browser,
            "[data-agreement]",
            "Trials 1 and 2 lie 0.4 mL apart. Look at the burette again before you empty it.",
        )
        .await;
        says(
            &browser,
            "[data-agreement]",
            "No two trials agree within 0.10 mL: another trial is worth doing",
        )
        .await;
        browser.screenshot("bench-phone-trial").await;
        // one more trial is offered behind the last
        open_part_of(&browser, &field("3.burette_start_mL")).await;
        set_offline(&browser, true).await;
        browser.click("button[value=add]").await;
        write(&browser, &field("4.burette_start_mL"), "0.00").await;
        write(&browser, &field("4.burette_end_mL"), "20.44").await;
        says(
            &browser,
            "[data-agreement]",
            "No connection: whether your trials agree is said when it is back",
        )
        .await;
        assert_eq!(
            browser.text("[data-trial='4'] [data-delivered]").await,
            "Delivered 20.44 mL"
        );
        set_offline(&browser, false).await;
        says(
            &browser,
            "[data-agreement]",
            "Trials 1 and 4 agree within 0.10 mL; 3 are to agree",
        )
        .await;
        says(
            &browser,
            "[data-agreement]",
            "Trial 2 lies 0.4 mL from the others. Look at the burette again.",
        )
        .await;
        browser.driver.refresh().await.expect("reloads");
        assert_eq!(value(&browser, "4.burette_end_mL").await, "20.44");
        // all of it had reached the server by then, and comes from there
        let note = browser.text("[data-kept-before]").await;
        assert!(note.contains("not been handed in"), "{note}");
        assert_eq!(browser.text("[data-restored]").await, "");
        browser.screenshot("bench-phone-restored").await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn without_scripts_a_reading_is_carried_on_and_a_trial_added() {
    let app = three_trials().await;
    with(NO_SCRIPTS, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        browser.fill(&field("1.burette_start_mL"), "0.00").await;
        browser.submit("button[value='carry:2']").await;
        assert!(
            browser
                .text(".summary-errors")
                .await
                .contains("found no end reading in trial 1")
        );
        browser.fill(&field("1.burette_end_mL"), "20.40").await;
        browser.submit("button[value='carry:2']").await;
        assert_eq!(value(&browser, "2.burette_start_mL").await, "20.40");
        browser.fill(&field("2.burette_end_mL"), "41.20").await;
        browser.submit("button[value=add]").await;
        assert_eq!(value(&browser, "4.burette_end_mL").await, "");
        assert_eq!(value(&browser, "2.burette_end_mL").await, "41.20");
        browser.screenshot("bench-plain").await;
        browser.submit("main .bar button").await;
        assert!(
            browser
                .text(".agreement")
                .await
                .contains("No two trials agree within 0.10 mL: another trial is worth doing")
        );
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_draft_is_its_owners_and_goes_with_the_receipt_or_the_session() {
    let app = week::app().await;
    with(LAPTOP, |browser| async move {
        at_the_bench(&app, &browser, "0042").await;
        assert_eq!(drafts(&browser).await, 0);
        browser.fill(&field("1.burette_start_mL"), "0.0").await;
        says(&browser, "[data-state]", "Draft kept on this phone").await;
        let kept = run(&browser, "return JSON.stringify({...localStorage})").await;
        let kept = kept.as_str().expect("text");
        assert!(kept.contains("0.0") && kept.contains("acid"), "{kept}");
        for other in ["0042", "Fennimore", "Ada", "csrf"] {
            assert!(!kept.contains(other), "{other} in {kept}");
        }
        // the session ends; somebody else signs in on the same device
        browser.driver.delete_all_cookies().await.expect("gone");
        at_the_bench(&app, &browser, "0043").await;
        assert_eq!(value(&browser, "1.burette_start_mL").await, "");
        assert!(
            !browser
                .find("[data-restored]")
                .await
                .is_displayed()
                .await
                .expect("known")
        );
        browser.driver.delete_all_cookies().await.expect("gone");
        at_the_bench(&app, &browser, "0042").await;
        assert_eq!(value(&browser, "1.burette_start_mL").await, "0.0");
        // handed in, it is gone
        two_trials(&browser).await;
        browser.submit("main .bar button").await;
        assert_eq!(drafts(&browser).await, 1);
        browser.submit("main .bar button").await;
        let receipt = browser.text("h1").await;
        assert!(receipt.starts_with("Receipt no. "), "{receipt}");
        let number = receipt.trim_start_matches("Receipt no. ").to_owned();
        assert_eq!(drafts(&browser).await, 0);
        // and a later one goes with the session
        browser.open(&format!("{}{BENCH}", app.address)).await;
        browser.fill("#reason", "misread").await;
        assert_eq!(drafts(&browser).await, 1);
        // a receipt of an earlier version does not take it
        browser
            .open(&format!("{}/student/receipts/{number}", app.address))
            .await;
        assert_eq!(drafts(&browser).await, 1);
        browser.submit(".person form button").await;
        assert_eq!(browser.path().await, "/sign-in");
        assert_eq!(drafts(&browser).await, 0);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_scanned_label_opens_the_form_with_its_code() {
    let app = week::app().await;
    let set = set_password(&app.desk, "0042", PASSWORD, app.clock.now()).await;
    set.expect("an account");
    with(PHONE, |browser| async move {
        browser
            .open(&format!("{}/student/bottle/u-2", app.address))
            .await;
        assert_eq!(browser.path().await, "/sign-in");
        browser.fill("#login", "0042").await;
        browser.fill("#password", PASSWORD).await;
        browser.submit("main button").await;
        assert_eq!(browser.path().await, BENCH);
        assert_eq!(value(&browser, "unknown").await, "U-2");
        // a draft does not put another code in its place
        open_part_of(&browser, "#unknown").await;
        browser.screenshot("bench-phone-scanned").await;
        browser.fill("#unknown", "U-9").await;
        browser
            .open(&format!("{}/student/bottle/acid/U-1", app.address))
            .await;
        assert_eq!(value(&browser, "unknown").await, "U-1");
    })
    .await;
}

/// Everything that is tapped on the bench form and the look-over page is at least 44 px high and wide.
#[tokio::test(flavor = "multi_thread")]
async fn targets_are_large() {
    for look in [PHONE, NO_SCRIPTS] {
        let app = week::app().await;
        with(look, |browser| async move {
            at_the_bench(&app, &browser, "0042").await;
            let small = "return [...document.querySelectorAll('main :is(a, button, input, select, summary, label.choice)')]
                .filter(e => !e.classList.contains('visually-hidden') && !e.closest('label.choice > *') && e.getClientRects().length)
                .map(e => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
                .filter(([, box]) => box.height < 44 || box.width < 44).map(([html]) => html)";
            browser.command("Emulation.setScriptExecutionDisabled", json!({"value": false})).await;
            assert_eq!(run(&browser, small).await, json!([]), "on the form");
            assert!(browser.overhang().await <= 0);
            two_trials(&browser).await;
            write(&browser, &field("2.burette_end_mL"), "20.4").await;
            browser.submit("main .bar button").await;
            assert_eq!(browser.text("h1").await, "Check before handing in");
            let small = small.replace("input,", "input:not([type=checkbox]),");
            assert_eq!(run(&browser, &small).await, json!([]), "on the look-over page");
            assert!(browser.overhang().await <= 0);
        })
        .await;
    }
}

/// The form of every scheme runs its script to the end, fits 320 px, and loads nothing but our own files and no font.
#[tokio::test(flavor = "multi_thread")]
async fn forms_of_every_scheme_fit_a_narrow_phone() {
    let app = TestApp::spawn().await;
    let imported = bring_in(&app.desk, &schemes::folder(), "test", app.clock.now()).await;
    imported.expect("imported");
    with(PHONE, |browser| async move {
        sign_in(&app, &browser, "01").await;
        let narrow = json!({"width": 320, "height": 640, "deviceScaleFactor": 2, "mobile": true});
        for (key, _) in schemes::SCHEMES {
            let bench = format!("{}/student/experiments/{key}/bench", app.address);
            browser.open(&bench).await;
            browser
                .command("Emulation.setDeviceMetricsOverride", narrow.clone())
                .await;
            assert_eq!(run(&browser, "return innerWidth").await, json!(320));
            let step = browser.text(".trial-steps [aria-current=step]").await;
            assert!(!step.is_empty(), "{key}");
            for part in browser
                .driver
                .find_all(By::Css(".trial-steps button"))
                .await
                .expect("parts")
            {
                part.click().await.expect("a tap");
                assert!(browser.overhang().await <= 0, "{key} scrolls sideways");
            }
            let elsewhere = "return performance.getEntriesByType('resource').map(e => e.name)
                .filter(name => !name.startsWith(location.origin) || name.includes('woff'))";
            assert_eq!(run(&browser, elsewhere).await, json!([]), "{key}");
            browser.screenshot(&format!("bench-{key}")).await;
        }
        // two portions of one trial, told apart
        let bench = "/student/experiments/magnesium-by-difference/bench";
        browser.open(&format!("{}{bench}", app.address)).await;
        for (name, text) in [
            ("1.burette_start_mL", "0.00"),
            ("1.burette_end_mL", "20.40"),
            ("1.second_start_mL", "0.00"),
            ("1.second_end_mL", "11.00"),
            ("2.burette_start_mL", "0.00"),
            ("2.burette_end_mL", "20.42"),
            ("2.second_start_mL", "0.00"),
            ("2.second_end_mL", "11.40"),
        ] {
            write(&browser, &field(name), text).await;
        }
        let delivered = browser.text("[data-trial='2'] [data-delivered]").await;
        assert_eq!(delivered, "Delivered 20.42 and 11.40 mL");
        says(&browser, "[data-agreement]", "No two trials agree").await;
    })
    .await;
}

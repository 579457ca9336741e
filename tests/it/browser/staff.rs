//! An assistant's evening and a coordinator's week in a real browser.

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use crate::{assistant, week};

async fn looked_at(browser: &Browser, page: &str) {
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
    browser.screenshot(page).await;
}

async fn says(browser: &Browser, text: &str) {
    let page = browser.text("main").await;
    assert!(page.contains(text), "{text} in {page}");
}

async fn settles_what_waits(app: TestApp, browser: Browser, name: &str) {
    sign_in(&app, &browser, "b.tarn").await;
    assert_eq!(browser.path().await, "/review");
    says(&browser, "2 submissions wait for you").await;
    looked_at(&browser, &format!("assistant-list-{name}")).await;
    browser.submit(".bar a.button").await;
    looked_at(&browser, &format!("assistant-submission-{name}")).await;
    browser.click(".print-open summary").await;
    browser.click(".print-open:has(.part) summary").await;
    // with the font that says by how much, which is fetched once a formula is seen
    let lowered = "await document.fonts.ready; const [base, below] = document.querySelector('.step msub').children; \
        return below.getBoundingClientRect().bottom - base.getBoundingClientRect().bottom";
    let lowered = browser.driver.execute(lowered, vec![]).await;
    let lowered = lowered.expect("the script runs").json().as_f64();
    assert!(
        lowered > Some(0.5),
        "a subscript stands {lowered:?} px below"
    );
    looked_at(&browser, &format!("assistant-derivation-{name}")).await;

    // a decision without its reason comes back with what was chosen
    let adjust = "form:has(#adjust-points)";
    browser.click("details:has(#adjust-points) summary").await;
    browser.fill("#adjust-points", "-1.5").await;
    browser.submit(&format!("{adjust} button")).await;
    says(&browser, "Not decided yet").await;
    let kept = browser
        .find("#adjust-points")
        .await
        .value()
        .await
        .expect("a value");
    assert_eq!(kept.as_deref(), Some("-1.5"));
    looked_at(&browser, &format!("assistant-fault-{name}")).await;
    browser
        .fill(
            &format!("{adjust} textarea, {adjust} input[name='reason']"),
            "the notebook is missing",
        )
        .await;
    browser.submit(&format!("{adjust} button")).await;
    says(&browser, "the notebook is missing").await;

    // then to the next: accepting takes it off the list
    browser.open(&format!("{}/review", app.address)).await;
    says(&browser, "1 submission waits for you").await;
    browser.submit(".bar a.button").await;
    browser.submit("#decide form button").await;
    browser.open(&format!("{}/review", app.address)).await;
    says(&browser, "Nothing waits for you").await;
    looked_at(&browser, &format!("assistant-done-{name}")).await;

    browser.open(&format!("{}/points/acid", app.address)).await;
    looked_at(&browser, &format!("assistant-points-{name}")).await;
}

/// With keys alone: open the first, accept, take it back, accept again, to the next, until nothing waits.
async fn settles_with_single_keys(app: TestApp, browser: Browser) {
    sign_in(&app, &browser, "b.tarn").await;
    browser.press("n").await;
    let first = browser.path().await;
    browser.press("a").await;
    assert_ne!(browser.path().await, first, "the next opens");
    browser.press("u").await;
    assert_eq!(browser.path().await, first);
    says(&browser, "Taken back").await;
    browser.press("a").await;
    browser.press("a").await;
    says(&browser, "Nothing waits for you").await;

    // turned off, they do nothing, on the next page neither
    browser.click("[data-keys-switch='off']").await;
    let all = format!("{}/review?status=settled", app.address);
    browser.open(&all).await;
    browser.submit(".shortlist h3 a").await;
    let page = browser.path().await;
    let body = browser.find("body").await;
    body.send_keys("l").await.expect("the key is pressed");
    assert_eq!(browser.path().await, page);
    says(&browser, "Single keys are off").await;
    browser.click("[data-keys-switch='on']").await;
    browser.press("l").await;
    assert_eq!(browser.path().await, "/review");

    // in the grid, Enter goes to the next student
    browser.open(&format!("{}/points/acid", app.address)).await;
    let field = browser.find(".points-grid input[type='text']").await;
    field
        .send_keys("1\u{e007}2")
        .await
        .expect("keys are pressed");
    let typed = "return [...document.querySelectorAll('.points-grid input[type=text]')].slice(0, 2).map((one) => one.value).join()";
    let typed = browser.driver.execute(typed, vec![]).await;
    assert_eq!(typed.expect("the script runs").json().as_str(), Some("1,2"));
}

async fn prepares_a_week(app: TestApp, browser: Browser, name: &str) {
    let files = tempfile::tempdir().expect("a directory");
    let roster = |file: &str, text: &str| {
        let path = files.path().join(file);
        std::fs::write(&path, text).expect("written");
        path.to_string_lossy().into_owned()
    };
    sign_in(&app, &browser, "i.quell").await;
    assert_eq!(browser.path().await, "/course");
    looked_at(&browser, &format!("coordinator-glance-{name}")).await;

    let to = |path: &str| format!("{}/course{path}", app.address);
    browser.open(&to("/roster")).await;
    let bad = roster(
        "bad.csv",
        "student_id,family_name,given_name,section\n0060,Ash,Mo,A\n0060,Ash,Mo,\n",
    );
    browser.choose("#roster", &bad).await;
    browser.submit("form:has(#roster) button").await;
    says(
        &browser,
        "found nothing, expected 1 to 40 characters on one line",
    )
    .await;
    looked_at(&browser, &format!("coordinator-faults-{name}")).await;
    browser.open(&to("/roster")).await;
    let good = roster(
        "good.csv",
        "student_id,family_name,given_name,section\n0060,Ash,Mo,A\n0061,=Birch,Io,B\n",
    );
    browser.choose("#roster", &good).await;
    browser.submit("form:has(#roster) button").await;
    says(&browser, "=Birch").await;
    looked_at(&browser, &format!("coordinator-preview-{name}")).await;
    browser
        .submit("form[action='/course/roster/confirm'] button")
        .await;
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .term
            .student("0061")
            .is_some()
    );

    let prep = |path: &str| format!("{}/prep{path}", app.address);
    browser.open(&prep("/lots/record?how=stated")).await;
    for (field, text) in [
        ("lot", "AG-1"),
        ("reagent", "Ag^+"),
        ("molarity", "0.0199x"),
        ("uncertainty", "0.00002"),
    ] {
        browser.fill(&format!("[name='{field}']"), text).await;
    }
    browser.submit(".bar button[value=look]").await;
    says(&browser, "0.0199x").await;
    looked_at(&browser, &format!("coordinator-lot-fault-{name}")).await;
    browser.fill("[name='molarity']", "0.01993").await;
    browser.submit(".bar button[value=look]").await;
    looked_at(&browser, &format!("coordinator-lot-look-{name}")).await;
    browser.submit(".bar button[value=enter]").await;
    says(&browser, "Lot AG-1").await;

    browser.open(&to("/experiments")).await;
    browser
        .click("#procedure option[value='spring-chloride']")
        .await;
    browser.fill("[name='key']", "spring").await;
    // a date field is typed into by its parts; the value is what is sent
    for (field, value) in [("opens", "2026-09-14T09:00"), ("due", "2099-09-21T17:00")] {
        let script = format!("document.querySelector(\"[name='{field}']\").value = '{value}'");
        browser.driver.execute(script, vec![]).await.expect("set");
    }
    browser
        .submit("form[action='/course/experiments'] button")
        .await;
    browser.open(&to("/experiments/spring")).await;
    says(&browser, "Is the marking fair?").await;
    looked_at(&browser, &format!("coordinator-experiment-{name}")).await;

    browser
        .open(&prep("/experiments/spring/batch?how=stated"))
        .await;
    browser
        .fill("[name='many']", "S1,141.2,0.2\nS2,152.0,0.2\nS3,160.7,0.2")
        .await;
    browser.submit(".bar button[value=look]").await;
    browser.submit(".bar button[value=enter]").await;
    says(&browser, "152.0").await;
    browser.open(&to("/experiments/spring/issue")).await;
    browser.submit("form[action$='/issue'] button").await;
    looked_at(&browser, &format!("coordinator-issue-{name}")).await;
    {
        let view = app.desk.view().await.expect("a course");
        let issued = view
            .term
            .issued
            .keys()
            .filter(|slot| slot.experiment == "spring")
            .count();
        assert_eq!(issued, view.term.students.len());
    }

    browser.open(&to("/experiments/acid/release")).await;
    looked_at(&browser, &format!("coordinator-release-{name}")).await;
    browser.submit("form[action$='/release'] button").await;
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .is_released(&crate::key("acid"))
    );
    for page in [
        "",
        "/staff",
        "/files",
        "/audit",
        "/lots",
        "/experiments",
        "/experiments/spring/unknowns",
    ] {
        browser.open(&to(page)).await;
        looked_at(
            &browser,
            &format!("coordinator{}-{name}", page.replace('/', "-")),
        )
        .await;
    }
}

async fn evening(look: Look, name: &'static str) {
    let app = assistant::evening().await;
    with(look, move |browser| settles_what_waits(app, browser, name)).await;
}

async fn preparing(look: Look, name: &'static str) {
    let app = week::app().await;
    with(look, move |browser| prepares_a_week(app, browser, name)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assistant_on_a_phone_without_scripts_in_the_dark() {
    evening(
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
async fn an_assistant_on_a_laptop() {
    evening(LAPTOP, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_coordinator_on_a_phone() {
    preparing(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_coordinator_on_a_laptop_without_scripts_in_the_dark() {
    preparing(
        Look {
            scripts: false,
            dark: true,
            ..LAPTOP
        },
        "laptop-dark",
    )
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assistant_with_single_keys() {
    let app = assistant::evening().await;
    with(LAPTOP, move |browser| {
        settles_with_single_keys(app, browser)
    })
    .await;
}

//! What a coordinator arranges while the term is running, in a real browser.

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use crate::coordinator::office::handed_in;

const ACID: &str = "/course/experiments/acid";

async fn looked_at(browser: &Browser, page: &str) {
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
    browser.screenshot(&format!("office-{page}")).await;
}

async fn says(browser: &Browser, text: &str) {
    let page = browser.text("main").await;
    assert!(page.contains(text), "{text} in {page}");
}

/// Sets a field that is typed into by its parts.
async fn set(browser: &Browser, css: &str, value: &str) {
    let script = format!("document.querySelector(\"{css}\").value = '{value}'");
    browser.driver.execute(script, vec![]).await.expect("set");
}

async fn arranges(app: TestApp, browser: Browser, name: &str) {
    sign_in(&app, &browser, "i.quell").await;
    looked_at(&browser, &format!("glance-{name}")).await;
    let to = |path: &str| format!("{}{ACID}{path}", app.address);
    browser.open(&to("/results")).await;
    says(&browser, "mean ").await;
    looked_at(&browser, &format!("results-{name}")).await;
    browser.open(&to("")).await;
    looked_at(&browser, &format!("experiment-{name}")).await;

    // a make-up with a mistake in it, then longer time, looked at first
    browser.open(&to("/extensions")).await;
    browser.fill("#student", "0099").await;
    browser.submit("form[action$='/extensions'] button").await;
    says(&browser, "expected the id of a student on the roster").await;
    looked_at(&browser, &format!("extensions-fault-{name}")).await;
    browser.fill("#student", "0051").await;
    browser.fill("#reason", "ill that week").await;
    set(&browser, "#due", "2099-12-01T12:00").await;
    browser
        .submit("button[formaction$='/extensions/preview']")
        .await;
    says(&browser, "Due, Ruhl, Seraphine").await;
    looked_at(&browser, &format!("extensions-look-{name}")).await;
    browser.submit("form.card button").await;
    says(&browser, "ill that week").await;
    looked_at(&browser, &format!("extensions-{name}")).await;

    browser.open(&to("/reissue")).await;
    browser.fill("#student", "0042").await;
    browser.fill("#reason", "the bottle broke").await;
    browser
        .submit("button[formaction$='/reissue/preview']")
        .await;
    says(&browser, "is marked against U-2").await;
    looked_at(&browser, &format!("reissue-look-{name}")).await;
    browser.submit("form.card button").await;
    says(&browser, "the bottle broke").await;
    looked_at(&browser, &format!("reissue-{name}")).await;

    browser.open(&to("/marking")).await;
    browser.fill("#accuracy_zero", "0.5").await;
    browser.submit("#rules .bar button").await;
    says(&browser, "Not done yet").await;
    looked_at(&browser, &format!("marking-fault-{name}")).await;
    browser.fill("#accuracy_points", "20").await;
    browser.fill("#accuracy_zero", "9").await;
    browser.submit("#rules .bar button").await;
    says(&browser, "Careful students have").await;
    looked_at(&browser, &format!("marking-look-{name}")).await;
    browser.fill("#reason", "it was too strict").await;
    browser.submit("form.card button").await;
    says(&browser, "it was too strict").await;
    looked_at(&browser, &format!("marking-{name}")).await;

    browser.open(&to("/release?section=B")).await;
    looked_at(&browser, &format!("release-section-{name}")).await;
    browser.submit("form[action$='/release'] button").await;
    says(&browser, "released to some sections").await;
    looked_at(&browser, &format!("release-{name}")).await;
    {
        let view = app.desk.view().await.expect("a course");
        assert!(view.is_released_to(&crate::slot("acid", "0051")));
        assert!(!view.is_released_to(&crate::slot("acid", "0042")));
    }
    people_come_and_go(&app, &browser, name).await;
    browser.open(&format!("{}/course/files", app.address)).await;
    browser
        .submit("form[action='/course/copy.zip'] button")
        .await;
    says(&browser, "expected its name, such as Spring 2027").await;
    looked_at(&browser, &format!("copy-fault-{name}")).await;
    browser.open(&format!("{}/course", app.address)).await;
    says(&browser, "released in part").await;
    looked_at(&browser, &format!("glance-after-{name}")).await;
}

async fn people_come_and_go(app: &TestApp, browser: &Browser, name: &str) {
    let files = tempfile::tempdir().expect("a directory");
    let path = files.path().join("roster.csv");
    let roster = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,B\n0051,Ruhl,Seraphine,B\n0060,Ash,Mo,A\n";
    std::fs::write(&path, roster).expect("written");
    let to = |path: &str| format!("{}/course{path}", app.address);
    browser.open(&to("/roster")).await;
    browser.choose("#roster", &path.to_string_lossy()).await;
    browser.submit("form:has(#roster) button").await;
    says(browser, "who of them has left?").await;
    browser.click("input[value='0043']").await;
    looked_at(browser, &format!("roster-look-{name}")).await;
    browser
        .submit("form[action='/course/roster/confirm'] button")
        .await;
    says(browser, "1 who has left").await;
    looked_at(browser, &format!("roster-{name}")).await;
    browser.open(&to("/roster/student?id=0042")).await;
    looked_at(browser, &format!("student-{name}")).await;
    browser.open(&to("/staff?remove=m.sedge")).await;
    looked_at(browser, &format!("staff-{name}")).await;
    browser
        .submit("form[action='/course/staff/remove'] button")
        .await;
    assert!(!browser.text("main").await.contains("Mara Sedge"));
}

async fn run(look: Look, name: &'static str) {
    let (app, _) = handed_in().await;
    with(look, move |browser| arranges(app, browser, name)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn arrangements_on_a_phone_in_the_dark() {
    run(
        Look {
            dark: true,
            ..PHONE
        },
        "phone-dark",
    )
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn arrangements_on_a_laptop_without_scripts() {
    run(
        Look {
            scripts: false,
            ..LAPTOP
        },
        "laptop",
    )
    .await;
}

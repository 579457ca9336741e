//! How many pages it takes a coordinator: to set an experiment up, and on a Friday from sign-in to the gradebook.

use concordant::desk::{bring_in, decide};
use concordant::files::demo_folder;
use concordant::term::{Ruling, Status};

use super::{Browser, LAPTOP, sign_in, with};
use crate::app::TestApp;
use crate::coordinator::{ROSTER, bring_roster, with_course};

/// Pages that somebody has been led to.
struct Walk<'b> {
    browser: &'b Browser,
    pages: usize,
}

impl Walk<'_> {
    async fn to(&mut self, css: &str) {
        self.browser.submit(css).await;
        self.pages += 1;
    }

    async fn says(&self, text: &str) {
        let page = self.browser.text("main").await;
        assert!(page.contains(text), "{text} in {page}");
    }

    async fn set(&self, name: &str, value: &str) {
        let css = format!("[name='{name}']");
        let script = "document.querySelector(arguments[0]).value = arguments[1]";
        let arguments = vec![css.into(), value.into()];
        let set = self.browser.driver.execute(script, arguments).await;
        set.expect("is there to be filled in");
    }
}

/// A back titration takes two lots.
async fn sets_up(app: TestApp, browser: Browser) {
    sign_in(&app, &browser, "i.quell").await;
    let mut walk = Walk {
        browser: &browser,
        pages: 0,
    };
    walk.says("There is no experiment yet").await;
    walk.to("a[href='/course/experiments']:not(nav a)").await;
    walk.set("procedure", "eggshell-carbonate").await;
    walk.set("opens", "2099-01-01T09:00").await;
    walk.set("due", "2099-01-02T09:00").await;
    walk.to("form[action='/course/experiments'] button").await;
    assert_eq!(
        browser.path().await,
        "/course/experiments/eggshell-carbonate"
    );
    for (reagent, code, weighed) in [("NaOH", "N-1", "10.0112"), ("HCl", "H-1", "18.2310")] {
        walk.to(&format!("a[href*='reagent={reagent}']")).await;
        walk.set("code", code).await;
        walk.set("formula", reagent).await;
        walk.set("weighed", weighed).await;
        walk.set("purity", "0.9995").await;
        walk.set("balance", "balance-0.1mg").await;
        walk.set("flask", "flask-1000-a").await;
        walk.to(".bar button[value=look]").await;
        walk.says(reagent).await;
        walk.to(".bar button[value=enter]").await;
        walk.says("is recorded").await;
    }
    walk.to("a[href*='/batch']").await;
    walk.set("formula", "CaCO3").await;
    walk.set("purity", "0.9995").await;
    walk.set("balance", "balance-0.1mg").await;
    walk.set(
        "many",
        "E-1, 9.1034, 10.0021\nE-2, 9.0512, 10.0107\nE-3, 8.9731, 9.9984",
    )
    .await;
    browser.click("[name='issue']").await;
    walk.to(".bar button[value=look]").await;
    walk.says("5 students are given a bottle at the same time")
        .await;
    walk.to(".bar button[value=enter]").await;
    walk.says("3 unknowns are recorded").await;
    walk.says("Fennimore").await;
    browser.screenshot("print-pack").await;
    walk.to("a[href$='/labels']").await;
    walk.says("E-3").await;
    assert_eq!(walk.pages, 12);
    let view = app.desk.view().await.expect("a course");
    assert_eq!(view.term.issued.len(), 5);
    assert_eq!(view.term.lots.len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_back_titration_is_set_up_in_twelve_pages() {
    let (app, mut person) = with_course().await;
    bring_roster(&mut person, ROSTER).await;
    with(LAPTOP, move |browser| sets_up(app, browser)).await;
}

/// Accepts whatever waits for a person; the reviews are no part of the count.
async fn settle_all(app: &TestApp) {
    let view = app.desk.view().await.expect("a course");
    let waits = |status: Status| status == Status::ToReview;
    let waiting = view.judged.iter().filter(|(_, one)| waits(one.status));
    let slots: Vec<_> = waiting.map(|(slot, _)| slot.clone()).collect();
    assert!(!slots.is_empty(), "somebody waits");
    for slot in slots {
        let seen = view.term.submissions.get(&slot).map_or(1, Vec::len);
        let who = ("i.quell", app.clock.now());
        let made = decide(&app.desk, slot, Ruling::Accept, "", seen, who).await;
        made.expect("accepted");
    }
}

async fn friday(app: TestApp, browser: Browser) {
    const AT: &str = "/course/experiments/well-water-hardness";
    browser.open(&format!("{}/sign-in", app.address)).await;
    let now = app.clock.now();
    let password =
        concordant::desk::accounts::set_password(&app.desk, "i.quell", crate::app::PASSWORD, now);
    password.await.expect("an account");
    browser.fill("#login", "i.quell").await;
    browser.fill("#password", crate::app::PASSWORD).await;
    let mut walk = Walk {
        browser: &browser,
        pages: 0,
    };
    walk.to("main button").await;
    browser.screenshot("friday-glance").await;
    walk.says("look at unknown W-07 first").await;
    walk.to(".alarm button").await;
    walk.says("What the class finds").await;
    walk.to("form.card button").await;
    assert_eq!(browser.path().await, "/course");
    assert!(!browser.text("main").await.contains("W-07 first"));
    walk.to("ul.steps a[href*='/review?experiment=well']").await;
    settle_all(&app).await;
    walk.to("header nav a[href='/course']").await;
    walk.to(&format!("ul.steps a[href='{AT}/release']")).await;
    browser.screenshot("friday-release").await;
    walk.says("What the class finds").await;
    walk.says("mean").await;
    walk.to("form[action$='/release'] button").await;
    walk.says("The results are released").await;
    walk.to("main a[href='/gradebook']").await;
    assert_eq!(browser.text("h1").await, "Gradebook");
    assert_eq!(walk.pages, 8);
    let view = app.desk.view().await.expect("a course");
    assert!(view.is_released(&crate::key("well-water-hardness")));
}

#[tokio::test(flavor = "multi_thread")]
async fn from_sign_in_to_the_gradebook_in_eight_steps() {
    let app = TestApp::spawn_new().await;
    let now = app.clock.now();
    bring_in(&app.desk, &demo_folder(), "test", now)
        .await
        .expect("the demonstration course");
    with(LAPTOP, move |browser| friday(app, browser)).await;
}

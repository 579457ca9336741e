//! Pages of a department in a real browser: what everybody finds, what whoever runs it does, a form at the bench below the
//! address of its course, with and without a connection to come.

use super::everyone::Looker;
use super::{Browser, LAPTOP, Look, PHONE, lacks, with};
use crate::app::PASSWORD;
use crate::department::{HEAD, TestDepartment, two_years};

const AXE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/axe/axe.min.js");

#[tokio::test(flavor = "multi_thread")]
async fn everybody_can_use_the_pages_of_a_department() {
    if lacks([AXE]) {
        return;
    }
    let app = TestDepartment::spawn_below("/lab", 8).await;
    let (head, ada, mut tarn) = (
        app.person(HEAD).await,
        app.person("0042").await,
        app.person("b.tarn").await,
    );
    let refused = tarn.get("/lab/c/beta/course/sign-in").await;
    with(LAPTOP, move |browser| async move {
        let mut looker = Looker::new(browser, &app.address).await;
        looker.become_somebody(&head).await;
        for path in [
            "/courses",
            "/courses/alpha",
            "/course/access",
            "/course/lti",
            "/course/sign-in",
        ] {
            looker.page(path, 200, &format!("/lab{path}")).await;
        }
        looker.page("a stranger", 403, "/lab/c/alpha/course").await;
        looker.become_somebody(&ada).await;
        for path in [
            "/courses",
            "/password",
            "/c/alpha/student",
            "/c/beta/student/experiments/acid/bench",
        ] {
            looker.page(path, 200, &format!("/lab{path}")).await;
        }
        looker.become_somebody(&tarn).await;
        looker.page("staff of two", 200, "/lab/courses").await;
        looker
            .answer("what the department chooses", 403, &refused)
            .await;
        looker.finish(11 * 4);
    })
    .await;
}

/// Somebody with a slip sets a password.
pub(super) async fn claim(browser: &Browser, address: &str, login: &str, code: &str) {
    browser.open(&format!("{address}/claim")).await;
    for (field, text) in [
        ("login", login),
        ("code", code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ] {
        browser.fill(&format!("#{field}"), text).await;
    }
    browser.submit("main form button").await;
}

async fn a_student_of_two(look: Look, name: &'static str) {
    let app = TestDepartment::spawn().await;
    let code = app.code_for("0042").await;
    with(look, |browser| async move {
        browser
            .open(&format!("{}/c/beta/student", app.address))
            .await;
        claim(&browser, &app.address, "0042", &code).await;
        assert_eq!(browser.path().await, "/courses");
        browser.screenshot(&format!("courses-{name}")).await;
        browser.submit("main a[href='/c/beta/']").await;
        assert_eq!(browser.path().await, "/c/beta/student");
        assert!(browser.text(".person").await.contains("Ada Fennimore"));
        browser
            .open(&format!(
                "{}/c/beta/student/experiments/acid/bench",
                app.address
            ))
            .await;
        browser.screenshot(&format!("course-bench-{name}")).await;
        browser.submit("nav a[href='/courses']").await;
        assert_eq!(browser.path().await, "/courses");
        assert_eq!(browser.overhang().await, 0);
        browser.submit(".person button").await;
        assert_eq!(browser.path().await, "/sign-in");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_student_of_two_courses_on_a_phone() {
    a_student_of_two(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_student_of_two_courses_on_a_laptop_in_the_dark() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    a_student_of_two(dark, "laptop").await;
}

async fn whoever_runs_it(look: Look, name: &'static str) {
    let app = TestDepartment::spawn().await;
    let code = app.code_for(HEAD).await;
    with(look, |browser| async move {
        claim(&browser, &app.address, HEAD, &code).await;
        assert_eq!(browser.path().await, "/courses");
        browser.screenshot(&format!("department-{name}")).await;
        browser.submit("main a[href='/courses/beta']").await;
        browser
            .screenshot(&format!("department-course-{name}"))
            .await;
        browser.submit("form[action='/courses/beta'] button").await;
        assert!(
            browser
                .text("main")
                .await
                .contains("Closed: it can be read")
        );
        browser
            .screenshot(&format!("department-closed-{name}"))
            .await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_runs_it_on_a_phone() {
    whoever_runs_it(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_runs_it_on_a_laptop_in_the_dark() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    whoever_runs_it(dark, "laptop").await;
}

const EARLIER: &str = "/c/acids-2026/review/earlier";

/// Whoever runs the department ticks a course, and staff see what came of it, as they may.
async fn earlier_terms(look: Look, name: &'static str) {
    let app = two_years::spawn().await;
    let code = app.code_for(HEAD).await;
    let (marsh, quell) = (app.person("o.marsh").await, app.person("i.quell").await);
    with(look, |browser| async move {
        let course = format!("{}/courses/{}", app.address, two_years::NEW);
        browser.open(&course).await;
        claim(&browser, &app.address, HEAD, &code).await;
        browser.open(&course).await;
        let form = format!("form[action='/courses/{}/earlier']", two_years::NEW);
        let tick = format!("{form} input[value='{}']", two_years::OLD);
        browser.click(&tick).await;
        browser.screenshot(&format!("earlier-chosen-{name}")).await;
        browser.submit(&format!("{form} button")).await;
        assert!(browser.text("main").await.contains("is chosen"));
        assert_eq!(browser.overhang().await, 0);
        browser.screenshot(&format!("earlier-said-{name}")).await;
        for (who, person) in [("both", &marsh), ("new", &quell)] {
            browser.become_somebody(&app.address, person).await;
            browser.open(&format!("{}{EARLIER}", app.address)).await;
            let named = browser.text("main").await.contains("with 3117 of");
            assert_eq!(named, who == "both");
            assert_eq!(browser.overhang().await, 0);
            browser.screenshot(&format!("earlier-{who}-{name}")).await;
        }
        browser
            .open(&format!("{}/c/acids-2026/review", app.address))
            .await;
        browser.screenshot(&format!("earlier-review-{name}")).await;
        browser.submit(&format!("main a[href='{EARLIER}']")).await;
        assert_eq!(browser.path().await, EARLIER);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn earlier_terms_on_a_phone() {
    earlier_terms(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn earlier_terms_on_a_laptop_in_the_dark() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    earlier_terms(dark, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn everybody_can_use_the_page_of_earlier_terms() {
    if lacks([AXE]) {
        return;
    }
    let app = two_years::spawn().await;
    let mut head = app.person(HEAD).await;
    let (marsh, quell) = (app.person("o.marsh").await, app.person("i.quell").await);
    with(LAPTOP, move |browser| async move {
        let mut looker = Looker::new(browser, &app.address).await;
        looker.become_somebody(&marsh).await;
        looker.page("nothing is said", 200, EARLIER).await;
        let form = format!("/courses/{}/earlier", two_years::NEW);
        let wrong = head.post_form(&form, &[("earlier[]", "x")]).await;
        head.post_form(&form, &[("earlier[]", two_years::OLD)])
            .await;
        looker.page("who it was", 200, EARLIER).await;
        looker.become_somebody(&quell).await;
        looker.page("who it was not", 200, EARLIER).await;
        looker.become_somebody(&head).await;
        let course = format!("/courses/{}?said=earlier", two_years::NEW);
        looker.page("what is chosen", 200, &course).await;
        looker.answer("what is refused", 422, &wrong).await;
        looker.finish(5 * 4);
    })
    .await;
}

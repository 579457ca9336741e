//! A student who is on the staff of another course, in a real browser: said by whoever runs the department, then one sign-in
//! for both.

use super::department::claim;
use super::everyone::Looker;
use super::{LAPTOP, Look, PHONE, lacks, with};
use crate::department::{HEAD, TestDepartment};

const AXE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/axe/axe.min.js");

async fn one_sign_in(look: Look, name: &'static str) {
    let app = TestDepartment::spawn().await;
    let code = app.code_for(HEAD).await;
    with(look, |browser| async move {
        claim(&browser, &app.address, HEAD, &code).await;
        browser.submit("nav a[href='/people']").await;
        browser.screenshot(&format!("people-{name}")).await;
        browser.fill("#number", "0043").await;
        browser.fill("#login", "k.holm").await;
        browser.submit("form:has(#number) button").await;
        let asked = browser.text("main").await;
        assert!(
            asked.contains("Tobias Okafor-Lind") && asked.contains("Kim Holm"),
            "{asked}"
        );
        assert!(asked.contains("has no password yet"), "{asked}");
        assert_eq!(browser.overhang().await, 0);
        browser.screenshot(&format!("people-asked-{name}")).await;
        browser.submit("form:has(input[name='sure']) button").await;
        let said = browser.text("main").await;
        assert!(said.contains("They are one person from now on"), "{said}");
        assert_eq!(browser.overhang().await, 0);
        browser.screenshot(&format!("people-said-{name}")).await;
        browser.submit("form[action='/people/code'] button").await;
        let code = browser.text(".slips dd.code:last-of-type").await;
        browser.screenshot(&format!("people-code-{name}")).await;
        browser.submit(".person button").await;

        // with the student number: there is one account of the two
        claim(&browser, &app.address, "0043", &code).await;
        assert_eq!(browser.path().await, "/courses");
        let list = browser.text("main").await;
        assert!(list.contains("You are a student of section A."), "{list}");
        assert!(list.contains("You are an assistant of C."), "{list}");
        assert_eq!(browser.overhang().await, 0);
        browser
            .screenshot(&format!("courses-two-roles-{name}"))
            .await;
        browser.submit("main a[href='/c/alpha/']").await;
        assert_eq!(browser.path().await, "/c/alpha/student");
        assert!(browser.text(".person").await.contains("Tobias Okafor-Lind"));
        browser.submit("nav a[href='/courses']").await;
        browser.submit("main a[href='/c/beta/']").await;
        assert_eq!(browser.path().await, "/c/beta/review");
        assert!(browser.text(".person").await.contains("Kim Holm"));
        for closed in ["/c/alpha/review", "/c/alpha/course", "/c/beta/student"] {
            browser.open(&format!("{}{closed}", app.address)).await;
            let refused = browser.text("main").await;
            assert!(
                refused.contains("only") || refused.contains("for "),
                "{closed}: {refused}"
            );
            assert!(!refused.contains("Fennimore"), "{closed}: {refused}");
        }
        browser
            .screenshot(&format!("two-roles-refused-{name}"))
            .await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn one_sign_in_for_two_roles_on_a_phone() {
    one_sign_in(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn one_sign_in_for_two_roles_on_a_laptop_in_the_dark() {
    let dark = Look {
        dark: true,
        ..LAPTOP
    };
    one_sign_in(dark, "laptop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn everybody_can_use_the_page_of_two_roles() {
    if lacks([AXE]) {
        return;
    }
    let app = TestDepartment::spawn().await;
    let mut head = app.person(HEAD).await;
    with(LAPTOP, move |browser| async move {
        let mut looker = Looker::new(browser, &app.address).await;
        looker.become_somebody(&head).await;
        looker.page("nobody is both", 200, "/people").await;
        let one = [("number", "0043"), ("login", "k.holm")];
        let asked = head.post_form("/people", &one).await;
        looker.answer("are they one", 200, &asked).await;
        let wrong = head.post_form("/people", &[("number", "x"), one[1]]).await;
        looker.answer("nobody of that number", 422, &wrong).await;
        let sure = [one[0], one[1], ("sure", "yes")];
        head.post_form("/people", &sure).await;
        looker
            .page("they are one", 200, "/people?said=joined")
            .await;
        looker.finish(4 * 4);
    })
    .await;
}

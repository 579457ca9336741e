//! Who did what is written down, without secrets, and people hear what was done to their accounts.

use crate::app::{PASSWORD, TestApp};

/// The events of the course, oldest first: what, whose, by whom, of what.
async fn events(app: &TestApp) -> Vec<(String, String, String, String)> {
    let mut reader = app.desk.store().read().await.expect("a reader");
    let mut events = reader.accounts().events(None, 1_000).await.expect("events");
    events.reverse();
    let four = events
        .into_iter()
        .map(|event| (event.what, event.who, event.by, event.subject));
    four.collect()
}

/// What is written without being waited for.
async fn events_with(app: &TestApp, what: &str, n: usize) -> Vec<(String, String, String, String)> {
    for _ in 0..200 {
        let events = events(app).await;
        if events.iter().filter(|event| event.0 == what).count() >= n {
            return events;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    panic!("{n} events {what} were not written");
}

#[tokio::test]
async fn what_people_did_is_written_down() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    app.person("0042").await;
    let mut student = app.stranger();
    for _ in 0..5 {
        let wrong = [("login", "0042"), ("password", "a wrong password of mine")];
        student.post_open("/sign-in", &wrong).await;
    }
    let typed = [("login", "my-secret-password"), ("password", "0042")];
    student.post_open("/sign-in", &typed).await;
    let slips = coordinator
        .post_form("/course/slips", &[("login", "0043")])
        .await;
    let code = slips
        .body
        .split("class=\"code\"")
        .nth(1)
        .unwrap_or_default();
    assert_eq!(slips.status, 200, "{}", slips.body);
    coordinator.get("/course/gradebook.csv").await;
    coordinator.get("/course/export.zip").await;
    let events = events_with(&app, "failed", 5).await;
    let has = |what: &str, who: &str, by: &str, subject: &str| {
        let all = (what, who, by, subject);
        let same = |e: &(String, String, String, String)| {
            (e.0.as_str(), e.1.as_str(), e.2.as_str(), e.3.as_str()) == all
        };
        assert!(events.iter().any(same), "{all:?} is not in {events:#?}");
    };
    has("code-printed", "0042", "command line", "");
    has("code-printed", "0043", "i.quell", "");
    has("failed", "0042", "", "");
    has("waits", "0042", "", "");
    has("exported", "i.quell", "", "/course/gradebook.csv");
    has("exported", "i.quell", "", "/course/export.zip");
    assert!(events.iter().any(|e| e.0 == "claimed" && e.1 == "i.quell"));
    // what somebody typed as a login may be a password
    let text = format!("{events:?}");
    for secret in ["my-secret-password", "a wrong password", PASSWORD, code] {
        assert!(secret.is_empty() || !text.contains(secret), "{secret}");
    }
    let page = coordinator.get("/course/access?who=0043").await;
    assert!(
        page.body.contains("a one-time code was printed"),
        "{}",
        page.body
    );
    assert!(page.body.contains("127.0.0.1"), "from where");
    assert!(!page.body.contains("0042</td>"), "only theirs");
}

/// A code printed for somebody else, and used or not: they hear of it at the next sign-in, once.
#[tokio::test]
async fn a_code_printed_for_somebody_is_told_to_them() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    let mut student = app.person("0042").await;
    let right = [("login", "0042"), ("password", PASSWORD)];
    let answer = student.post_open("/sign-in", &right).await;
    assert_eq!(answer.location(), "/student", "nothing to tell");
    let slips = [("login", "0042")];
    coordinator.post_form("/course/slips", &slips).await;
    let answer = student.post_open("/sign-in", &right).await;
    assert_eq!(answer.location(), "/access?next=%2Fstudent");
    let page = student.get(answer.location()).await.body;
    assert!(
        page.contains("a one-time code was printed") && page.contains("i.quell"),
        "{page}"
    );
    assert!(
        page.contains("that you have not been told of yet"),
        "{page}"
    );
    let answer = student.post_open("/sign-in", &right).await;
    assert_eq!(answer.location(), "/student", "told once");
    // the code is used by somebody, and the student has to ask for another
    app.person("0042").await;
    let code = app.code_for("0042").await;
    let fields = [
        ("login", "0042"),
        ("code", &code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    let mut again = app.stranger();
    let answer = again.post_open("/claim", &fields).await;
    assert_eq!(answer.location(), "/student", "told by the claim before");
    let seen = again.get("/access").await.body;
    assert_eq!(
        seen.matches("was used to set a password").count(),
        3,
        "{seen}"
    );
}

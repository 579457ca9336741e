//! What courses share is in their language: that of the course which a link leads to, of all courses of somebody, of all.

use concordant::changes::Change;
use concordant::course::Course;
use concordant::ids::CourseKey;
use concordant::language::Language;

use super::TestDepartment;
use crate::lti::launched;
use crate::lti::platform::Platform;

/// Turns a course German, and has the server hear of it.
async fn in_german(app: &TestDepartment, key: &str) {
    let desk = app.department.desk(&CourseKey::new(key)).await;
    let desk = desk.expect("reads").expect("a course");
    let course = Course {
        language: Language::German,
        ..desk.view().await.expect("a course").term.course.clone()
    };
    let made = desk.apply(vec![Change::Course(course)], "test", app.clock.now());
    made.await.expect("in German");
    app.department
        .follow(&CourseKey::new(key), &desk, app.clock.now())
        .await
        .expect("heard of");
    desk.close().await;
}

#[tokio::test]
async fn pages_that_courses_share_go_by_their_languages() {
    let app = TestDepartment::spawn().await;
    in_german(&app, "beta").await;
    let mut stranger = app.stranger();
    let sign_in = stranger.get("/sign-in").await.body;
    assert!(
        sign_in.contains("Sign in") && sign_in.contains("lang=\"en-GB\""),
        "{sign_in}"
    );
    let sign_in = stranger
        .get("/sign-in?next=%2Fc%2Fbeta%2Fstudent")
        .await
        .body;
    assert!(
        sign_in.contains("lang=\"de\"") && !sign_in.contains("Sign in"),
        "{sign_in}"
    );
    // of two languages
    let mut ada = app.person("0042").await;
    assert!(
        ada.get("/courses")
            .await
            .body
            .contains("You are a student of section A.")
    );
    let mut noor = app.person("0077").await;
    let list = noor.get("/courses").await.body;
    for words in [
        "lang=\"de\"",
        "<h1>Kurse</h1>",
        "Sie nehmen teil, in Gruppe C.",
        ">Kurse</a>",
    ] {
        assert!(list.contains(words), "{words}: {list}");
    }
    for words in ["You are", "Courses", "closed"] {
        assert!(!list.contains(words), "{words}: {list}");
    }
    in_german(&app, "alpha").await;
    assert!(
        ada.get("/courses")
            .await
            .body
            .contains("Sie nehmen teil, in Gruppe A.")
    );
    // staff have it in English
    let mut quell = app.person("i.quell").await;
    assert!(
        quell
            .get("/courses")
            .await
            .body
            .contains("You are its coordinator.")
    );
    assert!(stranger.get("/sign-in").await.body.contains("lang=\"de\""));
}

/// Why a launch lets nobody in, whoever was launched reads in the language of the courses.
#[tokio::test]
async fn a_refused_launch_says_why_in_german() {
    let app = TestDepartment::spawn().await;
    in_german(&app, "alpha").await;
    in_german(&app, "beta").await;
    let platform = Platform::spawn(app.clock.now().as_second()).await;
    platform.tell(|told| told.tool = app.address.clone());
    let mut head = app.person(super::HEAD).await;
    let unknown = app.stranger().get(&platform.initiation()).await;
    assert!(
        unknown
            .body
            .contains("eine Lernplattform, die hier nicht eingetragen ist"),
        "{}",
        unknown.body
    );
    let fields = platform.registration("sourced-id");
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    assert_eq!(head.post_form("/course/lti", &fields).await.status, 303);
    // the platform does not say who it is
    let mut person = app.stranger();
    let nobody = launched(&mut person, &platform).await;
    assert_eq!(nobody.status, 403);
    for words in [
        "Der Aufruf aus der Lernplattform",
        "sie sagt nicht so, wer Sie sind",
    ] {
        assert!(nobody.body.contains(words), "{words}: {}", nobody.body);
    }
    for words in ["it does not say", "found", "The platform"] {
        assert!(!nobody.body.contains(words), "{words}: {}", nobody.body);
    }
}

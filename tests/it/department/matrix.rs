//! The access matrix, for two courses.

use concordant::store::accounts::{AccountId, Event, Kind, What};

use super::TestDepartment;
use crate::access;

/// Every page of one course, for everybody: whoever is on its lists sees what its own matrix says, whoever is on the
/// other's lists alone sees nothing, and neither does a stranger.
#[tokio::test]
async fn no_page_of_a_course_is_open_to_people_of_another() {
    let app = TestDepartment::spawn().await;
    // of alpha they are nobody
    let mut outside = [
        ("0077 of beta", app.person("0077").await),
        ("k.holm of beta", app.person("k.holm").await),
        ("who runs the department", app.person(super::HEAD).await),
    ];
    // coordinates beta, assists section A of alpha
    let mut tarn = app.person("b.tarn").await;
    let (mut asked, mut forbidden) = (0, 0);
    for (route, path, open) in access::pages() {
        if matches!(open, access::Open::All | access::Open::SignedIn) || path.contains("/live") {
            continue;
        }
        let at = format!("/c/alpha{path}");
        for (who, person) in &mut outside {
            let answer = person.get(&at).await;
            assert!(
                [403, 404].contains(&answer.status),
                "{route} by {who}: {} {}",
                answer.status,
                answer.location()
            );
            for secret in ["Fennimore", "Okafor-Lind", "0.20371", "0.20963", "91.477"] {
                assert!(!answer.body.contains(secret), "{route} by {who}: {secret}");
            }
            asked += 1;
        }
        let mut stranger = app.stranger();
        let answer = stranger.get(&at).await;
        let sent =
            answer.status == 303 && answer.location().starts_with("/sign-in?next=%2Fc%2Falpha");
        assert!(
            sent || answer.status == 404,
            "{route}: {} {}",
            answer.status,
            answer.location()
        );
        if open == access::Open::Coordinator {
            let answer = tarn.get(&at).await;
            assert!(
                matches!(answer.status, 403 | 404),
                "{route}: {}",
                answer.status
            );
            forbidden += 1;
        }
    }
    assert!(asked > 150 && forbidden > 20, "{asked} {forbidden}");
    // and the other way round: what he may not do in alpha he may do in beta
    assert_eq!(tarn.get("/c/beta/course").await.status, 200);
    assert_eq!(tarn.get("/c/alpha/review/acid/0042").await.status, 200);
    assert_eq!(tarn.get("/c/alpha/course").await.status, 403);
}

/// What changes something is as closed as what shows it.
#[tokio::test]
async fn nobody_changes_a_course_of_others() {
    let app = TestDepartment::spawn().await;
    let mut head = app.person(super::HEAD).await;
    let mut other = app.person("k.holm").await;
    for path in [
        "/c/alpha/course/staff",
        "/c/alpha/course/lti",
        "/c/alpha/course/slips",
        "/c/alpha/course/experiments/acid/release",
        "/c/alpha/review/acid/0042/decide",
        "/c/alpha/student/experiments/acid/hand-in",
    ] {
        for person in [&mut head, &mut other] {
            let answer = person.post_form(path, &[("login", "k.holm")]).await;
            assert_eq!(answer.status, 403, "{path}: {}", answer.body);
        }
    }
    // the department is run by whoever runs it alone
    let mut quell = app.person("i.quell").await;
    for path in ["/courses/alpha", "/course/access", "/course/sign-in"] {
        assert_eq!(quell.get(path).await.status, 403, "{path}");
    }
    let closed = quell
        .post_form("/courses/alpha", &[("standing", "closed")])
        .await;
    assert_eq!(closed.status, 403);
    let chosen = quell
        .post_form("/courses/alpha/earlier", &[("earlier[]", "beta")])
        .await;
    assert_eq!(chosen.status, 403);
    let begun = quell.post_form("/courses", &[("key", "gamma")]).await;
    assert_eq!(begun.status, 403);
}

/// A slip opens every course of its owner: a coordinator makes none for somebody of a course that is not theirs too.
#[tokio::test]
async fn a_coordinator_gives_nobody_a_way_into_other_courses() {
    let app = TestDepartment::spawn().await;
    let mut quell = app.person("i.quell").await;
    // a first slip of a student may come from either course
    let first = [("login", "0042")];
    let first = quell.post_form("/c/alpha/course/slips", &first).await;
    assert_eq!(first.status, 200, "{}", first.body);
    // who has come by the institution's sign-in has no password, and no first slip to get
    let ada = AccountId {
        kind: Kind::Student,
        login: "0042".to_owned(),
    };
    let signed_in = Event {
        at: app.clock.now(),
        what: What::SignedIn,
        who: Some(&ada),
        by: "",
        subject: "by the institution",
        network: "",
    };
    let mut write = app
        .department
        .people()
        .store()
        .write()
        .await
        .expect("a write");
    let noted = write.accounts().note(signed_in).await;
    noted.expect("is written down");
    write.commit().await.expect("on disk");
    let slip = [("login", "0042")];
    let second = quell.post_form("/c/alpha/course/slips", &slip).await;
    assert_eq!(second.status, 422, "{}", second.body);
    // Bo Tarn coordinates beta, Ada is a student there as well and has a password by now
    app.person("0042").await;
    for login in ["b.tarn", "0042"] {
        let answer = quell
            .post_form("/c/alpha/course/slips", &[("login", login)])
            .await;
        assert_eq!(answer.status, 422, "{login}");
        assert!(
            answer.body.contains("courses that you do not coordinate"),
            "{}",
            answer.body
        );
    }
    let own = quell
        .post_form("/c/alpha/course/slips", &[("login", "0043")])
        .await;
    assert_eq!(own.status, 200, "{}", own.body);
    assert!(own.body.contains("/claim"));
    // nor by taking whoever runs the department onto the staff first
    let fields = [("login", super::HEAD), ("name", "Dana"), ("role", "prep")];
    let taken = quell.post_form("/c/alpha/course/staff", &fields).await;
    assert_eq!(taken.status, 303, "{}", taken.body);
    let slip = quell
        .post_form("/c/alpha/course/slips", &[("login", super::HEAD)])
        .await;
    assert_eq!(slip.status, 422);
    // who runs the department still does
    let mut head = app.person(super::HEAD).await;
    assert_eq!(head.get("/courses/alpha").await.status, 200);
}

/// Nobody is kept out by being named elsewhere, and nobody signs out people of other courses.
#[tokio::test]
async fn what_a_coordinator_enters_touches_nobody_of_other_courses() {
    let app = TestDepartment::spawn().await;
    let mut quell = app.person("i.quell").await;
    let mut noor = app.person("0077").await;
    // the number of a student of beta, on the staff of alpha
    let fields = [
        ("login", "0077"),
        ("name", "Somebody"),
        ("role", "coordinator"),
    ];
    let named = quell.post_form("/c/alpha/course/staff", &fields).await;
    assert_eq!(named.status, 303, "{}", named.body);
    let mut again = app.stranger();
    let sign_in = [("login", "0077"), ("password", crate::app::PASSWORD)];
    let entered = again.post_open("/sign-in", &sign_in).await;
    assert_eq!(entered.status, 303, "{}", entered.body);
    assert_eq!(again.get("/c/beta/student").await.status, 200);
    // and she is nobody in alpha by it
    assert_eq!(again.get("/c/alpha/course").await.status, 403);
    let ended = quell
        .post_form("/c/alpha/course/access", &[("who", "k.holm")])
        .await;
    assert_eq!(ended.status, 422, "{}", ended.body);
    assert_eq!(noor.get("/c/beta/student").await.status, 200);
}

/// Whoever is nobody here makes the server open no course.
#[tokio::test]
async fn a_course_is_opened_for_people_who_are_signed_in() {
    let app = TestDepartment::spawn().await;
    let mut stranger = app.stranger();
    for path in ["/c/alpha/student?x=1", "/c/beta/"] {
        let sent = stranger.get(path).await;
        assert_eq!(sent.status, 303);
        let next: String = form_urlencoded::byte_serialize(path.as_bytes()).collect();
        assert_eq!(sent.location(), format!("/sign-in?next={next}"));
    }
}

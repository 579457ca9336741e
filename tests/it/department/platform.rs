//! A platform of a department: registered once, each of its courses one course here, said by whoever teaches both.

use std::sync::Arc;

use concordant::changes::SetRelease;
use concordant::desk::department::Looked;
use concordant::desk::outgoing::Outgoing;
use concordant::ids::CourseKey;
use serde_json::json;

use super::{HEAD, TestDepartment};
use crate::app::Person;
use crate::lti::launched;
use crate::lti::platform::{CLAIM, Platform};
use crate::lti::services::member;
use crate::week;

fn name_of(page: &str) -> String {
    let name = page
        .split("name=\"context\" value=\"")
        .nth(1)
        .expect("a course");
    name.split('"').next().expect("its name").to_owned()
}

async fn as_somebody(
    app: &TestDepartment,
    platform: &Platform,
    who: (&str, &str),
) -> (Person, String) {
    platform.tell(|told| {
        told.claims.insert("sub".into(), json!(who.0));
        told.claims
            .insert(format!("{CLAIM}lis"), json!({ "person_sourcedid": who.1 }));
    });
    let mut person = app.stranger();
    let answer = launched(&mut person, platform).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    (person, answer.location().to_owned())
}

#[tokio::test]
async fn a_course_of_a_platform_is_one_course_of_the_department() {
    let app = TestDepartment::spawn().await;
    let platform = Platform::spawn(app.clock.now().as_second()).await;
    platform.tell(|told| told.tool = app.address.clone());
    let mut head = app.person(HEAD).await;
    let fields = platform.registration("sourced-id");
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    assert_eq!(head.post_form("/course/lti", &fields).await.status, 303);
    // before anybody has said which course it is, a launch leads to one's courses
    let (mut quell, place) = as_somebody(&app, &platform, ("t-1", "i.quell")).await;
    assert_eq!(place, "/");
    let (mut tarn, _) = as_somebody(&app, &platform, ("t-2", "b.tarn")).await;
    // both teach it there; here each coordinates another course, and who says it first has said it
    let own = quell.get("/c/alpha/course/platform").await.body;
    let name = name_of(&own);
    let fields = [("context", name.as_str())];
    assert_eq!(quell.get("/c/beta/course/platform").await.status, 403);
    assert_eq!(
        tarn.post_form("/c/alpha/course/platform/take", &fields)
            .await
            .status,
        403
    );
    let taken = quell
        .post_form("/c/alpha/course/platform/take", &fields)
        .await;
    assert_eq!(
        taken.location(),
        "/c/alpha/course/platform?done=taken",
        "{}",
        taken.body
    );
    assert_eq!(
        tarn.post_form("/c/beta/course/platform/take", &fields)
            .await
            .status,
        422
    );
    assert_eq!(
        tarn.post_form("/c/beta/course/platform/leave", &fields)
            .await
            .status,
        422
    );
    assert!(
        !tarn
            .get("/c/beta/course/platform")
            .await
            .body
            .contains("5th of many")
    );
    // from now on it leads there, for whoever is on that course and nobody else
    let (mut ada, place) = as_somebody(&app, &platform, ("user-8", "0042")).await;
    assert_eq!(place, "/c/alpha/");
    assert_eq!(ada.get("/c/alpha/").await.location(), "/c/alpha/student");
    let (mut noor, _) = as_somebody(&app, &platform, ("u-77", "0077")).await;
    assert_eq!(noor.get("/c/alpha/student").await.status, 403);
    // her grade of that course, where she has handed in already, goes back, that of the other does not
    let form = week::acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.52");
    let path = "/c/beta/student/experiments/acid/hand-in";
    assert_eq!(ada.post_form(path, &form).await.status, 303);
    platform
        .tell(|told| told.services.members = vec![member("user-8", "Ada", "Fennimore", "0042")]);
    let fetched = quell
        .post_form("/c/alpha/course/platform/members", &[("section", "A")])
        .await;
    assert_eq!(fetched.status, 200, "{}", fetched.body);
    let on = [("wanted", "yes")];
    let turned = quell
        .post_form("/c/alpha/course/platform/grades", &on)
        .await;
    assert_eq!(turned.status, 303, "{}", turned.body);
    let refused = tarn.post_form("/c/beta/course/platform/grades", &on).await;
    assert_eq!(refused.status, 422);
    for course in ["alpha", "beta"] {
        let key = CourseKey::new(course);
        let desk = app.department.desk(&key).await.expect("reads");
        let desk = desk.expect("a course");
        let out = SetRelease {
            experiment: crate::key("acid"),
            section: None,
            released_at: Some(app.clock.now()),
        };
        let made = desk.apply(vec![out.into()], "test", app.clock.now());
        made.await.expect("out");
        desk.close().await;
    }
    let mut looked = Looked::default();
    let grades = Outgoing::Grades(Arc::default());
    for sent in [1, 0] {
        let now = app.clock.now();
        let passed = app.department.send(&mut looked, &grades, now);
        assert_eq!(passed.await.expect("gone through").sent, sent);
    }
    platform.tell(|told| {
        assert_eq!(told.services.scores.len(), 1);
        assert_eq!(told.services.scores[0].1["userId"], "user-8");
    });
    let page = quell.get("/c/alpha/course/platform/grades").await.body;
    assert!(page.contains("1 sent"), "{page}");
}

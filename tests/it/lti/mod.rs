//! Launches by LTI 1.3 from a platform of our own.

pub mod grades;
mod keys;
mod killed;
mod members;
mod outbox;
pub mod platform;
mod refused;
pub mod services;

use concordant::changes::Change;
use concordant::course::{StaffRole, Student};
use jiff::SignedDuration;
use serde_json::json;

use crate::app::{Answer, Person, TestApp, people};
use platform::{Asked, CLAIM, DEPLOYMENT, Platform, assert_sound};

/// A server at which a platform is registered, and that platform.
pub async fn with_platform(named_by: &str) -> (TestApp, Platform) {
    let app = TestApp::spawn().await;
    let platform = Platform::spawn(app.clock.now().as_second()).await;
    platform.tell(|told| told.tool = app.address.clone());
    let addressed = people().into_iter().map(|change| match change {
        Change::Student(student) if student.id == "0042" => Change::Student(Student {
            email: "ada@students.example".into(),
            ..student
        }),
        other => other,
    });
    let staff =
        |change: &Change| matches!(change, Change::Staff(s) if s.role == StaffRole::Coordinator);
    let changes = addressed.filter(|change| !staff(change) && matches!(change, Change::Student(_)));
    let made = app
        .desk
        .apply(changes.collect(), "test", app.clock.now())
        .await;
    made.expect("addresses");
    let mut coordinator = app.person("i.quell").await;
    let fields = platform.registration(named_by);
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let done = coordinator.post_form("/course/lti", &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let page = coordinator.get(done.location()).await.body;
    assert!(
        page.contains(&platform.address) && page.contains("/lti/login"),
        "{page}"
    );
    (app, platform)
}

/// Begins a launch; what the platform is asked for.
async fn begun(person: &mut Person, platform: &Platform) -> Asked {
    let sent = person.get(&platform.initiation()).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    let (address, query) = sent.location().split_once('?').expect("a query");
    assert_eq!(address, format!("{}/authorize", platform.address));
    let asked: Asked = form_urlencoded::parse(query.as_bytes())
        .into_owned()
        .collect();
    assert_sound(&asked);
    asked
}

/// Posts a message as a browser does that comes from another site.
async fn come(person: &mut Person, state: &str, message: &str) -> Answer {
    let form = person.form("/lti/launch", &[("state", state), ("id_token", message)]);
    let form = form
        .header("origin", "https://learn.example.edu")
        .header("sec-fetch-site", "cross-site");
    person.send(form).await
}

pub async fn launched(person: &mut Person, platform: &Platform) -> Answer {
    let asked = begun(person, platform).await;
    let message = platform.message(&asked["nonce"]);
    come(person, &asked["state"], &message).await
}

#[tokio::test]
async fn people_come_in_as_who_the_course_says_they_are() {
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("Ada@students.example"));
    });
    let mut ada = app.stranger();
    let answer = launched(&mut ada, &platform).await;
    assert_eq!(
        (answer.status, answer.location()),
        (303, "/student"),
        "{}",
        answer.body
    );
    // the platform said that she teaches there: here she does not
    assert!(ada.get("/student").await.body.contains("Ada"));
    assert_eq!(ada.get("/course").await.status, 403);
    let events = ada.get("/access").await.body;
    assert!(events.contains("by a launch from a platform"), "{events}");
    // to the page that the link names
    let target = format!("{}/student/record", app.address);
    platform.tell(|told| {
        told.claims
            .insert(format!("{CLAIM}target_link_uri"), json!(target));
    });
    let answer = launched(&mut app.stranger(), &platform).await;
    assert_eq!((answer.status, answer.location()), (303, "/student/record"));

    let (app, platform) = with_platform("custom").await;
    platform.tell(|told| {
        told.claims.insert(
            format!("{CLAIM}custom"),
            json!({ "student_number": "i.quell" }),
        );
    });
    let mut coordinator = app.stranger();
    let answer = launched(&mut coordinator, &platform).await;
    assert_eq!(
        (answer.status, answer.location()),
        (303, "/course"),
        "{}",
        answer.body
    );

    let (app, platform) = with_platform("sourced-id").await;
    platform.tell(|told| {
        told.claims
            .insert(format!("{CLAIM}lis"), json!({ "person_sourcedid": "0051" }));
    });
    assert_eq!(
        launched(&mut app.stranger(), &platform).await.location(),
        "/student"
    );
}

#[tokio::test]
async fn nobody_comes_in_who_is_not_named_as_the_course_asks() {
    let (app, platform) = with_platform("email").await;
    for (claims, why) in [
        (json!({}), "does not say who you are"),
        (json!({ "email": "" }), "does not say who you are"),
        (
            json!({ "email": "ada@students.example", "email_verified": false }),
            "does not say who you are",
        ),
        (
            json!({ "email": "somebody@elsewhere.example" }),
            "not on the lists of this course",
        ),
        // staff have no address, and are not named by one
        (
            json!({ "email": "i.quell" }),
            "not on the lists of this course",
        ),
    ] {
        let claims = claims.as_object().expect("claims").clone();
        platform.tell(|told| told.claims = claims.into_iter().collect());
        let answer = launched(&mut app.stranger(), &platform).await;
        assert_eq!(answer.status, 403);
        assert!(answer.body.contains(why), "{why} in {}", answer.body);
    }
}

#[tokio::test]
async fn a_launch_is_gone_through_once_and_in_the_browser_that_began_it() {
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("ada@students.example"));
    });
    let mut person = app.stranger();
    let asked = begun(&mut person, &platform).await;
    let kept = person.campus_cookie().clone();
    let message = platform.message(&asked["nonce"]);
    // somebody else's browser has begun nothing, or another launch
    let mut other = app.stranger();
    let answer = come(&mut other, &asked["state"], &message).await;
    assert!(
        answer.status == 403 && answer.body.contains("not begun in this browser"),
        "{}",
        answer.body
    );
    begun(&mut other, &platform).await;
    let answer = come(&mut other, &asked["state"], &message).await;
    assert!(
        answer.status == 403 && answer.body.contains("another launch"),
        "{}",
        answer.body
    );
    // with the other's state, its nonce is another's
    assert_eq!(
        come(&mut person, &asked["state"], &message).await.status,
        303
    );
    assert!(person.campus_cookie().is_none(), "it is used up");
    let mut again = app.stranger();
    *again.campus_cookie() = kept.clone();
    let answer = come(&mut again, &asked["state"], &message).await;
    assert!(
        answer.status == 403 && answer.body.contains("used before"),
        "{}",
        answer.body
    );
    // too late
    let mut late = app.stranger();
    let asked = begun(&mut late, &platform).await;
    app.clock.put_forward(SignedDuration::from_mins(11));
    platform.tell(|told| told.now += 660);
    let message = platform.message(&asked["nonce"]);
    let answer = come(&mut late, &asked["state"], &message).await;
    assert!(
        answer.status == 403 && answer.body.contains("took too long"),
        "{}",
        answer.body
    );
}

#[tokio::test]
async fn keys_change_and_are_asked_for_once_a_minute_at_most() {
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("ada@students.example"));
    });
    assert_eq!(launched(&mut app.stranger(), &platform).await.status, 303);
    assert_eq!(launched(&mut app.stranger(), &platform).await.status, 303);
    assert_eq!(platform.told.lock().expect("sound").asked_for_keys, 1);
    platform.tell(|told| told.key = 1);
    // within the minute a key that is not known stays unknown
    assert_eq!(launched(&mut app.stranger(), &platform).await.status, 403);
    app.clock.put_forward(SignedDuration::from_secs(61));
    platform.tell(|told| told.now += 61);
    assert_eq!(launched(&mut app.stranger(), &platform).await.status, 303);
    for _ in 0..3 {
        let mut person = app.stranger();
        let asked = begun(&mut person, &platform).await;
        let message = platform.message_but(&asked["nonce"], |header, _| {
            header["kid"] = json!("made up")
        });
        assert_eq!(
            come(&mut person, &asked["state"], &message).await.status,
            403
        );
    }
    assert_eq!(platform.told.lock().expect("sound").asked_for_keys, 2);
}

#[tokio::test]
async fn only_registered_platforms_begin_a_launch() {
    let (app, platform) = with_platform("email").await;
    let mut person = app.stranger();
    for (from, to, why) in [
        ("iss=", "iss=x", "not registered"),
        ("client_id=tool-17", "client_id=tool-18", "not registered"),
        (
            "lti_deployment_id=dep-3",
            "lti_deployment_id=dep-4",
            "not registered",
        ),
        ("login_hint=user+8", "", "found no login_hint"),
        ("target_link_uri=", "nothing=", "found no target_link_uri"),
    ] {
        let address = platform.initiation();
        assert!(address.contains(from), "{from} in {address}");
        let answer = person.get(&address.replace(from, to)).await;
        assert!(
            answer.status == 403 && answer.body.contains(why),
            "{why} in {}",
            answer.body
        );
    }
    // by a form as well, from another site
    let query = platform.initiation();
    let query = query.split_once('?').expect("a query").1;
    let fields: Vec<(String, String)> = form_urlencoded::parse(query.as_bytes())
        .into_owned()
        .collect();
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    let form = person
        .form("/lti/login", &fields)
        .header("sec-fetch-site", "cross-site");
    let answer = person.send(form).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let set = answer.header("set-cookie");
    for part in ["SameSite=None", "Secure", "HttpOnly", "Path=/"] {
        assert!(set.contains(part), "{part} in {set}");
    }
    // no other form of ours is taken from elsewhere
    let form = person
        .form("/sign-in", &[("login", "0042")])
        .header("sec-fetch-site", "cross-site");
    assert_eq!(person.send(form).await.status, 403);
    // taken away, it begins none any more
    let mut coordinator = app.person("i.quell").await;
    let which = [
        ("issuer", platform.address.as_str()),
        ("client", platform::CLIENT),
        ("deployment", DEPLOYMENT),
    ];
    let gone = coordinator.post_form("/course/lti/remove", &which).await;
    assert_eq!(gone.status, 303, "{}", gone.body);
    assert_eq!(person.get(&platform.initiation()).await.status, 403);
    let record = coordinator.get("/course/access").await.body;
    assert!(
        record.contains("are let in no more") && record.contains("are let in, named by email"),
        "{record}"
    );
}

#[tokio::test]
async fn a_registration_that_cannot_be_used_comes_back_filled() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    let fields = [
        ("issuer", "http://learn.example.edu"),
        ("client", "with space"),
        ("deployment", ""),
        ("authorize", "https://learn.example.edu/auth"),
        ("keys", "ftp://learn.example.edu"),
        ("named_by", "email"),
    ];
    let answer = coordinator.post_form("/course/lti", &fields).await;
    assert_eq!(answer.status, 422);
    for text in [
        "found “http://learn.example.edu”, expected an address that begins with https://",
        "found “with space”, expected 1 to 255 signs of ASCII without spaces",
        "found “ftp://learn.example.edu”",
        "value=\"https://learn.example.edu/auth\"",
        "href=\"#deployment\"",
    ] {
        assert!(answer.body.contains(text), "{text} in {}", answer.body);
    }
}

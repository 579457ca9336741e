//! The roster as it stands at a platform: fetched, looked at, brought in; and people known by who they are there.

use concordant::changes::RemoveStaff;
use concordant::ids::{SectionName, StudentId};
use concordant::lti::{Groups, Member, NamedBy, incoming};
use serde_json::json;

use super::platform::{CLAIM, Platform};
use super::services::{MEMBERS, member};
use super::{launched, with_platform};
use crate::app::{Person, TestApp};

/// The coordinator, launched as one who teaches, who has said that the platform's course is this one.
pub async fn taken(app: &TestApp, platform: &Platform) -> Person {
    platform.tell(|told| {
        told.claims.insert("sub".into(), json!("teacher-1"));
        for (claim, value) in [
            ("lis", json!({ "person_sourcedid": "i.quell" })),
            ("custom", json!({ "student_number": "i.quell" })),
        ] {
            told.claims.insert(format!("{CLAIM}{claim}"), value);
        }
    });
    let mut coordinator = app.stranger();
    let answer = launched(&mut coordinator, platform).await;
    assert_eq!(answer.location(), "/course", "{}", answer.body);
    let page = coordinator.get("/course/platform").await.body;
    assert!(page.contains("Chemistry, 5th of many"), "{page}");
    let name = hidden(&page, "context");
    let fields = [("context", name.as_str())];
    let done = coordinator
        .post_form("/course/platform/take", &fields)
        .await;
    assert_eq!(
        done.location(),
        "/course/platform?done=taken",
        "{}",
        done.body
    );
    coordinator
}

fn hidden(page: &str, name: &str) -> String {
    let from = format!("name=\"{name}\" value=\"");
    let value = page
        .split(&from)
        .nth(1)
        .and_then(|rest| rest.split('"').next());
    value
        .unwrap_or_else(|| panic!("{name} in {page}"))
        .to_owned()
}

/// The form that brings in what a preview shows, with these as having left.
async fn bring_in(coordinator: &mut Person, preview: &str, left: &[&str]) {
    let text = hidden(preview, "text")
        .replace("&#10;", "\n")
        .replace("&#34;", "\"");
    let mut fields = vec![("text", text.as_str())];
    fields.extend(left.iter().map(|id| ("left[]", *id)));
    let done = coordinator
        .post_form("/course/roster/confirm", &fields)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
}

async fn fetched(coordinator: &mut Person) -> crate::app::Answer {
    coordinator
        .post_form("/course/platform/members", &[("section", "C")])
        .await
}

#[tokio::test]
async fn the_roster_of_a_platform_is_looked_at_and_brought_in() {
    let (app, platform) = with_platform("sourced-id").await;
    let mut coordinator = taken(&app, &platform).await;
    let mut teacher = member("teacher-1", "Iris", "Quell", "i.quell");
    teacher["roles"] = json!(["http://purl.imsglobal.org/vocab/lis/v2/membership#Instructor"]);
    let mut gone = member("u-9", "Gone", "Away", "0099");
    gone["status"] = json!("Deleted");
    let mut bare = member("u-7", "", "", "0077");
    bare["name"] = json!("Noor van Lund");
    bare.as_object_mut().expect("one").remove("given_name");
    bare.as_object_mut().expect("one").remove("family_name");
    bare["roles"] = json!(["Learner"]);
    let mut unnamed = member("u-6", "Nobody", "Known", "");
    unnamed
        .as_object_mut()
        .expect("one")
        .remove("lis_person_sourcedid");
    platform.tell(|told| {
        told.services.members = vec![
            teacher,
            member("user-8", "Ada", "Fennimore-Lark", "0042"),
            gone,
            bare,
            unnamed,
            json!({ "roles": ["Learner"] }),
        ];
    });
    let before = app.desk.view().await.expect("a course").newest();
    let preview = fetched(&mut coordinator).await;
    assert_eq!(preview.status, 200, "{}", preview.body);
    let preview = preview.body;
    for text in [
        "Chemistry, 5th of many",
        "1 join the roster",
        "1 changed",
        "Fennimore-Lark",
        "on the roster but not at the platform",
        "the platform gives no lis_person_sourcedid",
        "Nobody Known",
        "1 without an id",
        "0051",
    ] {
        assert!(preview.contains(text), "{text} in {preview}");
    }
    assert!(
        !preview.contains("0099"),
        "who is deleted there is on no list"
    );
    let after = app.desk.view().await.expect("a course").newest();
    assert_eq!(after, before, "nothing is changed yet");
    // one token was had for both pages, for members alone
    platform.tell(|told| {
        assert_eq!(told.services.tokens.len(), 1);
        assert_eq!(told.services.tokens[0].1, MEMBERS);
    });
    bring_in(&mut coordinator, &preview, &[]).await;
    let view = app.desk.view().await.expect("a course");
    let ada = view.term.student("0042").expect("Ada");
    assert_eq!(
        (ada.family_name.as_str(), ada.section.as_str()),
        ("Fennimore-Lark", "A")
    );
    let noor = view.term.student("0077").expect("Noor");
    assert_eq!(
        (noor.given_name.as_str(), noor.family_name.as_str()),
        ("Noor van", "Lund")
    );
    assert_eq!(noor.section.as_str(), "C");
    assert!(view.term.student("0051").expect("stays").is_enrolled());
    // once more there is nothing to do but for those who are not there; who is ticked leaves
    let preview = fetched(&mut coordinator).await.body;
    assert!(
        preview.contains("0 join the roster") && preview.contains("0 changed"),
        "{preview}"
    );
    bring_in(&mut coordinator, &preview, &["0051"]).await;
    let view = app.desk.view().await.expect("a course");
    assert!(!view.term.student("0051").expect("is kept").is_enrolled());
    let refused = coordinator
        .post_form("/course/platform/members", &[("section", "")])
        .await;
    assert_eq!(refused.status, 422);
}

#[tokio::test]
async fn groups_of_a_platform_are_sections() {
    let (app, platform) = with_platform("sourced-id").await;
    let mut service = json!({ "context_groups_url": format!("{}/groups", platform.address) });
    service["scope"] =
        json!(["https://purl.imsglobal.org/spec/lti-gs/scope/contextgroup.readonly"]);
    platform.tell(|told| {
        let claim = "https://purl.imsglobal.org/spec/lti-gs/claim/groupsservice";
        told.claims.insert(claim.into(), service);
    });
    let mut coordinator = taken(&app, &platform).await;
    let grouped = |mut member: serde_json::Value, group: &str| {
        member["group_enrollments"] = json!([{ "group_id": group }]);
        member
    };
    platform.tell(|told| {
        told.services.members = vec![
            grouped(member("user-8", "Ada", "Fennimore", "0042"), "g-1"),
            grouped(member("u-7", "Noor", "Lund", "0077"), "g-2"),
            member("u-6", "Tam", "Ode", "0078"),
        ];
    });
    let preview = coordinator
        .post_form("/course/platform/members", &[("section", "D")])
        .await;
    bring_in(&mut coordinator, &preview.body, &[]).await;
    let view = app.desk.view().await.expect("a course");
    for (id, section) in [("0042", "B"), ("0077", "C"), ("0078", "D")] {
        let student = view.term.student(id).expect(id);
        assert_eq!(student.section.as_str(), section, "{id}");
    }
}

#[tokio::test]
async fn whoever_is_linked_is_the_same_person_whatever_the_platform_says_of_them() {
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("ada@students.example"));
    });
    assert_eq!(
        launched(&mut app.stranger(), &platform).await.location(),
        "/student"
    );
    // another address, none, or somebody else's
    for email in [
        json!("ada.f@elsewhere.example"),
        json!(null),
        json!("nobody"),
    ] {
        platform.tell(|told| {
            told.claims.insert("email".into(), email.clone());
        });
        let mut ada = app.stranger();
        assert_eq!(
            launched(&mut ada, &platform).await.location(),
            "/student",
            "{email}"
        );
        assert!(ada.get("/student").await.body.contains("Ada"));
        let record = ada.get("/student/record.json").await.body;
        assert!(record.contains("\"known_as\": \"user-8\""), "{record}");
    }
    // another sub is another person
    platform.tell(|told| {
        told.claims.insert("sub".into(), json!("user-9"));
    });
    assert_eq!(launched(&mut app.stranger(), &platform).await.status, 403);
    // and whoever is taken off the lists comes in no more
    platform.tell(|told| {
        told.claims.insert("sub".into(), json!("user-8"));
    });
    let left = concordant::course::Student {
        left: Some("2026-09-01".parse().expect("a day")),
        ..app
            .desk
            .view()
            .await
            .expect("a course")
            .term
            .student("0042")
            .expect("Ada")
            .clone()
    };
    let left = vec![concordant::changes::Change::Student(left)];
    app.desk
        .apply(left, "test", app.clock.now())
        .await
        .expect("left");
    assert_eq!(launched(&mut app.stranger(), &platform).await.status, 403);
}

#[tokio::test]
async fn only_who_teaches_there_says_which_course_it_is() {
    let (app, platform) = with_platform("custom").await;
    platform.tell(|told| {
        let custom = json!({ "student_number": "i.quell" });
        told.claims.insert(format!("{CLAIM}custom"), custom);
        let learner = "http://purl.imsglobal.org/vocab/lis/v2/membership#Learner";
        told.claims
            .insert(format!("{CLAIM}roles"), json!([learner]));
    });
    let mut coordinator = app.stranger();
    assert_eq!(
        launched(&mut coordinator, &platform).await.location(),
        "/course"
    );
    let page = coordinator.get("/course/platform").await.body;
    assert!(
        page.contains("as one who teaches it") && !page.contains("5th of many"),
        "{page}"
    );
    let unknown = [("context", "0000")];
    for form in ["take", "leave"] {
        let answer = coordinator
            .post_form(&format!("/course/platform/{form}"), &unknown)
            .await;
        assert_eq!(answer.status, 422, "{form}");
    }
    assert_eq!(fetched(&mut coordinator).await.status, 422);
    platform.tell(|told| told.claims.retain(|name, _| !name.ends_with("roles")));
    let mut coordinator = taken(&app, &platform).await;
    let page = coordinator.get("/course/platform").await.body;
    assert!(
        page.contains("can be fetched") && page.contains("can go there"),
        "{page}"
    );
    let name = hidden(&page, "context");
    let left = coordinator
        .post_form("/course/platform/leave", &[("context", &name)])
        .await;
    assert_eq!(left.location(), "/course/platform?done=left");
    let record = coordinator.get("/course/access").await.body;
    assert!(record.contains("is this course no more"), "{record}");
}

#[tokio::test]
async fn a_platform_that_does_not_answer_changes_nothing_and_is_said() {
    let (app, mut platform) = with_platform("sourced-id").await;
    let mut coordinator = taken(&app, &platform).await;
    let three = ["0042", "0051", "0077"];
    let three = three.map(|id| member(&format!("u-{id}"), "A", "B", id));
    platform.tell(|told| told.services.members = three.into());
    let mut expect = async |why: &str| {
        let answer = fetched(&mut coordinator).await;
        assert_eq!(answer.status, 502, "{}", answer.body);
        assert!(answer.body.contains(why), "{why} in {}", answer.body);
        assert!(!answer.body.contains("-secret"), "{}", answer.body);
    };
    platform.tell(|told| told.services.no_token = Some("invalid_client"));
    expect("gives this server no token: status 400, invalid_client").await;
    platform.tell(|told| {
        told.services.no_token = None;
        told.services.away = Some(503);
    });
    expect("it answers with status 503").await;
    platform.tell(|told| told.services.away = Some(403));
    expect("refused it with status 403").await;
    platform.tell(|told| {
        told.services.away = None;
        told.services.next = Some("http://127.0.0.1:9".into());
    });
    expect("a next page at another host").await;
    platform.tell(|told| told.services.next = None);
    platform.go_away().await;
    expect("cannot be had").await;
    platform.come_back().await;
    // a token that is taken no more is had anew, once
    let had = platform.told.lock().expect("sound").services.tokens.len();
    platform.tell(|told| told.services.forgotten = had);
    assert_eq!(fetched(&mut coordinator).await.status, 200);
    platform.tell(|told| assert_eq!(told.services.tokens.len(), had + 1));
    // and before it ends
    app.clock
        .put_forward(jiff::SignedDuration::from_secs(3_500));
    assert_eq!(fetched(&mut coordinator).await.status, 200);
    app.clock.put_forward(jiff::SignedDuration::from_secs(60));
    assert_eq!(fetched(&mut coordinator).await.status, 200);
    platform.tell(|told| assert_eq!(told.services.tokens.len(), had + 2));
}

#[tokio::test]
async fn a_coordinator_whom_the_platform_cannot_name_says_so_by_a_code() {
    // staff have no address here
    let (app, platform) = with_platform("email").await;
    platform.tell(|told| {
        told.claims
            .insert("email".into(), json!("iris@staff.example"));
    });
    let mut unknown = app.stranger();
    let refused = launched(&mut unknown, &platform).await;
    assert_eq!(refused.status, 403);
    let after = refused.body.split("and enter ").nth(1).expect("a code");
    let code: String = after.chars().take(14).collect();
    let mut coordinator = app.person("i.quell").await;
    for (who, given) in [("nobody", "0000-0000-0000"), ("nobody", "")] {
        let answer = coordinator
            .post_form("/course/platform/code", &[("code", given)])
            .await;
        assert_eq!(answer.status, 422, "{who}");
    }
    let page = coordinator
        .post_form("/course/platform/code", &[("code", &code)])
        .await;
    assert!(
        page.body.contains("Chemistry, 5th of many"),
        "{}",
        page.body
    );
    let name = hidden(&page.body, "context");
    let without = [("context", name.as_str())];
    let answer = coordinator
        .post_form("/course/platform/take", &without)
        .await;
    assert_eq!(answer.status, 422, "not theirs to say without it");
    let with = [("context", name.as_str()), ("code", code.as_str())];
    let taken = coordinator.post_form("/course/platform/take", &with).await;
    assert_eq!(
        taken.location(),
        "/course/platform?done=taken",
        "{}",
        taken.body
    );
    // it is used up, and let nobody in
    let again = coordinator
        .post_form("/course/platform/code", &[("code", &code)])
        .await;
    assert_eq!(again.status, 422);
    assert_eq!(launched(&mut unknown, &platform).await.status, 403);
    // learners are given no code
    platform.tell(|told| {
        told.claims
            .insert(format!("{CLAIM}roles"), json!(["Learner"]));
    });
    let refused = launched(&mut app.stranger(), &platform).await;
    assert!(!refused.body.contains("and enter "), "{}", refused.body);
    // nor does one hold for long
    platform.tell(|told| told.claims.retain(|name, _| !name.ends_with("roles")));
    let refused = launched(&mut app.stranger(), &platform).await;
    let after = refused.body.split("and enter ").nth(1).expect("a code");
    let code: String = after.chars().take(14).collect();
    app.clock.put_forward(jiff::SignedDuration::from_mins(16));
    let late = coordinator
        .post_form("/course/platform/code", &[("code", &code)])
        .await;
    assert_eq!(late.status, 422);
}

#[tokio::test]
async fn numbers_come_as_custom_parameters_of_the_link() {
    let (app, platform) = with_platform("custom").await;
    let mut coordinator = taken(&app, &platform).await;
    let numbered = |sub: &str, name: &str, number: &str| {
        let mut member = member(sub, "Noor", name, "of no use here");
        let custom = json!({ "student_number": number });
        member["message"] = json!([{ format!("{CLAIM}custom"): custom }]);
        member
    };
    platform.tell(|told| {
        told.services.members = vec![
            numbered("u-1", "Fennimore", "0042"),
            numbered("u-2", "Lund", "0077"),
            numbered("u-3", "Ode", "0042"),
        ];
    });
    let preview = fetched(&mut coordinator).await.body;
    assert!(preview.contains("1 join the roster"), "{preview}");
    assert!(preview.contains("is the same student here"), "{preview}");
    bring_in(&mut coordinator, &preview, &[]).await;
    let view = app.desk.view().await.expect("a course");
    let noor = view.term.student("0077").expect("Noor");
    assert_eq!(noor.family_name, "Lund");
}

#[tokio::test]
async fn whoever_is_taken_off_the_staff_is_known_to_the_platform_no_more() {
    let (app, platform) = with_platform("sourced-id").await;
    taken(&app, &platform).await;
    let known = async || {
        let mut reader = app.desk.store().read().await.expect("a reader");
        let mut contexts = reader.contexts();
        let found = contexts.person(&platform.address, "teacher-1").await;
        found.expect("reads")
    };
    assert!(known().await.is_some());
    let gone = RemoveStaff {
        login: "I.Quell".into(),
    };
    let made = app.desk.apply(vec![gone.into()], "test", app.clock.now());
    made.await.expect("taken off");
    assert_eq!(known().await, None);
}

#[tokio::test]
async fn a_member_who_is_known_from_another_course_keeps_the_number() {
    let (app, _platform) = with_platform("sourced-id").await;
    let view = app.desk.view().await.expect("a course");
    let member = Member {
        sub: "u-90".into(),
        family_name: "Lund".into(),
        given_name: "Noor".into(),
        sourced_id: "new-number".into(),
        learns: true,
        is_active: true,
        ..Member::default()
    };
    let linked = [("u-90".to_owned(), StudentId::new("0090"))].into();
    let (members, groups) = ([member], Groups::new());
    let section = SectionName::new("A");
    let come = incoming(
        &view.term,
        (&members, &groups),
        (NamedBy::SourcedId, &linked),
        &section,
    );
    let (_, student) = &come.students[0];
    assert_eq!((student.id.as_str(), come.not_taken.len()), ("0090", 0));
}

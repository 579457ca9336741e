//! The outbox of grades, looked at from inside: what is on its way, what another process finds, what is pending, and when
//! nothing goes at all.

use std::sync::Arc;

use concordant::desk::accounts::{AccountId, By, Kind};
use concordant::desk::lti::grades::pass;
use concordant::desk::lti::platforms;
use concordant::desk::outgoing::{Passed, Place};
use concordant::desk::{Desk, Retirement, bring_in_term, decide, retire};
use concordant::files::read_term;
use concordant::ids::StudentId;
use concordant::lti::Context;
use concordant::store::SendState;
use concordant::store::Store;
use concordant::term::Ruling;
use jiff::SignedDuration;
use serde_json::json;

use super::grades::{Back, folder};
use super::members::taken;
use super::services::member;
use super::with_platform;

#[tokio::test]
async fn one_that_is_on_its_way_is_nobody_elses_and_ends_before_the_next() {
    let mut back = Back::open().await;
    back.release(true).await;
    back.page().await;
    let at = back.app.clock.now();
    let until = at + SignedDuration::from_mins(5);
    let mut transaction = back.app.desk.store().write().await.expect("a write");
    let due = transaction.grades().due(at, 9).await.expect("due");
    let mut students = due.iter().map(|grade| grade.wanted.student.as_str());
    assert!(
        students.all(|key| !key.contains("004")),
        "students by their key"
    );
    for grade in &due {
        assert!(
            transaction
                .grades()
                .take(grade, at, until)
                .await
                .expect("taken")
        );
        assert!(
            !transaction
                .grades()
                .take(grade, at, until)
                .await
                .expect("asked"),
            "once"
        );
    }
    transaction.commit().await.expect("kept");
    // whoever took them was killed; meanwhile the grade changes
    back.adjust("0042", -2).await;
    assert_eq!(back.pass().await, Passed::default(), "on its way");
    // an answer that comes late is that of the version it was for
    let mut transaction = back.app.desk.store().write().await.expect("a write");
    for grade in &due {
        transaction.grades().sent(grade, at).await.expect("said");
    }
    transaction.commit().await.expect("kept");
    assert_eq!(
        back.pass().await.sent,
        1,
        "what changed meanwhile goes after it"
    );
    let shown = back.shown();
    assert_eq!(shown["user-8"], back.ours().await["user-8"]);
    // with the clock set back, timestamps go on
    let state = {
        let mut reader = back.app.desk.store().read().await.expect("a reader");
        reader.grades().all().await.expect("grades")
    };
    assert!(state.iter().all(|grade| grade.state == SendState::Sent));
    back.app.clock.put_forward(SignedDuration::from_hours(-1));
    back.adjust("0042", -3).await;
    assert_eq!(back.pass().await.sent, 1);
    back.app.clock.put_forward(SignedDuration::from_hours(1));
    assert_eq!(back.shown()["user-8"], back.ours().await["user-8"]);
}

#[tokio::test]
async fn a_server_that_was_stopped_goes_on_where_it_was() {
    let mut back = Back::open().await;
    back.platform.go_away().await;
    back.release(true).await;
    back.pass().await;
    back.adjust("0043", -1).await;
    back.platform.come_back().await;
    back.later(SignedDuration::from_mins(2));
    // another process on the same file, which knows nothing but that
    let store = Store::open(&back.app.database()).await.expect("a store");
    let desk = Desk::open(store).await.expect("a desk");
    let place = Place::alone(&desk);
    let services = Arc::default();
    let now = back.app.clock.now();
    assert_eq!(
        pass(place, &services, now)
            .await
            .expect("gone through")
            .sent,
        2
    );
    desk.close().await;
    assert_eq!(back.pass().await, Passed::default());
    assert_eq!((back.shown(), back.scores()), (back.ours().await, 2));
}

#[tokio::test]
async fn what_a_person_has_still_to_look_at_is_pending() {
    let back = Back::open().await;
    let who = ("b.tarn", back.app.clock.now());
    let slot = crate::slot("acid", "0042");
    let returned = decide(
        &back.app.desk,
        slot.clone(),
        Ruling::Return,
        "look again",
        1,
        who,
    )
    .await;
    returned.expect("returned");
    back.release(true).await;
    back.pass().await;
    let progress = |user: &str| {
        let told = back.platform.told.lock().expect("sound");
        let of = told.services.scores.iter().rev();
        let mut of = of.filter(|(_, score)| score["userId"] == user);
        let (_, score) = of.next().expect("a score");
        score["gradingProgress"].as_str().expect("one").to_owned()
    };
    assert_eq!(progress("user-8"), "PendingManual");
    let who = ("b.tarn", back.app.clock.now());
    let accepted = decide(&back.app.desk, slot, Ruling::Accept, "", 1, who).await;
    accepted.expect("accepted");
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(progress("user-8"), "FullyGraded");
}

#[tokio::test]
async fn it_is_off_until_the_platform_gives_its_gradebook_and_somebody_turns_it_on() {
    let (app, platform) = with_platform("sourced-id").await;
    platform.tell(|told| {
        let claim = "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint";
        let scope = json!(["https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly"]);
        let only =
            json!({ "scope": scope, "lineitems": format!("{}/lineitems", platform.address) });
        told.claims.insert(claim.into(), only);
    });
    let mut coordinator = taken(&app, &platform).await;
    let page = coordinator.get("/course/platform").await.body;
    assert!(page.contains("not taken from this server"), "{page}");
    let refused = coordinator
        .post_form("/course/platform/grades", &[("wanted", "yes")])
        .await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    let page = coordinator.get("/course/platform/grades").await.body;
    assert!(
        page.contains("They do not.") && !page.contains("Let them go back"),
        "{page}"
    );
}

#[tokio::test]
async fn whoever_is_taken_out_is_nobody_here_either() {
    let mut back = Back::open().await;
    back.release(true).await;
    assert_eq!(back.pass().await.sent, 2);
    back.platform.tell(|told| told.services.away = Some(503));
    back.adjust("0043", -1).await;
    back.pass().await;
    let asked = Retirement {
        before: "2100-01-01".parse().expect("a day"),
        students: vec![StudentId::new("0043")],
        texts_only: false,
    };
    let desk = &back.app.desk;
    let retired = retire(desk, &asked, By::COMMAND_LINE, back.app.clock.now()).await;
    assert_eq!(retired.expect("taken out").len(), 1);
    let issuer = back.platform.address.clone();
    let mut reader = desk.store().read().await.expect("a reader");
    let known = reader.contexts().person(&issuer, "u-43").await;
    assert_eq!(known.expect("reads"), None);
    drop(reader);
    back.platform.tell(|told| told.services.away = None);
    back.app.clock.put_forward(SignedDuration::from_mins(5));
    assert_eq!(back.pass().await.sent, 0);
    let page = back.page().await;
    assert!(page.contains("somebody taken out"), "{page}");
    assert!(!page.contains("Okafor") && !page.contains("0043"), "{page}");
}

#[tokio::test]
async fn of_two_servers_one_makes_the_column() {
    let back = Back::open().await;
    back.release(true).await;
    let store = Store::open(&back.app.database()).await.expect("a store");
    let other = Desk::open(store).await.expect("a desk");
    let place = Place::alone(&other);
    let (services, now) = (Arc::default(), back.app.clock.now());
    let both = tokio::join!(back.pass(), pass(place, &services, now));
    assert!(both.0.refused == 0 && both.1.expect("gone through").refused == 0);
    back.app.clock.put_forward(SignedDuration::from_secs(11));
    back.pass().await;
    other.close().await;
    assert_eq!((back.shown().len(), back.scores()), (2, 2));
    back.platform
        .tell(|told| assert_eq!(told.services.line_items.len(), 1));
    // who died while making it is waited for, and no longer
    let mut transaction = back.app.desk.store().write().await.expect("a write");
    let mut grades = transaction.grades();
    let context = grades.all().await.expect("grades")[0]
        .wanted
        .context
        .clone();
    let at = back.app.clock.now();
    let time = (at, at + SignedDuration::from_mins(5));
    let place = (context.as_str(), "shell");
    assert!(grades.take_line_item(place, time).await.expect("taken"));
    assert!(!grades.take_line_item(place, time).await.expect("asked"));
    let later = (time.1, time.1 + SignedDuration::from_mins(5));
    assert!(grades.take_line_item(place, later).await.expect("taken"));
    assert_eq!(
        grades.line_item(place.0, "shell").await.expect("asked"),
        None
    );
    transaction.abandon().await.expect("left");
}

#[tokio::test]
async fn a_score_that_the_platform_stumbles_over_holds_up_no_other() {
    let mut back = Back::open().await;
    back.platform
        .tell(|told| told.services.stumbles_over = Some("user-8"));
    back.release(true).await;
    let passed = back.pass().await;
    assert_eq!((passed.sent, passed.put_off), (1, 1), "{passed:?}");
    assert!(passed.away.is_some_and(|why| why.contains("status 500")));
    back.adjust("0043", -1).await;
    assert_eq!(back.pass().await.sent, 1, "at once");
    assert_eq!(back.shown()["u-43"], back.ours().await["u-43"]);
    back.platform
        .tell(|told| told.services.stumbles_over = None);
    back.later(SignedDuration::from_secs(61));
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(back.shown(), back.ours().await);
}

#[tokio::test]
async fn a_platform_that_stumbles_over_several_in_a_row_is_left_alone_for_a_minute() {
    let mut back = Back::unfetched().await;
    let term = read_term(&folder(3)).expect("is sound");
    let brought = bring_in_term(&back.app.desk, &term, "test", back.app.clock.now()).await;
    brought.expect("brought in");
    back.platform.tell(|told| {
        let more = ["m0", "m1", "m2"].map(|id| member(&format!("u-{id}"), "M", "Many", id));
        told.services.members.extend(more);
        told.services.no_scores = Some(503);
    });
    back.fetch().await;
    back.release(true).await;
    let passed = back.pass().await;
    assert_eq!((passed.sent, passed.put_off), (0, 3), "{passed:?}");
    let mut reader = back.app.desk.store().read().await.expect("a reader");
    let all = reader.grades().all().await.expect("grades");
    drop(reader);
    let tried = all.iter().filter(|grade| grade.tries == 1);
    assert_eq!(
        (all.len(), tried.count()),
        (5, 3),
        "the others were not tried"
    );
    back.platform.tell(|told| told.services.no_scores = None);
    assert_eq!(back.pass().await, Passed::default());
    back.later(SignedDuration::from_secs(61));
    assert_eq!(back.pass().await.sent, 5);
}

#[tokio::test]
async fn a_comparison_that_comes_late_leaves_what_came_after_it() {
    let mut back = Back::unfetched().await;
    back.fetch().await;
    back.release(true).await;
    // another server has compared a course that is later than the one that is known here
    let mut transaction = back.app.desk.store().write().await.expect("a write");
    transaction.grades().begin_anew().await.expect("anew");
    transaction
        .grades()
        .go_through(1_000_000)
        .await
        .expect("gone");
    transaction.commit().await.expect("kept");
    let passed = back.pass().await;
    assert_eq!(passed, Passed::default(), "nothing older is queued");
    // it was without those who are known only now, so all is compared once more
    assert_eq!(back.pass().await.sent, 2);
}

#[tokio::test]
async fn a_grade_follows_whoever_is_launched_from_another_course_of_the_platform() {
    let back = Back::unfetched().await;
    let desk = &back.app.desk;
    let platform = platforms(desk).await.expect("reads").remove(0);
    let now = back.app.clock.now();
    let mut transaction = desk.store().write().await.expect("a write");
    let mut contexts = transaction.contexts();
    let first = contexts.of_course("").await.expect("reads").remove(0);
    let other = Context {
        id: "course-6".into(),
        title: "Zymology".into(),
        ..first.context.clone()
    };
    let other = contexts.keep(&platform, &other, now).await.expect("kept");
    assert!(contexts.link(&other, Some("")).await.expect("linked"));
    transaction.commit().await.expect("kept");
    back.release(true).await;
    assert_eq!(back.pass().await.put_off, 2, "nobody is known yet");
    let ada = AccountId {
        kind: Kind::Student,
        login: "0042".into(),
    };
    let who = (platform.issuer.as_str(), "user-8");
    let mut transaction = desk.store().write().await.expect("a write");
    let mut contexts = transaction.contexts();
    contexts.keep_person(who, &ada, now).await.expect("kept");
    contexts
        .keep_member(&other, who, false)
        .await
        .expect("kept");
    transaction.commit().await.expect("kept");
    back.later(SignedDuration::from_mins(6));
    assert_eq!(back.pass().await.put_off, 2);
    assert_eq!(back.pass().await.sent, 1);
    let mut reader = desk.store().read().await.expect("a reader");
    let all = reader.grades().all().await.expect("grades");
    let mut sent = all.iter().filter(|grade| grade.state == SendState::Sent);
    assert_eq!(sent.next().expect("one").wanted.context, other);
    let mut dropped = all.iter().filter(|grade| grade.state == SendState::Dropped);
    let why = &dropped.next().expect("one").why;
    assert!(why.contains("another course of the platform"), "{why}");
}

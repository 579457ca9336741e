//! Grades that go back to a platform: on release, on every change, taken back; through a platform that is away, refuses,
//! forgets its tokens or its columns; and never an older one after a newer.

use std::collections::BTreeMap;
use std::sync::Arc;

use concordant::campus::Services;
use concordant::changes::SetRelease;
use concordant::desk::lti::grades::pass;
use concordant::desk::outgoing::{Passed, Place};
use concordant::desk::{bring_in_term, decide};
use concordant::files::{Folder, read_term};
use concordant::ids::SectionName;
use concordant::term::Ruling;
use jiff::SignedDuration;
use rust_decimal::Decimal;
use serde_json::json;

use super::members::taken;
use super::platform::{CLAIM, Platform};
use super::services::member;
use super::{launched, with_platform};
use crate::app::{Person, TestApp};
use crate::week;

/// A course of the week with something handed in by Ada, Tobias and so many more, whose course at a platform takes grades.
pub struct Back {
    pub app: TestApp,
    pub platform: Platform,
    pub coordinator: Person,
    services: Arc<Services>,
}

/// The week, with hand-ins of two students and of `many` more.
pub fn folder(many: usize) -> Folder {
    let mut roster = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,A\n0043,Okafor-Lind,Tobias,A\n\
        0051,Ruhl,Seraphine,B\n"
        .to_owned();
    let mut readings =
        "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n\
        0042,2,N-1,,0.00,20.42\n0043,1,N-1,,0.00,25.03\n0043,2,N-1,,0.00,25.01\n"
            .to_owned();
    for n in 0..many {
        roster += &format!("m{n},Many,M{n},A\n");
        readings += &format!("m{n},1,N-1,U-1,0.00,20.{n:02}\nm{n},2,N-1,U-1,0.00,20.{n:02}\n");
    }
    let mut folder = Folder::default();
    for (path, bytes) in week::folder()
        .files()
        .filter(|(path, _)| *path != "roster.csv")
    {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    for (path, text) in [("roster.csv", roster), ("readings/acid.csv", readings)] {
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

impl Back {
    /// With grades turned on, and the members fetched.
    pub async fn open() -> Self {
        let mut back = Self::unfetched().await;
        back.fetch().await;
        back
    }

    pub async fn unfetched() -> Self {
        let (app, platform) = with_platform("sourced-id").await;
        let term = read_term(&folder(0)).expect("is sound");
        let brought = bring_in_term(&app.desk, &term, "test", app.clock.now()).await;
        brought.unwrap_or_else(|why| panic!("{why}: {why:?}"));
        let mut coordinator = taken(&app, &platform).await;
        let on = [("wanted", "yes")];
        let turned = coordinator.post_form("/course/platform/grades", &on).await;
        assert_eq!(
            turned.location(),
            "/course/platform/grades?done=on",
            "{}",
            turned.body
        );
        platform.tell(|told| {
            told.services.members = vec![
                member("user-8", "Ada", "Fennimore", "0042"),
                member("u-43", "Tobias", "Okafor-Lind", "0043"),
                member("u-51", "Seraphine", "Ruhl", "0051"),
            ];
        });
        Self {
            app,
            platform,
            coordinator,
            services: Arc::default(),
        }
    }

    pub async fn fetch(&mut self) {
        let section = [("section", "A")];
        let fetched = self
            .coordinator
            .post_form("/course/platform/members", &section)
            .await;
        assert_eq!(fetched.status, 200, "{}", fetched.body);
    }

    pub async fn pass(&self) -> Passed {
        let place = Place::alone(&self.app.desk);
        let passed = pass(place, &self.services, self.app.clock.now()).await;
        passed.expect("gone through")
    }

    pub async fn release(&self, out: bool) {
        let change = SetRelease {
            experiment: crate::key("acid"),
            section: Some(SectionName::new("A")),
            released_at: out.then(|| self.app.clock.now()),
        };
        let made = self
            .app
            .desk
            .apply(vec![change.into()], "i.quell", self.app.clock.now());
        made.await.expect("done");
    }

    /// Points taken off or added by hand.
    pub async fn adjust(&self, student: &str, points: i64) {
        let who = ("b.tarn", self.app.clock.now());
        let ruling = Ruling::Adjust {
            points: Decimal::from(points),
        };
        let slot = crate::slot("acid", student);
        let done = decide(&self.app.desk, slot, ruling, "a reason of ours", 1, who).await;
        done.expect("decided");
    }

    pub fn shown(&self) -> BTreeMap<String, f64> {
        let told = self.platform.told.lock().expect("sound");
        let shown = told.services.gradebook().into_iter();
        shown.map(|((_, user), points)| (user, points)).collect()
    }

    pub fn scores(&self) -> usize {
        self.platform
            .told
            .lock()
            .expect("sound")
            .services
            .scores
            .len()
    }

    /// What our own gradebook says, by who they are at the platform.
    pub async fn ours(&mut self) -> BTreeMap<String, f64> {
        let book = self.coordinator.get("/course/gradebook.csv").await.body;
        let mut lines = book.lines();
        let header: Vec<&str> = lines.next().expect("a header").split(',').collect();
        let column = header
            .iter()
            .position(|name| *name == "acid")
            .expect("acid");
        let mut all = BTreeMap::new();
        for line in lines {
            let cells: Vec<&str> = line.split(',').collect();
            let user = match cells[0] {
                "0042" => "user-8",
                "0043" => "u-43",
                _ => continue,
            };
            all.insert(user.to_owned(), cells[column].parse().expect("points"));
        }
        all
    }

    pub async fn page(&mut self) -> String {
        self.coordinator.get("/course/platform/grades").await.body
    }

    pub fn later(&self, by: SignedDuration) {
        self.app.clock.put_forward(by);
        let seconds = by.as_secs();
        self.platform.tell(|told| told.now += seconds);
    }
}

#[tokio::test]
async fn grades_go_back_when_they_are_out_and_whenever_they_change() {
    let mut back = Back::open().await;
    assert_eq!(back.pass().await, Passed::default(), "nothing is out");
    back.release(true).await;
    let page = back.page().await;
    assert!(page.contains("2 waiting"), "{page}");
    assert_eq!(back.pass().await.sent, 2);
    assert_eq!(back.shown(), back.ours().await);
    let page = back.page().await;
    assert!(
        page.contains("2 sent") && page.contains("0 waiting"),
        "{page}"
    );
    // once is enough
    assert_eq!(back.pass().await, Passed::default());
    back.platform.tell(|told| {
        let items = &told.services.line_items;
        assert_eq!(items.len(), 1);
        assert_eq!(
            (&items[0]["resourceId"], &items[0]["tag"]),
            (&json!("acid"), &json!("grade"))
        );
        // points alone: no reading, no name, no number of ours
        for (_, score) in &told.services.scores {
            let names: Vec<&String> = score.as_object().expect("a score").keys().collect();
            let of = [
                "userId",
                "timestamp",
                "activityProgress",
                "gradingProgress",
                "scoreGiven",
                "scoreMaximum",
            ];
            assert_eq!(names, of);
        }
    });
    let before = back.shown();
    back.adjust("0042", -2).await;
    assert_eq!(back.pass().await.sent, 1, "the one that changed");
    assert_eq!(back.shown(), back.ours().await);
    assert!((before["user-8"] - back.shown()["user-8"] - 2.0).abs() < 1e-9);
    // taken back, there is none any more; out again, there is
    back.release(false).await;
    assert_eq!(back.pass().await.sent, 2);
    assert!(back.shown().is_empty(), "{:?}", back.shown());
    assert!(back.page().await.contains("none any more"));
    back.release(true).await;
    assert_eq!(back.pass().await.sent, 2);
    assert_eq!(back.shown(), back.ours().await);
    // turned off nothing goes, and what came about in the meantime goes when it is on again
    let turned = back
        .coordinator
        .post_form("/course/platform/grades", &[("wanted", "no")])
        .await;
    assert_eq!(turned.status, 303);
    back.adjust("0042", -3).await;
    assert_eq!(back.pass().await, Passed::default());
    back.coordinator
        .post_form("/course/platform/grades", &[("wanted", "yes")])
        .await;
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(back.shown(), back.ours().await);
    let record = back.coordinator.get("/course/access").await.body;
    assert!(
        record.contains("grades go to the platform no more"),
        "{record}"
    );
}

#[tokio::test]
async fn nothing_is_lost_when_the_platform_is_away() {
    let mut back = Back::open().await;
    back.platform.go_away().await;
    back.release(true).await;
    let passed = back.pass().await;
    assert!(passed.sent == 0 && passed.away.is_some(), "{passed:?}");
    let page = back.page().await;
    assert!(
        page.contains("2 waiting") && page.contains("cannot be had"),
        "{page}"
    );
    // it rests a minute, then two
    back.platform.come_back().await;
    assert_eq!(back.pass().await, Passed::default());
    back.platform.tell(|told| told.services.away = Some(503));
    back.later(SignedDuration::from_secs(61));
    assert!(back.pass().await.away.is_some());
    back.later(SignedDuration::from_secs(61));
    assert_eq!(back.pass().await, Passed::default(), "two minutes");
    // what changes while it is away goes once, as it is in the end
    back.adjust("0042", -1).await;
    back.adjust("0042", -4).await;
    back.platform.tell(|told| told.services.away = None);
    back.later(SignedDuration::from_secs(61));
    assert_eq!(back.pass().await.sent, 2);
    assert_eq!((back.shown(), back.scores()), (back.ours().await, 2));
    // or as soon as somebody says so
    back.platform.tell(|told| told.services.away = Some(500));
    back.adjust("0042", -5).await;
    back.pass().await;
    back.platform.tell(|told| told.services.away = None);
    assert_eq!(back.pass().await, Passed::default());
    let again = back
        .coordinator
        .post_form("/course/platform/grades/again", &[])
        .await;
    assert!(
        again.location().ends_with("done=again&n=1"),
        "{}",
        again.location()
    );
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(back.shown(), back.ours().await);
}

#[tokio::test]
async fn what_the_platform_refuses_is_said_and_tried_when_somebody_says_so() {
    let mut back = Back::open().await;
    back.platform
        .tell(|told| told.services.no_scores = Some(422));
    back.release(true).await;
    assert_eq!(back.pass().await.refused, 2);
    back.later(SignedDuration::from_mins(50));
    assert_eq!(back.pass().await, Passed::default(), "not by itself");
    let page = back.page().await;
    assert!(
        page.contains("2 refused") && page.contains("status 422"),
        "{page}"
    );
    back.platform
        .tell(|told| told.services.no_scores = Some(403));
    let id = page.split("name=\"id\" value=\"").nth(1).expect("a grade");
    let id = id.split('"').next().expect("its number");
    let again = back
        .coordinator
        .post_form("/course/platform/grades/again", &[("id", id)])
        .await;
    assert!(again.location().ends_with("n=1"), "{}", again.location());
    assert_eq!(back.pass().await.refused, 1);
    assert!(back.page().await.contains("status 403"));
    back.platform.tell(|told| told.services.no_scores = None);
    back.coordinator
        .post_form("/course/platform/grades/again", &[])
        .await;
    assert_eq!(back.pass().await.sent, 2);
    assert_eq!(back.shown(), back.ours().await);
    for bad in ["x", "1 OR 1"] {
        let answer = back
            .coordinator
            .post_form("/course/platform/grades/again", &[("id", bad)])
            .await;
        assert_eq!(answer.status, 422);
    }
}

#[tokio::test]
async fn a_column_that_is_gone_is_made_anew_and_one_that_is_there_is_found() {
    let back = Back::open().await;
    back.release(true).await;
    back.pass().await;
    // what this server knew of it is gone: it finds it
    let mut transaction = back.app.desk.store().write().await.expect("a write");
    let all = transaction.grades().all().await.expect("grades");
    let context = all[0].wanted.context.clone();
    transaction
        .grades()
        .forget_line_item(&context, "acid")
        .await
        .expect("forgotten");
    transaction.commit().await.expect("kept");
    back.adjust("0042", -1).await;
    assert_eq!(back.pass().await.sent, 1);
    back.platform.tell(|told| {
        assert_eq!(told.services.line_items.len(), 1);
        // what the platform has of it is gone: it is made again
        told.services.line_items.clear();
        told.services.scores.clear();
    });
    back.adjust("0042", -2).await;
    assert_eq!(back.pass().await.sent, 1);
    back.platform
        .tell(|told| assert_eq!(told.services.line_items.len(), 1));
}

#[tokio::test]
async fn tokens_that_end_or_are_forgotten_are_had_anew() {
    let back = Back::open().await;
    back.release(true).await;
    back.pass().await;
    let had = || {
        back.platform
            .told
            .lock()
            .expect("sound")
            .services
            .tokens
            .len()
    };
    let first = had();
    back.platform.tell(|told| told.services.forgotten = first);
    back.adjust("0042", -1).await;
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(had(), first + 1);
    back.later(SignedDuration::from_mins(61));
    back.adjust("0042", -2).await;
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(had(), first + 2);
    // no token: all waits, with the reason, and goes when there is one
    back.platform
        .tell(|told| told.services.no_token = Some("invalid_client"));
    back.later(SignedDuration::from_mins(61));
    back.adjust("0042", -3).await;
    let why = back.pass().await.away.expect("a reason");
    assert!(
        why.contains("no token: status 400, invalid_client"),
        "{why}"
    );
    back.platform.tell(|told| told.services.no_token = None);
    back.later(SignedDuration::from_secs(61));
    assert_eq!(back.pass().await.sent, 1);
}

#[tokio::test]
async fn whoever_the_platform_has_not_named_waits_until_it_does() {
    let mut back = Back::unfetched().await;
    back.release(true).await;
    let passed = back.pass().await;
    assert_eq!((passed.sent, passed.put_off), (0, 2));
    let page = back.page().await;
    assert!(page.contains("has not said yet who this is"), "{page}");
    // Ada is launched
    back.platform.tell(|told| {
        told.claims.insert("sub".into(), json!("user-8"));
        told.claims
            .insert(format!("{CLAIM}lis"), json!({ "person_sourcedid": "0042" }));
    });
    assert_eq!(
        launched(&mut back.app.stranger(), &back.platform)
            .await
            .location(),
        "/student"
    );
    back.later(SignedDuration::from_mins(6));
    assert_eq!(back.pass().await.sent, 1);
    back.fetch().await;
    back.later(SignedDuration::from_mins(6));
    assert_eq!(back.pass().await.sent, 1);
    assert_eq!(back.shown(), back.ours().await);
}

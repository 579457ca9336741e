//! Bench groups and whole classes: courses for other tests, and what their students see.

use concordant::changes::{Change, SetRelease};
use concordant::desk::{Desk, bring_in, decide, release, verify};
use concordant::files::{Folder, read_term, write_term};
use concordant::term::{Ruling, Status};

use crate::app::{Answer, Person, TestApp};
use crate::week::{self, acid_form};

async fn with_files(changes: &[(&str, String)]) -> TestApp {
    let app = TestApp::spawn().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        if !changes.iter().any(|(other, _)| *other == path) {
            folder.insert(path, bytes.to_vec()).expect("room");
        }
    }
    for (path, text) in changes {
        folder
            .insert(path, text.clone().into_bytes())
            .expect("room");
    }
    let now = app.clock.now();
    bring_in(&app.desk, &folder, "test", now)
        .await
        .expect("imported");
    app
}

/// 0042 and 0043 share readings of the acid.
pub async fn group_of_two() -> TestApp {
    let groups = "experiment,student_id,group\nacid,0042,g1\nacid,0043,g1\n".to_owned();
    with_files(&[("groups.csv", groups)]).await
}

/// 0042 and twelve others have handed in the acid.
pub async fn class_of_twelve() -> TestApp {
    class_of(12).await
}

/// 0042 and so many others have handed in the acid.
pub async fn class_of(others: usize) -> TestApp {
    let mut roster = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,A\n0043,Okafor-Lind,Tobias,A\n0051,Ruhl,Seraphine,B\n".to_owned();
    let mut issued = "experiment,student_id,unknown\nacid,0042,U-1\n".to_owned();
    let mut readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n".to_owned();
    for n in 0..others {
        let end = format!("20.{:02}", 20 + n * 3);
        roster.push_str(&format!("c{n},Other{n},One,B\n"));
        issued.push_str(&format!("acid,c{n},U-1\n"));
        readings.push_str(&format!("c{n},1,N-1,,0.00,{end}\nc{n},2,N-1,,0.00,{end}\n"));
    }
    with_files(&[
        ("roster.csv", roster),
        ("issued.csv", issued),
        ("readings/acid.csv", readings),
    ])
    .await
}

/// Hands in two trials that deliver these ends.
pub async fn hand_in_as(app: &TestApp, login: &str, first: &str, second: &str) -> (Person, Answer) {
    let mut student = app.person(login).await;
    let key = format!("{login:0>32}");
    let form = acid_form(&key, "0", first, second);
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    (student, answer)
}

#[tokio::test]
async fn every_member_of_a_group_gives_an_answer_of_their_own() {
    let app = group_of_two().await;
    let mut other = app.person("0043").await;
    let alone = other.get("/student/experiments/acid/bench").await;
    assert!(
        alone.body.contains("You share readings with Ada Fennimore"),
        "{}",
        alone.body
    );
    let form = [
        ("key", "0043004300430043"),
        ("seen", "0"),
        ("reported", "0.2055"),
        ("reason", ""),
    ];
    let early = other
        .post_form("/student/experiments/acid/answer", &form)
        .await;
    assert_eq!(early.status, 422);
    assert!(
        early.body.contains("your bench group has handed in")
            && early.body.contains("value=\"0.2055\"")
    );
    let (mut reader, _) = hand_in_as(&app, "0042", "20.40", "20.48").await;
    let shared = other.get("/student/experiments/acid/bench").await;
    assert!(
        shared
            .body
            .contains("Entered by <strong>Ada Fennimore</strong>")
            && shared.body.contains("20.48"),
        "{}",
        shared.body
    );
    let done = other
        .post_form("/student/experiments/acid/answer", &form)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let again = other
        .post_form("/student/experiments/acid/answer", &form)
        .await;
    assert_eq!(
        again.location(),
        done.location(),
        "sent twice, it is one answer"
    );
    assert!(
        other
            .get(done.location())
            .await
            .body
            .contains("readings your bench group shares")
    );
    // a second tab is told and keeps what is typed
    let stale = [
        ("key", "1043004300430043"),
        ("seen", "0"),
        ("reported", "0.2066"),
        ("reason", ""),
    ];
    let stale = other
        .post_form("/student/experiments/acid/answer", &stale)
        .await;
    assert_eq!(stale.status, 409);
    assert!(
        stale.body.contains("value=\"0.2066\"") && stale.body.contains("name=\"seen\" value=\"1\"")
    );
    {
        let view = app.desk.view().await.expect("a course");
        let answer = |login: &str| {
            let hand_in = view
                .term
                .hand_in_of(&crate::slot("acid", login))
                .expect("readings");
            (
                hand_in
                    .reported
                    .as_ref()
                    .expect("an answer")
                    .written()
                    .to_owned(),
                hand_in.titrations.len(),
            )
        };
        assert_eq!(answer("0042"), ("0.2043".to_owned(), 2));
        assert_eq!(answer("0043"), ("0.2055".to_owned(), 2));
        let folder = write_term(&view.term);
        let reported =
            String::from_utf8(folder.get("reported.csv").expect("answers").to_vec()).expect("text");
        assert!(
            reported.contains("acid,0042,0.2043") && reported.contains("acid,0043,0.2055"),
            "{reported}"
        );
        let back = read_term(&folder).expect("reads");
        assert_eq!(write_term(&back), folder);
    }
    // and neither sees the other's answer
    assert!(
        !other
            .get("/student/experiments/acid")
            .await
            .body
            .contains("0.2043")
    );
    assert!(
        !reader
            .get("/student/experiments/acid")
            .await
            .body
            .contains("0.2055")
    );
}

/// The truth is told where the course chooses so and everybody has their results; the class is shown either way.
#[tokio::test]
async fn the_truth_is_told_only_where_the_course_chooses_so() {
    let app = class_of_twelve().await;
    let by = ("i.quell", app.clock.now());
    let mut student = app.person("0042").await;
    const PAGE: &str = "/student/experiments/acid";
    assert!(
        !student
            .get(PAGE)
            .await
            .body
            .contains("Where the class lies")
    );
    release(&app.desk, &crate::key("acid"), by)
        .await
        .expect("released");
    let hidden = student.get(PAGE).await.body;
    assert!(
        !hidden.contains("0.20371") && !hidden.contains(" held "),
        "{hidden}"
    );
    assert!(
        hidden.contains("Of 13 students of the class, half have") && hidden.contains("<title>"),
        "{hidden}"
    );
    assert!(hidden.contains("role=\"img\" aria-label=\"Points, in points."));
    let mut coordinator = app.person("i.quell").await;
    let chosen = coordinator
        .post_form("/course/experiments/acid/truth", &[("show", "yes")])
        .await;
    assert_eq!(chosen.status, 303);
    let told = student.get(PAGE).await.body;
    assert!(
        told.contains("Your bottle U-1 held 0.20371 mol/L. Your readings give 0.39 % above that."),
        "{told}"
    );
    assert!(told.contains("Of 13 results of the class"));
    // one section without its results: nobody is told
    release_to(&app.desk, "acid", "B", false, by).await;
    let waiting = student.get(PAGE).await.body;
    assert!(
        !waiting.contains("0.20371") && waiting.contains("of 22.00 points"),
        "{waiting}"
    );
    assert!(
        !waiting.contains("Where the class lies"),
        "the others have no results yet"
    );
}

async fn release_to(
    desk: &Desk,
    experiment: &str,
    section: &str,
    out: bool,
    (login, at): (&str, jiff::Timestamp),
) {
    let change = Change::Release(SetRelease {
        experiment: concordant::ids::ExperimentKey::new(experiment),
        section: Some(concordant::ids::SectionName::new(section)),
        released_at: out.then_some(at),
    });
    desk.apply(vec![change], login, at).await.expect("changed");
}

#[tokio::test]
async fn a_class_too_small_to_hide_in_is_not_shown() {
    for (others, shown) in [(9, false), (10, true)] {
        let app = class_of(others).await;
        release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
            .await
            .expect("released");
        let page = app
            .person("0042")
            .await
            .get("/student/experiments/acid")
            .await
            .body;
        assert_eq!(
            page.contains("Where the class lies"),
            shown,
            "{others} others"
        );
    }
}

#[tokio::test]
async fn another_look_is_asked_for_counted_and_answered() {
    let app = group_of_two().await;
    let (mut student, _) = hand_in_as(&app, "0042", "20.40", "20.48").await;
    const NOTE: &str = "/student/experiments/acid/note";
    let early = student.post_form(NOTE, &[("note", "please look")]).await;
    assert_eq!(early.status, 403);
    assert!(early.body.contains("not out yet"));
    let by = ("i.quell", app.clock.now());
    release(&app.desk, &crate::key("acid"), by)
        .await
        .expect("released");
    let mut assistant = app.person("b.tarn").await;
    let list = assistant.get("/review").await.body;
    assert!(list.contains("1 submission waits"), "{list}");
    let slot = crate::slot("acid", "0042");
    let standing = async |app: &TestApp| {
        let view = app.desk.view().await.expect("a course");
        view.judged.get(&slot).map(|judged| judged.status)
    };
    assert_eq!(standing(&app).await, Some(Status::Clear));
    let empty = student.post_form(NOTE, &[("note", "  ")]).await;
    assert!(empty.status == 422 && empty.body.contains("expected a sentence or two"));
    let long = "x".repeat(1001);
    let long = student.post_form(NOTE, &[("note", &long)]).await;
    assert!(long.status == 422 && long.body.contains("found 1001 characters"));
    let asked = student
        .post_form(NOTE, &[("note", "=please <b>look</b>")])
        .await;
    assert_eq!(asked.status, 303, "{}", asked.body);
    student
        .post_form(NOTE, &[("note", "=please <b>look</b>")])
        .await;
    assert_eq!(standing(&app).await, Some(Status::ToReview));
    let list = assistant.get("/review").await.body;
    assert!(
        list.contains("asked for another look") && list.contains("2 submissions wait"),
        "{list}"
    );
    assert!(verify(&app.desk).await.expect("verified").1.is_empty());
    let page = assistant.get("/review/acid/0042").await.body;
    assert!(
        page.contains("=please &#60;b&#62;look&#60;/b&#62;"),
        "{page}"
    );
    let nothing = assistant
        .post_form("/review/acid/0042/note", &[("reason", "")])
        .await;
    assert!(
        nothing.status == 422 && nothing.body.contains("expected a sentence or two"),
        "{}",
        nothing.body
    );
    let answered = assistant
        .post_form("/review/acid/0042/note", &[("reason", "It stands.")])
        .await;
    assert_eq!(answered.status, 303, "{}", answered.body);
    assert_eq!(standing(&app).await, Some(Status::Clear));
    assert!(
        student
            .get("/student/experiments/acid")
            .await
            .body
            .contains("It stands.")
    );
    assert!(
        student
            .get("/student")
            .await
            .body
            .contains("A note for you")
    );
    // a decision answers as well
    app.clock.put_forward(jiff::SignedDuration::from_mins(1));
    student.post_form(NOTE, &[("note", "and again")]).await;
    assert_eq!(standing(&app).await, Some(Status::ToReview));
    app.clock.put_forward(jiff::SignedDuration::from_mins(1));
    let accepted = [("action", "accept"), ("seen", "1")];
    assert_eq!(
        assistant
            .post_form("/review/acid/0042/decide", &accepted)
            .await
            .status,
        303
    );
    assert_eq!(standing(&app).await, Some(Status::Settled));
    // nobody is heard without end
    for n in 0..4 {
        let more = format!("and {n}");
        assert_eq!(
            student.post_form(NOTE, &[("note", &more)]).await.status,
            303
        );
    }
    let too_many = student.post_form(NOTE, &[("note", "once more")]).await;
    assert!(too_many.status == 422 && too_many.body.contains("wait for an answer"));
    assert!(too_many.body.contains("once more</textarea>"));
    // what was said goes out and comes back
    let view = app.desk.view().await.expect("a course");
    let folder = write_term(&view.term);
    let notes = String::from_utf8(folder.get("notes.csv").expect("notes").to_vec()).expect("text");
    assert!(
        notes.contains(",student,0042,'=please <b>look</b>")
            && notes.contains(",staff,b.tarn,It stands."),
        "{notes}"
    );
    assert_eq!(read_term(&folder).expect("reads").notes, view.term.notes);
}

#[tokio::test]
async fn a_student_takes_the_whole_record_away() {
    let app = group_of_two().await;
    let (mut student, _) = hand_in_as(&app, "0042", "20.40", "20.48").await;
    let correction = acid_form("correction-correction", "1", "20.42", "20.48");
    let corrected = student
        .post_form("/student/experiments/acid/hand-in", &correction)
        .await;
    assert_eq!(corrected.status, 303, "{}", corrected.body);
    let by = ("b.tarn", app.clock.now());
    let slot = crate::slot("acid", "0042");
    decide(
        &app.desk,
        slot.clone(),
        Ruling::Adjust {
            points: "-1".parse().expect("a number"),
        },
        "for staff until it is out",
        2,
        by,
    )
    .await
    .expect("decided");
    let before = student.get("/student/record.json").await;
    assert_eq!(
        before.header("content-disposition"),
        "attachment; filename=\"my-record.json\""
    );
    let held: serde_json::Value = serde_json::from_str(&before.body).expect("JSON");
    let acid = &held["experiments"][0];
    assert_eq!(held["student"]["student_id"], "0042");
    assert_eq!(
        acid["versions"][0]["handed_in"]["titrations"][0]["readings"]["burette_end_mL"],
        "20.40"
    );
    assert_eq!(acid["versions"][1]["reason"], "misread the second end");
    assert_eq!(acid["versions"].as_array().map(Vec::len), Some(2));
    assert!(acid["marks"].is_null());
    let page = student.get("/student/record").await.body;
    for secret in ["0.20371", "for staff", "off the assigned", "0.39"] {
        assert!(
            !before.body.contains(secret) && !page.contains(secret),
            "{secret}"
        );
    }
    release(&app.desk, &crate::key("acid"), by)
        .await
        .expect("released");
    let after = student.get("/student/record.json").await.body;
    let held: serde_json::Value = serde_json::from_str(&after).expect("JSON");
    let acid = &held["experiments"][0];
    assert_eq!(acid["marks"]["adjustment"], "-1.00");
    assert_eq!(acid["decisions"][0]["reason"], "for staff until it is out");
    assert!(
        acid["marks"]["parts"][0]["why"]
            .as_str()
            .is_some_and(|why| why.contains("off the assigned value"))
    );
    assert!(
        student
            .get("/student/record")
            .await
            .body
            .contains("of 22.00 points")
    );
    // the bench mate's record holds the shared readings, and none of the mate's own answer
    let mate = app
        .person("0043")
        .await
        .get("/student/record.json")
        .await
        .body;
    assert!(mate.contains("20.42") && !mate.contains("0.2043"), "{mate}");
}

//! An assistant's evening over HTTP.

mod together;

use concordant::desk::{bring_in, release};
use concordant::term::Status;

use crate::app::{Answer, Person, TestApp};
use crate::week::{acid_form, app, folder};

const DUE: &str = "due = 2099-09-14T17:00:00\n[[experiment]]\nkey = \"shell\"";
const ADA: &str = "/review/acid/0042";
const TOBIAS: &str = "/review/acid/0043";

/// What three students handed in: 3.3 % high; the other bottle, two days late; and, in section B, 8 % high.
const READINGS: &str = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,submitted_at\n\
    0042,1,N-1,,0.00,21.00,2026-09-14T12:00:00Z\n\
    0042,2,N-1,,0.00,21.04,2026-09-14T12:00:00Z\n\
    0042,3,N-1,,0.00,20.96,2026-09-14T12:00:00Z\n\
    0043,1,N-1,U-1,0.00,20.33,2026-09-16T12:00:00Z\n\
    0043,2,N-1,U-1,0.00,20.35,2026-09-16T12:00:00Z\n\
    0051,1,N-1,,0.00,22.00,2026-09-14T12:00:00Z\n\
    0051,2,N-1,,0.00,22.04,2026-09-14T12:00:00Z\n";

pub async fn evening() -> TestApp {
    evening_with(READINGS).await
}

async fn evening_with(readings: &str) -> TestApp {
    let app = app().await;
    let mut folder = folder();
    let course = String::from_utf8(folder.get("course.toml").expect("is there").to_vec());
    let course = course.expect("is text");
    assert!(course.contains(DUE), "{course}");
    let past = course.replace(DUE, &DUE.replace("2099", "2026"));
    let mut put = |path: &str, text: &str| {
        let mut changed = concordant::files::Folder::default();
        for (known, bytes) in folder.files().filter(|(known, _)| *known != path) {
            changed.insert(known, bytes.to_vec()).expect("room");
        }
        changed
            .insert(path, text.as_bytes().to_vec())
            .expect("room");
        folder = changed;
    };
    put("course.toml", &past);
    put("readings/acid.csv", readings);
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    app
}

async fn status(app: &TestApp, student: &str) -> (Status, String) {
    let view = app.desk.view().await.expect("a course");
    let judged = &view
        .judged
        .get(&crate::slot("acid", student))
        .expect("is there");
    (judged.status, judged.evaluation.marks.total.to_string())
}

async fn decide(person: &mut Person, page: &str, fields: &[(&str, &str)]) -> Answer {
    let mut all = vec![("seen", "1"), ("filter", "")];
    all.extend_from_slice(fields);
    person.post_form(&format!("{page}/decide"), &all).await
}

fn has(answer: &Answer, texts: &[&str]) {
    for text in texts {
        assert!(answer.body.contains(text), "{text} in {}", answer.body);
    }
}

fn lacks(answer: &Answer, texts: &[&str]) {
    for text in texts {
        assert!(!answer.body.contains(text), "{text} in {}", answer.body);
    }
}

#[tokio::test]
async fn the_list_shows_what_waits_in_the_own_sections_most_consequential_first() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let list = assistant.get("/review").await;
    assert_eq!(list.status, 200);
    has(
        &list,
        &[
            "2 submissions wait for you",
            "result off the assigned value",
            "wrote U-1, was given U-2",
            "2 of 2",
        ],
    );
    lacks(&list, &["Ruhl", "acid/0051"]);
    let (ada, tobias) = (list.body.find(ADA), list.body.find(TOBIAS));
    assert!(
        tobias.is_some() && tobias < ada,
        "all points are at stake where another bottle was written"
    );
    let mismatched = assistant.get("/review?flag=unknown-mismatch").await;
    has(
        &mismatched,
        &[
            "Okafor-Lind",
            "1 submission to review",
            "Open the one listed",
        ],
    );
    lacks(&mismatched, &["Fennimore"]);
    has(
        &assistant.get("/review?experiment=shell").await,
        &["Nothing waits for you here."],
    );
    has(
        &assistant.get("/review?status=settled").await,
        &["There is none."],
    );
    let mut coordinator = app.person("i.quell").await;
    let all = coordinator.get("/review").await;
    has(&all, &["3 submissions wait for you", "Ruhl, Seraphine"]);
    let section = coordinator.get("/review?section=B").await;
    has(&section, &["Ruhl, Seraphine"]);
    lacks(&section, &["Okafor-Lind"]);
}

#[tokio::test]
async fn a_submission_shows_the_evidence_and_accepting_leads_to_the_next_until_nothing_waits() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let page = assistant.get(ADA).await;
    assert_eq!(page.status, 200, "{}", page.body);
    has(
        &page,
        &[
            "Fennimore, Ada",
            "3.3 % high",
            "0.2037",
            "21.04",
            "By chance alone: about 1 hand-in in 300, so 0.006 of the 2 of the section",
            "Uncertainty budget",
            "step by step",
            "<svg class=\"bars\" role=\"img\"",
            "<mi>c</mi><mrow><mo stretchy=\"false\">(</mo><mrow><mi mathvariant=\"normal\">Na</mi>",
            "<i>u</i>&nbsp;=&nbsp;0.045 mL",
            "Accuracy",
            "lot N-1 v1, unknown U-1 v1",
        ],
    );
    lacks(&page, &["Excuse the lateness", "Mark against"]);
    let done = decide(&mut assistant, ADA, &[("action", "accept")]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    assert!(done.location().starts_with(TOBIAS), "{}", done.location());
    let next = assistant.get(done.location()).await;
    has(&next, &["Accepted: Fennimore, Ada (0042)", "1 to review"]);
    assert_eq!(status(&app, "0042").await.0, Status::Settled);
    let list = assistant.get("/review").await;
    lacks(&list, &["Fennimore"]);
    has(
        &assistant.get("/review?status=settled").await,
        &["Fennimore"],
    );
    let last = decide(&mut assistant, TOBIAS, &[("action", "accept")]).await;
    assert!(
        last.location().starts_with("/review?"),
        "{}",
        last.location()
    );
    let empty = assistant.get(last.location()).await;
    has(
        &empty,
        &["Accepted: Okafor-Lind, Tobias", "Nothing waits for you."],
    );
}

#[tokio::test]
async fn leaving_a_trial_out_changes_the_mark_and_putting_it_back_restores_it() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let before = status(&app, "0042").await.1;
    let out = [
        ("action", "trial"),
        ("choice", "leave-out:3"),
        ("reason", "the tap was open"),
    ];
    let done = decide(&mut assistant, ADA, &out).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let page = assistant.get(done.location()).await;
    has(
        &page,
        &[
            "Trial 3 left out",
            "the tap was open",
            "put trial 3 back",
            "by Bo Tarn",
        ],
    );
    let after = status(&app, "0042").await.1;
    assert_ne!(after, before);
    has(&page, &[&format!("{after} of 22.00 points")]);
    let back = [
        ("action", "trial"),
        ("choice", "put-back:3"),
        ("reason", "the notebook says it was closed"),
    ];
    assert_eq!(decide(&mut assistant, ADA, &back).await.status, 303);
    assert_eq!(status(&app, "0042").await.1, before);
    for (choice, what) in [
        ("leave-out:9", "found no trial 9"),
        ("", "found no choice, expected one of the list"),
        ("leave-out:x", "found no choice, expected one of the list"),
    ] {
        let fields = [
            ("action", "trial"),
            ("choice", choice),
            ("reason", "because"),
        ];
        let answer = decide(&mut assistant, ADA, &fields).await;
        assert_eq!(answer.status, 422, "{choice}");
        has(&answer, &[what, ">because</textarea>"]);
    }
}

#[tokio::test]
async fn an_adjustment_needs_a_number_and_a_reason_and_keeps_what_was_typed() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let before = status(&app, "0042").await.1;
    for (points, reason, faults) in [
        (
            "-1.255",
            "spilled",
            vec!["found “-1.255”, expected a number such as 1.5"],
        ),
        (
            "-1",
            " ",
            vec!["found no reason, expected a sentence that says why"],
        ),
        (
            "x<y",
            "",
            vec!["found “x&#60;y”, expected a number", "found no reason"],
        ),
        (
            "-40",
            "spilled",
            vec!["found -40 points, expected −22 to 22"],
        ),
    ] {
        let fields = [("action", "adjust"), ("points", points), ("reason", reason)];
        let answer = decide(&mut assistant, ADA, &fields).await;
        assert_eq!(answer.status, 422, "{points} {reason}");
        has(&answer, &faults);
        let typed = points.replace('<', "&#60;");
        has(
            &answer,
            &[
                &format!("value=\"{typed}\""),
                &format!(">{reason}</textarea>"),
                "href=\"#adjust-",
            ],
        );
    }
    assert_eq!(status(&app, "0042").await, (Status::ToReview, before));
    let fields = [
        ("action", "adjust"),
        ("points", "\u{2212}1,5"),
        ("reason", "spilled & <refilled>"),
    ];
    let done = decide(&mut assistant, ADA, &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let page = assistant.get(done.location()).await;
    has(
        &page,
        &[
            "Points adjusted by \u{2212}1.5",
            "spilled &#38; &#60;refilled&#62;",
            "settled",
        ],
    );
    let odd = [("action", "forget")];
    assert_eq!(decide(&mut assistant, ADA, &odd).await.status, 400);
}

#[tokio::test]
async fn what_is_returned_reaches_the_student_and_their_correction_makes_a_decision_stale() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let note = [
        ("action", "return"),
        ("reason", "look at the end of trial 3 again"),
    ];
    assert_eq!(decide(&mut assistant, ADA, &note).await.status, 303);
    assert_eq!(status(&app, "0042").await.0, Status::Returned);
    let mut student = app.person("0042").await;
    has(
        &student.get("/student/experiments/acid").await,
        &["look at the end of trial 3 again"],
    );
    let key = "0123456789abcdef0123456789abcdef";
    let correction = acid_form(key, "1", "20.33", "20.45");
    let path = "/student/experiments/acid/hand-in";
    let answer = student.post_form(path, &correction).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let adjust = [
        ("action", "adjust"),
        ("points", "-1"),
        ("reason", "typed slowly"),
    ];
    let stale = decide(&mut assistant, ADA, &adjust).await;
    assert_eq!(stale.status, 409);
    has(
        &stale,
        &[
            "another version since you opened this page",
            ">typed slowly</textarea>",
            "value=\"-1\"",
            "name=\"seen\" value=\"2\"",
            "<s>Version 1</s>",
            "misread the second end",
        ],
    );
    let seen = [("seen", "2"), ("filter", ""), ("action", "accept")];
    let done = assistant.post_form(&format!("{ADA}/decide"), &seen).await;
    assert_eq!(done.status, 303);
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    has(
        &assistant.get(ADA).await,
        &["cannot go back to the student"],
    );
}

#[tokio::test]
async fn a_bottle_and_a_lateness_are_settled_where_there_is_one() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let page = assistant.get(TOBIAS).await;
    has(
        &page,
        &[
            "Mark against U-1, the bottle written",
            "Excuse the lateness",
        ],
    );
    let late = status(&app, "0043").await.1;
    let written = [
        ("action", "against"),
        ("choice", "written"),
        ("reason", "the label says U-1"),
    ];
    assert_eq!(decide(&mut assistant, TOBIAS, &written).await.status, 303);
    let page = assistant.get(TOBIAS).await;
    has(
        &page,
        &[
            "Mark against U-2, the bottle issued",
            "Marked against the bottle written",
        ],
    );
    let against_written = status(&app, "0043").await.1;
    assert_ne!(late, against_written);
    let excuse = [
        ("action", "late"),
        ("choice", "excused"),
        ("reason", "was ill"),
    ];
    assert_eq!(decide(&mut assistant, TOBIAS, &excuse).await.status, 303);
    has(
        &assistant.get(TOBIAS).await,
        &["Count the lateness again", "Late, and excused."],
    );
    assert_ne!(status(&app, "0043").await.1, against_written);
}

#[tokio::test]
async fn nobody_elses_students_are_confirmed_to_exist() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let accept = [("action", "accept")];
    for page in [
        "/review/acid/0051",
        "/review/acid/0099",
        "/review/none/0042",
    ] {
        assert_eq!(assistant.get(page).await.status, 404, "{page}");
        assert_eq!(
            decide(&mut assistant, page, &accept).await.status,
            404,
            "{page}"
        );
        let points = [("points", "1")];
        let path = format!("{page}/points");
        assert_eq!(assistant.post_form(&path, &points).await.status, 404);
    }
    let said = assistant.get("/review?done=decided&of=acid%2F0051").await;
    lacks(&said, &["Ruhl"]);
    let mut student = app.person("0042").await;
    for page in ["/review", ADA, "/points/acid"] {
        assert_eq!(student.get(page).await.status, 403, "{page}");
    }
    assert_eq!(decide(&mut student, ADA, &accept).await.status, 403);
    assert_eq!(status(&app, "0042").await.0, Status::ToReview);
    assert_eq!(status(&app, "0051").await.0, Status::ToReview);
}

#[tokio::test]
async fn points_by_hand_are_kept_one_by_one_and_all_at_once() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let single = format!("{ADA}/points");
    let answer = assistant.post_form(&single, &[("points", "2.5")]).await;
    assert_eq!(answer.status, 422);
    has(
        &answer,
        &["found 2.5 points, expected 0 to 2", "value=\"2.5\""],
    );
    let answer = assistant.post_form(&single, &[("points", "1.5")]).await;
    assert_eq!(answer.status, 303);
    let grid = "/points/acid";
    let page = assistant.get(grid).await;
    has(
        &page,
        &[
            "name=\"points-0042\" type=\"text\"",
            "name=\"was-0042\" value=\"1.5\"",
        ],
    );
    lacks(&page, &["Ruhl", "points-0051"]);
    let partly = [
        ("section", ""),
        ("was-0042", "1.5"),
        ("points-0042", "lots"),
        ("was-0043", ""),
        ("points-0043", "2"),
        ("was-0051", ""),
        ("points-0051", "1"),
    ];
    let answer = assistant.post_form(grid, &partly).await;
    assert_eq!(answer.status, 422);
    has(
        &answer,
        &[
            "found “lots”, expected a number",
            "value=\"lots\"",
            "1 other student",
        ],
    );
    let held = |student: &'static str| {
        let desk = std::sync::Arc::clone(&app.desk);
        async move {
            let view = desk.view().await.expect("a course");
            let points = view
                .term
                .by_hand
                .get(&crate::slot("acid", student))
                .copied();
            points.map(|points| points.to_string())
        }
    };
    assert_eq!(held("0042").await.as_deref(), Some("1.5"));
    assert_eq!(held("0043").await.as_deref(), Some("2"));
    assert_eq!(held("0051").await, None, "another section");
    // somebody else was quicker, which does not pass silently; a field that was emptied takes the points back
    let slower = [
        ("was-0042", ""),
        ("points-0042", "0.5"),
        ("was-0043", "2"),
        ("points-0043", ""),
    ];
    let answer = assistant.post_form(grid, &slower).await;
    assert_eq!(answer.status, 422);
    has(
        &answer,
        &["somebody gave 1.5 points since", "value=\"0.5\""],
    );
    let again = [("was-0042", "1.5"), ("points-0042", "0.5")];
    let done = assistant.post_form(grid, &again).await;
    assert_eq!(done.status, 303);
    has(
        &assistant.get(done.location()).await,
        &["Points of 1 student kept."],
    );
    assert_eq!(held("0042").await.as_deref(), Some("0.5"));
    assert_eq!(held("0043").await, None, "taken back");
    let emptied = assistant.post_form(&single, &[("points", "")]).await;
    assert_eq!(emptied.status, 303);
    assert_eq!(held("0042").await, None, "taken back on its own page");
    // the marking of this one has no such part, and this one there is not
    assert_eq!(assistant.get("/points/none").await.status, 404);
}

//! A student's week over HTTP.

use std::collections::BTreeSet;

use concordant::desk::{decide, release};
use concordant::term::Ruling;

use crate::app::{Answer, Person, TestApp};
use crate::week::{SECRETS, acid_form, app};

const KEY: &str = "0123456789abcdef0123456789abcdef";
const BENCH: &str = "/student/experiments/acid/bench";
const HAND_IN: &str = "/student/experiments/acid/hand-in";

async fn handed_in(app: &TestApp, login: &str) -> (Person, String) {
    let mut student = app.person(login).await;
    let answer = student
        .post_form(HAND_IN, &acid_form(KEY, "0", "20.40", "20.48"))
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let receipt = answer.location().to_owned();
    (student, receipt)
}

#[tokio::test]
async fn from_what_is_due_to_the_receipt() {
    let app = app().await;
    let mut student = app.person("0042").await;
    let home = student.get("/student").await;
    assert!(
        home.body.contains("Acid in a plain solution") && home.body.contains("to do"),
        "{}",
        home.body
    );
    assert!(home.body.contains("Your bottle: <strong>U-1</strong>"));
    assert!(home.body.contains("not open yet"));
    let page = student.get("/student/experiments/acid").await;
    assert!(page.body.contains("Wear eye protection.") && page.body.contains("to 2 decimals"));
    let form = student.get(BENCH).await;
    assert_eq!(form.status, 200);
    assert!(form.body.contains("inputmode=\"decimal\""));
    let look = student
        .post_form(BENCH, &acid_form(KEY, "0", "20.40", "20.48"))
        .await;
    assert_eq!(look.status, 200, "{}", look.body);
    assert!(
        look.body.contains("20.38") && look.body.contains("range 0.02 mL"),
        "{}",
        look.body
    );
    let done = student
        .post_form(HAND_IN, &acid_form(KEY, "0", "20.40", "20.48"))
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let number = done.location().rsplit('/').next().unwrap_or_default();
    let receipt = student.get(done.location()).await;
    assert!(
        receipt.body.contains(&format!("Receipt no. {number}")) && receipt.body.contains("20.48"),
        "{}",
        receipt.body
    );
    assert!(student.get("/student").await.body.contains("handed in"));
}

#[tokio::test]
async fn what_cannot_be_a_reading_comes_back_with_everything_typed() {
    let app = app().await;
    let mut student = app.person("0042").await;
    let mut fields = acid_form(KEY, "0", "20,4O", "0.05");
    fields.retain(|(name, _)| *name != "reported" && *name != "lot");
    fields.extend([("reported", "about 0.2"), ("lot", ""), ("unknown[]", "")]);
    let answer = student.post_form(BENCH, &fields).await;
    assert_eq!(answer.status, 422);
    for text in [
        "found “20,4O”, expected digits with at most one decimal point or comma",
        "found 0.05, expected at least the start 0.10",
        "found nothing, expected the lot on the label of the reagent bottle",
        "found “about 0.2”, expected digits",
        "4 fields need another look",
        "value=\"20,4O\"",
        "value=\"about 0.2\"",
        "value=\"0.10\"",
    ] {
        assert!(answer.body.contains(text), "{text} in {}", answer.body);
    }
}

#[tokio::test]
async fn what_looks_odd_is_asked_and_recorded_if_the_student_stands_by_it() {
    let app = app().await;
    let mut student = app.person("0042").await;
    let odd = acid_form(KEY, "0", "20.4", "20.48");
    let look = student.post_form(BENCH, &odd).await;
    assert!(
        look.body.contains("20.4 is not written with 2 decimals"),
        "{}",
        look.body
    );
    let without = student.post_form(HAND_IN, &odd).await;
    assert_eq!(without.status, 422, "unanswered questions");
    let mut stood = odd.clone();
    stood.push(("stand[]", "1:burette_end_mL"));
    assert_eq!(student.post_form(HAND_IN, &stood).await.status, 303);
    let view = app.desk.view().await.expect("a course");
    let slot = crate::slot("acid", "0042");
    assert_eq!(
        view.term.submissions.get(&slot).expect("is there")[0]
            .hand_in
            .confirmed,
        ["1:burette_end_mL"]
    );
    assert!(
        view.judged
            .get(&slot)
            .expect("is there")
            .evaluation
            .flags
            .iter()
            .any(|f| f.evidence.contains("confirmed against a question"))
    );
}

#[tokio::test]
async fn the_same_form_twice_is_one_submission_and_a_second_tab_is_told() {
    let app = app().await;
    let (mut student, receipt) = handed_in(&app, "0042").await;
    let again = student
        .post_form(HAND_IN, &acid_form(KEY, "0", "20.40", "20.48"))
        .await;
    assert_eq!((again.status, again.location()), (303, receipt.as_str()));
    let other = student
        .post_form(HAND_IN, &acid_form(KEY, "0", "20.40", "20.50"))
        .await;
    assert_eq!(other.status, 422, "another body under the same key");
    assert!(
        other.body.contains("value=\"20.50\"") && other.body.contains("already been received"),
        "{}",
        other.body
    );
    let tab = student
        .post_form(
            HAND_IN,
            &acid_form("fedcba9876543210fedcba9876543210", "0", "20.40", "20.52"),
        )
        .await;
    assert_eq!(tab.status, 409);
    assert!(
        tab.body.contains("value=\"20.52\"") && tab.body.contains("another version"),
        "{}",
        tab.body
    );
    assert_eq!(
        app.desk
            .view()
            .await
            .expect("a course")
            .term
            .submissions
            .get(&crate::slot("acid", "0042"))
            .expect("is there")
            .len(),
        1
    );
}

#[tokio::test]
async fn a_correction_keeps_the_old_version_struck_through() {
    let app = app().await;
    let (mut student, _) = handed_in(&app, "0042").await;
    let form = student.get(BENCH).await;
    assert!(
        form.body.contains("value=\"20.48\"") && form.body.contains("Reason for the correction"),
        "{}",
        form.body
    );
    let mut silent = acid_form("abcdefabcdefabcdefabcdefabcdefab", "1", "20.40", "20.50");
    silent.retain(|(name, _)| *name != "reason");
    assert_eq!(student.post_form(BENCH, &silent).await.status, 422);
    let done = student
        .post_form(
            HAND_IN,
            &acid_form("abcdefabcdefabcdefabcdefabcdefab", "1", "20.40", "20.50"),
        )
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let page = student.get("/student/experiments/acid").await.body;
    assert!(
        page.contains("<s>Version 1</s>") && page.contains("misread the second end"),
        "{page}"
    );
    assert!(page.contains("20.48") && page.contains("20.50"));
}

#[tokio::test]
async fn a_returned_submission_shows_the_note_and_feedback_comes_with_release() {
    let app = app().await;
    let (mut student, _) = handed_in(&app, "0042").await;
    let slot = crate::slot("acid", "0042");
    let by = ("b.tarn", app.clock.now());
    decide(
        &app.desk,
        slot,
        Ruling::Return,
        "is the first end really 20.40?",
        1,
        by,
    )
    .await
    .expect("decided");
    let page = student.get("/student/experiments/acid").await.body;
    assert!(page.contains("is the first end really 20.40?"), "{page}");
    let bench = student.get(BENCH).await.body;
    assert!(bench.contains("is the first end really 20.40?"), "{bench}");
    assert!(
        student
            .get("/student")
            .await
            .body
            .contains("returned to you")
    );
    release(&app.desk, &crate::key("acid"), by)
        .await
        .expect("released");
    let page = student.get("/student/experiments/acid").await.body;
    for text in [
        "of 22.00 points",
        "off the assigned value",
        "mean result",
        "molarity of NaOH, lot N-1",
        "<msub><mi>V</mi><mn>1</mn></msub>",
        "alttext=\"(20.40 \u{2212} 0.00)\u{a0}mL\"",
        "<h3>What all trials share</h3>",
        "<h3>Trial 2</h3>",
        "Uncertainty budget",
        "<svg class=\"bars\" role=\"img\"",
        "all trials</td>",
        "Your answer 0.2043",
    ] {
        assert!(page.contains(text), "{text} in {page}");
    }
    assert_eq!(
        student.get(BENCH).await.status,
        403,
        "nothing more once results are out"
    );
}

#[tokio::test]
async fn nobody_sees_anothers_work_and_nothing_opens_early() {
    let app = app().await;
    let (_, receipt) = handed_in(&app, "0042").await;
    let mut other = app.person("0043").await;
    assert_eq!(other.get(&receipt).await.status, 404);
    assert_eq!(other.get("/student/receipts/x").await.status, 404);
    assert_eq!(other.get("/student/experiments/nothing").await.status, 404);
    let early = other.get("/student/experiments/later/bench").await;
    assert_eq!(early.status, 403);
    assert!(early.body.contains("opens"));
    let mut assistant = app.person("b.tarn").await;
    assert_eq!(assistant.get("/student").await.status, 403);
    assert_eq!(
        app.stranger().get(&receipt).await.location(),
        format!("/sign-in?next={}", receipt.replace('/', "%2F"))
    );
}

/// Everything a student can reach before release, by links and by forms, is searched for true values and for what
/// follows from them: the relative error, points, another's bottle.
#[tokio::test]
async fn no_page_of_a_student_gives_a_true_value_away() {
    let app = app().await;
    let (mut student, receipt) = handed_in(&app, "0042").await;
    let mut seen = BTreeSet::new();
    let mut open = vec![
        "/student".to_owned(),
        receipt,
        BENCH.to_owned(),
        "/password".to_owned(),
        "/nowhere".to_owned(),
    ];
    let mut answers: Vec<Answer> = Vec::new();
    while let Some(path) = open.pop() {
        if !seen.insert(path.clone()) {
            continue;
        }
        let answer = student.get(&path).await;
        open.extend(links(&answer.body).filter(|link| !link.starts_with("/sign-out")));
        answers.push(answer);
    }
    assert!(seen.len() >= 6, "{seen:?}");
    answers.push(
        student
            .post_form(
                BENCH,
                &acid_form("00000000000000000000000000000000", "1", "20.4O", "20.50"),
            )
            .await,
    );
    answers.push(
        student
            .post_form(
                BENCH,
                &acid_form("00000000000000000000000000000000", "1", "20.40", "20.50"),
            )
            .await,
    );
    answers.push(
        student
            .post_form(
                HAND_IN,
                &acid_form("00000000000000000000000000000000", "0", "20.40", "20.50"),
            )
            .await,
    );
    let view = app.desk.view().await.expect("a course");
    let evaluation = &view
        .judged
        .get(&crate::slot("acid", "0042"))
        .expect("is there")
        .evaluation;
    let error = evaluation
        .relative_error_percent
        .expect("an error")
        .to_string();
    let accuracy = evaluation.marks.parts[0].sentence.to_string();
    assert!(error.len() > 6 && accuracy.contains("off the assigned value"));
    let error = error[..6].to_owned();
    for answer in &answers {
        let headers = format!("{:?}", answer.headers);
        for secret in
            SECRETS
                .into_iter()
                .chain([error.as_str(), accuracy.as_str(), "U-2", "assigned value"])
        {
            assert!(!answer.body.contains(secret), "{secret} in {}", answer.body);
            assert!(!headers.contains(secret), "{secret} in {headers}");
        }
    }
    drop(view);
    // and the search can find something: it is there once the results are out
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    assert!(
        student
            .get("/student/experiments/acid")
            .await
            .body
            .contains("assigned value")
    );
}

fn links(body: &str) -> impl Iterator<Item = String> + '_ {
    body.split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .filter(|link| link.starts_with('/'))
        .map(str::to_owned)
}

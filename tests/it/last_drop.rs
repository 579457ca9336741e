//! A reading noted before the last drop: kept beside the end reading, to the record, the folder and the uncertainty.

use concordant::desk::bring_in;
use concordant::files::{Folder, read_term, write_term};

use crate::app::TestApp;
use crate::week;

const KEY: &str = "0123456789abcdef0123456789abcdef";

fn fields(before: &'static str) -> Vec<(&'static str, &'static str)> {
    let mut fields = week::acid_form(KEY, "0", "20.40", "20.48");
    fields.push(("1.before_last_drop_mL", before));
    fields
}

async fn hand_in(app: &TestApp, before: &'static str) -> (u16, String) {
    let mut student = app.person("0042").await;
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &fields(before))
        .await;
    (answer.status, answer.body)
}

#[tokio::test]
async fn it_stands_beside_the_end_and_goes_to_the_folder_and_back() {
    let app = week::app().await;
    let (status, body) = hand_in(&app, "20.38").await;
    assert_eq!(status, 303, "{body}");
    let mut student = app.person("0042").await;
    let page = student.get("/student/experiments/acid").await.body;
    assert!(
        page.contains("Before the last drop") && page.contains("20.38"),
        "{page}"
    );
    let form = student.get("/student/experiments/acid/bench").await.body;
    assert!(form.contains("value=\"20.38\""), "{form}");
    let view = app.desk.view().await.expect("a course");
    let folder = write_term(&view.term);
    let csv = folder
        .get("readings/acid.csv")
        .expect("is written")
        .to_vec();
    let csv = String::from_utf8(csv).expect("is text");
    assert!(
        csv.starts_with(
            "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,before_last_drop_mL"
        ),
        "{csv}"
    );
    let slot = crate::slot("acid", "0042");
    let again = read_term(&folder).expect("is read");
    let rows = |term: &concordant::term::Term| {
        let rows = term.submissions.get(&slot).expect("is there")[0]
            .hand_in
            .titrations
            .iter();
        rows.map(|row| row.readings.clone()).collect::<Vec<_>>()
    };
    assert_eq!(rows(&again), rows(&view.term));
}

#[tokio::test]
async fn nobody_has_to_note_one_and_one_that_cannot_be_is_named() {
    let app = week::app().await;
    for wrong in ["20.50", "-1", "20,x"] {
        let (status, body) = hand_in(&app, wrong).await;
        assert_eq!(status, 422, "{body}");
        assert!(
            body.contains("id=\"1.before_last_drop_mL-error\""),
            "{body}"
        );
    }
    let (status, body) = hand_in(&app, "").await;
    assert_eq!(status, 303, "{body}");
    let mut student = app.person("0042").await;
    let page = student.get("/student/experiments/acid").await.body;
    assert!(!page.contains("Before the last drop"), "{page}");
}

/// Standard uncertainty of the result and points of the same two trials, with these readings before the last drop.
async fn judged(before: [&str; 2]) -> (f64, String) {
    let mut folder = Folder::default();
    let head = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,before_last_drop_mL";
    let rows = format!(
        "{head}\n0042,1,N-1,,0.00,20.40,{}\n0042,2,N-1,,0.00,20.40,{}\n",
        before[0], before[1]
    );
    for (path, bytes) in week::folder().files() {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    folder
        .insert("readings/acid.csv", rows.into_bytes())
        .expect("room");
    let app = week::app().await;
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("is brought in");
    let view = app.desk.view().await.expect("a course");
    let slot = crate::slot("acid", "0042");
    let judged = &view.judged.get(&slot).expect("is there").evaluation;
    let outcome = judged.outcome.as_ref().expect("a result");
    let points = judged
        .marks
        .parts
        .iter()
        .map(|mark| mark.points.to_string());
    let points = points.collect::<Vec<_>>().join(" ");
    let standard = outcome.standard_uncertainty.to_string();
    (standard.parse().expect("a number"), points)
}

/// By hand: two readings triangular 0.02 (u = 0.02/sqrt 6 each), the endpoint half of a drop of 0.05 rectangular
/// (u = 0.025/sqrt 3), or half of the 0.02 let in last (u = 0.01/sqrt 3); the mean of two.
#[tokio::test]
async fn it_narrows_the_endpoint_and_moves_no_point() {
    let (without, points) = judged(["", ""]).await;
    let (with, same) = judged(["20.38", "20.38"]).await;
    assert_eq!(points, same);
    let titre = |endpoint: f64| {
        let reading = 0.02 / 6_f64.sqrt();
        (2.0 * reading * reading + endpoint * endpoint / 3.0) / 2.0
    };
    // the result is c V / 10 mL with c = 0.1002 mol/L
    let expected = (titre(0.025) - titre(0.01)) * (0.1002_f64 / 10.0).powi(2);
    let gained = without.powi(2) - with.powi(2);
    assert!(
        (gained - expected).abs() < 1e-3 * expected,
        "{gained} for {expected}"
    );
    // more than a drop let in last is no reason to know less than one who noted nothing
    let (coarse, _) = judged(["20.00", "20.00"]).await;
    assert_eq!(coarse, without);
}

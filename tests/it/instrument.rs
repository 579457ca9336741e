//! The number on the burette: from the bench form and from a file, to the record, the folder and the audit.

use concordant::desk::bring_in;
use concordant::files::{Folder, audit_csv, read_term, write_term};

use crate::app::TestApp;
use crate::week;

const KEY: &str = "0123456789abcdef0123456789abcdef";

async fn form(app: &TestApp, number: &str) -> (u16, String) {
    let mut student = app.person("0042").await;
    let mut fields = week::acid_form(KEY, "0", "20.40", "20.48");
    fields.push(("instrument", number));
    let look = student
        .post_form("/student/experiments/acid/bench", &fields)
        .await;
    if look.status == 200 {
        let hidden = format!("name=\"instrument\" value=\"{number}\"");
        assert!(look.body.contains(&hidden), "{}", look.body);
        let answer = student
            .post_form("/student/experiments/acid/hand-in", &fields)
            .await;
        return (answer.status, answer.body);
    }
    (look.status, look.body)
}

#[tokio::test]
async fn it_is_kept_with_the_readings_and_goes_to_the_folder_and_back() {
    let app = week::app().await;
    let (status, body) = form(&app, "b 12").await;
    assert_eq!(status, 303, "{body}");
    let view = app.desk.view().await.expect("a course");
    let slot = crate::slot("acid", "0042");
    let rows = &view.term.submissions.get(&slot).expect("is there")[0]
        .hand_in
        .titrations;
    assert!(
        rows.iter()
            .all(|row| row.instrument.as_deref() == Some("b 12"))
    );
    let folder = write_term(&view.term);
    let csv = String::from_utf8(
        folder
            .get("readings/acid.csv")
            .expect("is written")
            .to_vec(),
    );
    let csv = csv.expect("is text");
    let header = csv.lines().next().expect("a header");
    assert!(header.ends_with(",instrument"), "{header}");
    assert!(
        csv.lines().skip(1).all(|line| line.ends_with(",b 12")),
        "{csv}"
    );
    let again = read_term(&folder).expect("is read");
    let rows = &again.submissions.get(&slot).expect("is there")[0]
        .hand_in
        .titrations;
    assert!(
        rows.iter()
            .all(|row| row.instrument.as_deref() == Some("b 12"))
    );
    // the form offers it again
    let mut student = app.person("0042").await;
    let page = student.get("/student/experiments/acid/bench").await.body;
    assert!(
        page.contains("Burette number (optional)") && page.contains("value=\"b 12\""),
        "{page}"
    );
}

#[tokio::test]
async fn what_is_no_number_is_named_beside_its_field() {
    let app = week::app().await;
    let long = "7".repeat(41);
    for wrong in [long.as_str(), "B1\u{7}"] {
        let (status, body) = form(&app, wrong).await;
        assert_eq!(status, 422, "{body}");
        assert!(body.contains("id=\"instrument-error\""), "{body}");
        assert!(body.contains("1 to 40 characters on one line"), "{body}");
    }
}

#[tokio::test]
async fn burettes_are_audited() {
    let app = week::app().await;
    let mut folder = Folder::default();
    let mut roster = String::from("student_id,family_name,given_name,section\n");
    let mut issued = String::from("experiment,student_id,unknown\n");
    let mut readings =
        String::from("student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,instrument\n");
    for n in 0..12_u32 {
        let section = if n < 6 { "A" } else { "B" };
        roster.push_str(&format!("n{n},F,G,{section}\n"));
        issued.push_str(&format!("acid,n{n},U-1\n"));
        // 0.20371 mol/L in 10 mL wants 20.33 mL of 0.1002 mol/L; every other student has the burette b7, 0.40 mL off
        let end = 20.33 + f64::from(n % 3) * 0.02 + if n % 2 == 0 { 0.40 } else { 0.0 };
        let burette = if n % 2 == 0 { "b7" } else { "B8" };
        for trial in 1..=2 {
            readings.push_str(&format!("n{n},{trial},N-1,,0.00,{end:.2},{burette}\n"));
        }
    }
    for (path, bytes) in week::folder().files() {
        let text = match path {
            "roster.csv" => roster.as_bytes(),
            "issued.csv" => issued.as_bytes(),
            _ => bytes,
        };
        folder.insert(path, text.to_vec()).expect("room");
    }
    folder
        .insert("readings/acid.csv", readings.into_bytes())
        .expect("room");
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("is brought in");
    let view = app.desk.view().await.expect("a course");
    let csv = audit_csv(&view.term, &view.in_course_order());
    let line = |kind: &str, key: &str| {
        let start = format!("acid,{kind},{key},");
        let line = csv.lines().find(|line| line.starts_with(&start));
        line.unwrap_or_else(|| panic!("{start} in {csv}"))
    };
    assert!(line("instrument", "B7").starts_with("acid,instrument,B7,6,,"));
    assert!(line("instrument", "B7").ends_with(",looks off"), "{csv}");
    assert!(line("instrument", "B8").ends_with(",agrees"), "{csv}");
    assert!(csv.contains("\nacid,assistant,"), "{csv}");
}

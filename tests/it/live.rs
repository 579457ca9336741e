//! A section at its benches: drafts kept by the server, the assistant's board, hands, and handing in for somebody who left.

use std::time::{Duration, Instant};

use concordant::desk::bring_in;
use concordant::files::Folder;
use jiff::SignedDuration;
use reqwest::{Method, Response};
use serde_json::Value;

use crate::app::{PASSWORD, Person, TestApp};
use crate::week::{self, SECRETS};

const BENCH: &str = "/student/experiments/acid/bench";
const DRAFT: &str = "/student/experiments/acid/bench/draft";
const BOARD: &str = "/board/acid?section=A";

/// What a bench form sends while it is typed: whatever `readings` say, in a form of that key.
fn typed<'a>(key: &'a str, readings: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![("key", key), ("seen", "0"), ("trials", "2"), ("lot", "N-1")];
    fields.extend_from_slice(readings);
    fields
}

async fn keep(person: &mut Person, fields: &[(&str, &str)]) -> Value {
    let answer = person.post_form(DRAFT, fields).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    serde_json::from_str(&answer.body).expect("an object")
}

/// The same person at another device.
async fn elsewhere(app: &TestApp, login: &str) -> Person {
    let mut person = app.stranger();
    let fields = [("login", login), ("password", PASSWORD)];
    let answer = person.post_open("/sign-in", &fields).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    person
}

fn value_of(page: &str, name: &str) -> Option<String> {
    let input = page.split(&format!("name=\"{name}\"")).nth(1)?;
    let value = input.split("value=\"").nth(1)?;
    Some(value.split('"').next()?.to_owned())
}

const ONE: [(&str, &str); 3] = [
    ("1.burette_start_mL", "0.00"),
    ("1.burette_end_mL", "20.40"),
    ("2.burette_start_mL", "20.40"),
];

#[tokio::test]
async fn a_trial_kept_by_the_server_goes_on_at_another_device_and_is_no_hand_in() {
    let app = week::app().await;
    let mut phone = app.person("0042").await;
    let said = keep(&mut phone, &typed("form-of-the-phone-1", &ONE)).await;
    assert_eq!(said["kept"], "Trial 1 is with the server.");
    assert_eq!(said["hand"], false);

    let mut tablet = elsewhere(&app, "0042").await;
    let page = tablet.get(BENCH).await.body;
    assert!(page.contains("it has not been handed in"), "{page}");
    for (name, value) in ONE {
        assert_eq!(value_of(&page, name).as_deref(), Some(value), "{name}");
    }
    // what is kept is nobody's else, and nothing is marked by it
    let mut other = app.person("0043").await;
    let page = other.get(BENCH).await.body;
    assert!(!page.contains("20.40"), "{page}");
    let view = app.desk.view().await.expect("a course");
    assert!(view.term.submissions.is_empty() && view.judged.is_empty());
    drop(view);
    let page = tablet.get("/student").await.body;
    assert!(!page.contains("Handed in"), "{page}");

    let record = tablet.get("/student/record.json").await.body;
    let record: Value = serde_json::from_str(&record).expect("an object");
    let kept = &record["kept_at_the_bench"][0];
    assert_eq!(kept["experiment"], "acid");
    assert!(kept["typed"].to_string().contains("20.40"), "{kept}");

    // whoever wants to begin again gets an empty form
    let page = tablet.get(&format!("{BENCH}?anew=yes")).await.body;
    assert_eq!(value_of(&page, "1.burette_end_mL").as_deref(), Some(""));
}

#[tokio::test]
async fn a_form_left_behind_does_not_write_over_the_one_that_goes_on() {
    let app = week::app().await;
    let mut phone = app.person("0042").await;
    keep(&mut phone, &typed("form-of-the-phone-2", &ONE)).await;
    let mut tablet = elsewhere(&app, "0042").await;
    let page = tablet.get(BENCH).await.body;
    let from = value_of(&page, "kept").expect("from which draft it goes on");
    let mut more = ONE.to_vec();
    more.extend([("2.burette_end_mL", "40.82"), ("kept", &from)]);
    let said = keep(&mut tablet, &typed("form-of-the-tablet", &more)).await;
    assert_eq!(said["kept"], "Trials 1 and 2 are with the server.");
    // again from the same form, which has not heard the answer
    let said = keep(&mut tablet, &typed("form-of-the-tablet", &more)).await;
    assert_eq!(said["elsewhere"], false);

    let said = keep(&mut phone, &typed("form-of-the-phone-2", &ONE)).await;
    assert_eq!(said["elsewhere"], true);
    assert!(
        said["kept"]
            .as_str()
            .expect("text")
            .starts_with("Not with the server"),
        "{said}"
    );
    let page = tablet.get(BENCH).await.body;
    assert_eq!(
        value_of(&page, "2.burette_end_mL").as_deref(),
        Some("40.82")
    );
}

#[tokio::test]
async fn without_scripts_a_form_is_kept_by_its_buttons() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    let mut fields = typed("form-without-scripts", &ONE);
    fields.push(("action", "hand-up"));
    let page = student.post_form(BENCH, &fields).await.body;
    assert!(page.contains("Your hand is up: take it down"), "{page}");
    assert_eq!(
        value_of(&page, "1.burette_end_mL").as_deref(),
        Some("20.40")
    );
    let mut assistant = app.person("b.tarn").await;
    let board = assistant.get(BOARD).await.body;
    assert!(board.contains("1 hand up"), "{board}");
    let mut fields = typed("form-without-scripts", &ONE);
    fields.push(("action", "hand-down"));
    let page = student.post_form(BENCH, &fields).await.body;
    assert!(page.contains("Ask for help"), "{page}");
    assert!(!assistant.get(BOARD).await.body.contains("hand up"));
}

#[tokio::test]
async fn the_board_says_how_far_everybody_is_and_nothing_of_a_truth() {
    let app = week::app().await;
    let mut assistant = app.person("b.tarn").await;
    let board = assistant.get(BOARD).await.body;
    assert!(board.contains("Fennimore") && board.contains("Okafor-Lind"));
    assert!(!board.contains("Ruhl"), "another section's: {board}");
    assert!(board.contains("<strong>2</strong> not begun"), "{board}");

    let mut ada = app.person("0042").await;
    let mut tobias = app.person("0043").await;
    let apart = [
        ("instrument", "B-7"),
        ("1.burette_start_mL", "0.00"),
        ("1.burette_end_mL", "20.40"),
        ("2.burette_start_mL", "0.00"),
        ("2.burette_end_mL", "22.00"),
        ("action", "hand-up"),
    ];
    let said = keep(&mut ada, &typed("form-of-ada-000001", &apart)).await;
    assert_eq!(said["hand"], true);
    keep(&mut tobias, &typed("form-of-tobias-0001", &ONE)).await;
    let board = assistant.get(BOARD).await.body;
    for words in [
        "<strong>1</strong> trials apart",
        "<strong>1</strong> at work",
        "1 trial done, at trial 2",
        "2 trials done, far apart",
        "B-7",
        "1 hand up",
        "just now",
    ] {
        assert!(board.contains(words), "no “{words}” in {board}");
    }
    for secret in SECRETS {
        assert!(!board.contains(secret), "{secret}");
    }
    // somebody comes; the hand goes down, the trials stay
    app.clock.put_forward(SignedDuration::from_mins(4));
    assert!(assistant.get(BOARD).await.body.contains("for 4 min"));
    let answer = assistant.post_form("/board/acid/of/0042/hand", &[]).await;
    assert_eq!(answer.location(), BOARD);
    let board = assistant.get(BOARD).await.body;
    assert!(!board.contains("hand up") && board.contains("far apart"));

    let agree = [
        ("1.burette_start_mL", "0.00"),
        ("1.burette_end_mL", "20.40"),
        ("2.burette_start_mL", "0.10"),
        ("2.burette_end_mL", "20.46"),
    ];
    keep(&mut ada, &typed("form-of-ada-000001", &agree)).await;
    let board = assistant.get(BOARD).await.body;
    assert!(board.contains("<strong>1</strong> trials agree"), "{board}");
    assert!(board.contains("1 and 2 agree"), "{board}");
    let form = week::acid_form("form-of-ada-000001", "0", "20.40", "20.46");
    let handed_in = ada
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(handed_in.status, 303, "{}", handed_in.body);
    let board = assistant.get(BOARD).await.body;
    assert!(board.contains("<strong>1</strong> handed in"), "{board}");
    // the draft has done its work
    let page = ada.get(BENCH).await.body;
    assert!(!page.contains("data-kept-before"), "{page}");
}

/// The next event of a stream, and how long it took.
async fn event(stream: &mut Response, until: &str) -> Duration {
    let clock = Instant::now();
    let mut seen = String::new();
    while !seen.contains(until) {
        let chunk = tokio::time::timeout(Duration::from_secs(10), stream.chunk()).await;
        let chunk = chunk.expect("within ten seconds").expect("a stream");
        let chunk = chunk.unwrap_or_else(|| panic!("ended without “{until}”: {seen}"));
        seen.push_str(&String::from_utf8_lossy(&chunk));
    }
    clock.elapsed()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_board_is_drawn_anew_when_something_is_new() {
    let app = week::app().await;
    let assistant = app.person("b.tarn").await;
    let request = assistant.request(Method::GET, "/board/acid/live?section=A");
    let mut stream = request.send().await.expect("an answer");
    let kind = stream.headers().get("content-type").expect("a type");
    assert_eq!(kind, "text/event-stream");
    event(&mut stream, "not begun").await;
    let mut student = app.person("0043").await;
    // a carriage return would end the line of an event; a name is what anybody types
    let mut fields = typed("form-of-tobias-0002", &ONE);
    fields.push(("instrument", "7\r\ndata: x"));
    keep(&mut student, &fields).await;
    let took = event(&mut stream, "1 trial done").await;
    assert!(took < Duration::from_secs(2), "{took:?}");
    // what is handed in shows as well
    let form = week::acid_form("form-of-tobias-0002", "0", "20.40", "20.46");
    let path = "/student/experiments/acid/hand-in";
    assert_eq!(student.post_form(path, &form).await.status, 303);
    event(&mut stream, "handed in").await;
}

#[tokio::test]
async fn what_was_left_at_the_bench_is_handed_in_by_the_assistant_and_both_see_it() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    let mut assistant = app.person("b.tarn").await;
    keep(&mut student, &typed("form-that-was-left", &ONE)).await;
    let at = app.clock.now();
    app.clock.put_forward(SignedDuration::from_mins(50));
    let list = assistant.get("/board/acid/drafts?section=A").await.body;
    assert!(list.contains("1 whole trial, one begun"), "{list}");
    assert!(list.contains("Nothing from them yet") && list.contains("Okafor-Lind"));
    let page = assistant.get("/board/acid/of/0042").await.body;
    assert!(
        page.contains("20.40") && page.contains("Trial 2 is not whole"),
        "{page}"
    );
    let kept = value_of(&page, "at").expect("which draft it is");

    let path = "/board/acid/of/0042/hand-in";
    let refused = assistant
        .post_form(path, &[("at", &kept), ("note", "")])
        .await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    let stale = [("at", "1"), ("note", "left for the train")];
    let refused = assistant.post_form(path, &stale).await;
    assert!(
        refused.body.contains("has gone on since"),
        "{}",
        refused.body
    );
    let note = [("at", kept.as_str()), ("note", "left for the train")];
    let answer = assistant.post_form(path, &note).await;
    assert_eq!(answer.location(), "/review/acid/0042", "{}", answer.body);

    let view = app.desk.view().await.expect("a course");
    let held = &view
        .term
        .submissions
        .get(&crate::slot("acid", "0042"))
        .expect("is there");
    assert_eq!(held.len(), 1);
    assert_eq!(
        held[0].hand_in.titrations.len(),
        1,
        "the half trial is left out"
    );
    let late = held[0].submitted_at.expect("a time").duration_since(at);
    assert!(late.abs() < SignedDuration::from_mins(1), "{late:?}");
    drop(view);
    let words = "left for the train";
    let theirs = student.get("/student/experiments/acid").await.body;
    assert!(
        theirs.contains(words) && theirs.contains("b.tarn"),
        "{theirs}"
    );
    let staff = assistant.get("/review/acid/0042").await.body;
    assert!(staff.contains(words), "{staff}");

    // the student corrects it, with the trial that was missing, from the form that was kept
    let again = assistant.post_form(path, &note).await;
    assert_eq!(again.status, 422);
    assert!(
        again.body.contains("Something has been handed in"),
        "{}",
        again.body
    );
}

/// What the section before got wrong stands on the sheet of the next, without a name and without a truth.
#[tokio::test]
async fn the_sheet_of_the_next_section_says_what_went_wrong_before() {
    let app = week::app().await;
    let mut folder = Folder::default();
    // 10.00 mL of 0.20371 mol/L take 20.33 mL of 0.1002 mol/L; 20.67 is 20.33 read from below
    let ends = [
        ["20.33", "20.35"],
        ["20.67", "20.34"],
        ["20.32", "20.67"],
        ["20.34", "20.34"],
        ["20.36", "20.33"],
        ["20.66", "20.33"],
    ];
    let mut readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n".to_owned();
    for (n, ends) in ends.iter().enumerate() {
        for (trial, end) in (1..).zip(ends) {
            readings.push_str(&format!("2{n},{trial},N-1,U-1,0.00,{end}\n"));
        }
    }
    for (path, bytes) in week::folder().files() {
        let mut text = String::from_utf8(bytes.to_vec()).expect("is text");
        if path == "roster.csv" {
            (0..ends.len()).for_each(|n| text.push_str(&format!("2{n},Earlier,Number{n},B\n")));
        }
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
        .insert("readings/acid.csv", readings.into_bytes())
        .expect("room");
    let brought = bring_in(&app.desk, &folder, "test", app.clock.now()).await;
    brought.expect("imported");
    let mut assistant = app.person("b.tarn").await;
    let sheet = assistant.get("/sheets/acid").await.body;
    let words =
        "Of 6 hand-ins in other sections the commonest slips: a burette reading taken upward (3)";
    assert!(sheet.contains(words), "{sheet}");
    assert!(!sheet.contains("Earlier"), "{sheet}");
    // a section is told of the others alone
    let mut other = app.person("m.sedge").await;
    let sheet = other.get("/sheets/acid").await.body;
    assert!(!sheet.contains("other sections"), "{sheet}");
}

//! What the coordinator arranges while the term is running, over HTTP.

use concordant::desk::verify;
use concordant::files::{read_term, write_term};

use super::{done, refused};
use crate::app::{Person, TestApp};
use crate::week::{self, acid_form, folder};

pub const ACID: &str = "/course/experiments/acid";

/// The week with a hand-in of 0042 and one of 0051, who names no bottle either.
pub async fn handed_in() -> (TestApp, Person) {
    let app = week::app().await;
    for (id, key) in [("0042", '1'), ("0051", '2')] {
        let mut student = app.person(id).await;
        let key: String = std::iter::repeat_n(key, 32).collect();
        let form = acid_form(&key, "0", "20.40", "20.48");
        let answer = student
            .post_form("/student/experiments/acid/hand-in", &form)
            .await;
        assert_eq!(answer.status, 303, "{}", answer.body);
    }
    let person = app.person("i.quell").await;
    (app, person)
}

pub async fn nothing_differs(app: &TestApp) {
    let (count, differing) = verify(&app.desk).await.expect("can be read");
    assert!(count > 0);
    assert_eq!(differing, []);
    // and all of it survives a folder
    let view = app.desk.view().await.expect("a course");
    let written = write_term(&view.term);
    let read = read_term(&written).expect("no faults");
    assert_eq!(write_term(&read), written);
}

async fn total(app: &TestApp, student: &str) -> String {
    let view = app.desk.view().await.expect("a course");
    let judged = &view
        .judged
        .get(&crate::slot("acid", student))
        .expect("is there");
    judged.evaluation.marks.total.to_string()
}

#[tokio::test]
async fn dates_of_a_section_and_of_a_student_are_looked_at_and_arranged() {
    let (app, mut person) = handed_in().await;
    let at = format!("{ACID}/section-dates");
    // section B was due long ago, which costs half of everything
    let dates = [
        ("opens:A", ""),
        ("due:A", ""),
        ("opens:B", "2020-09-14T09:00"),
        ("due:B", "2020-09-21T17:00"),
    ];
    let before = total(&app, "0051").await;
    let look = person.post_form(&format!("{at}/preview"), &dates).await;
    assert_eq!(look.status, 200, "{}", look.body);
    for words in [
        "Due, section B",
        "1 loses points",
        "Ruhl, Seraphine",
        "Change it and mark anew",
    ] {
        assert!(look.body.contains(words), "{words} in {}", look.body);
    }
    assert_eq!(total(&app, "0051").await, before);
    let page = done(&mut person, &at, &dates).await;
    assert!(page.contains("value=\"2020-09-21T17:00\""), "{page}");
    assert_ne!(total(&app, "0051").await, before);
    let bad = [
        ("opens:B", "2020-09-14T09:00"),
        ("due:B", "2020-09-13T17:00"),
    ];
    refused(
        &mut person,
        &at,
        &bad,
        &[
            "B, due: found 2020-09-13T17:00:00",
            "value=\"2020-09-13T17:00\"",
        ],
    )
    .await;

    let at = format!("{ACID}/extensions");
    refused(
        &mut person,
        &at,
        &[
            ("student", "0099"),
            ("due", "soon"),
            ("section", "Z"),
            ("reason", ""),
        ],
        &[
            "expected the id of a student on the roster",
            "expected a local date and time",
            "expected a section of the roster",
            "value=\"soon\"",
        ],
    )
    .await;
    let longer = [
        ("student", "0051"),
        ("due", "2099-01-01T12:00"),
        ("section", ""),
        ("reason", "ill that week"),
    ];
    let look = person.post_form(&format!("{at}/preview"), &longer).await;
    assert!(look.body.contains("1 gains points"), "{}", look.body);
    let page = done(&mut person, &at, &longer).await;
    assert!(
        page.contains("ill that week") && page.contains("Seraphine Ruhl now has until"),
        "{page}"
    );
    assert_eq!(total(&app, "0051").await, before);
    // the student's own pages go by it
    let mut student = app.person("0051").await;
    let home = student.get("/student").await.body;
    assert!(home.contains("1 Jan 2099"), "{home}");
    let back = [("student", "0051"), ("reason", "was well after all")];
    let page = done(&mut person, &at, &back).await;
    assert!(page.contains("taken back: was well after all"), "{page}");
    assert_ne!(total(&app, "0051").await, before);
    // made up with the other section
    let makes_up = [
        ("student", "0051"),
        ("due", ""),
        ("section", "A"),
        ("reason", "moved house"),
    ];
    done(&mut person, &at, &makes_up).await;
    assert_eq!(total(&app, "0051").await, before);
    nothing_differs(&app).await;
}

#[tokio::test]
async fn another_bottle_is_given_with_a_reason_and_both_are_shown() {
    let (app, mut person) = handed_in().await;
    let at = format!("{ACID}/reissue");
    refused(
        &mut person,
        &at,
        &[("student", "0042"), ("unknown", "U-1"), ("reason", "")],
        &[
            "which they have, expected another",
            "found nothing, expected a word or more",
        ],
    )
    .await;
    let other = [
        ("student", "0042"),
        ("unknown", ""),
        ("reason", "the bottle broke"),
    ];
    let look = person.post_form(&format!("{at}/preview"), &other).await;
    for words in [
        "names no bottle, so that it is marked against U-2",
        "name=\"unknown\" value=\"U-2\"",
        "Bottle, Fennimore, Ada",
    ] {
        assert!(look.body.contains(words), "{words} in {}", look.body);
    }
    let page = done(&mut person, &at, &other).await;
    assert!(
        page.contains("<del>U-1</del>") && page.contains("the bottle broke"),
        "{page}"
    );
    let view = app.desk.view().await.expect("a course");
    assert_eq!(
        view.judged
            .get(&crate::slot("acid", "0042"))
            .expect("is there")
            .evaluation
            .unknown,
        "U-2"
    );
    drop(view);
    let mut student = app.person("0042").await;
    let own = student.get("/student/experiments/acid").await.body;
    assert!(own.contains("given to you in place of U-1"), "{own}");
    assert!(!own.contains("the bottle broke"), "{own}");
    let desk = person.get("/review/acid/0042").await.body;
    assert!(
        desk.contains("Bottle U-2 in place of U-1") && desk.contains("the bottle broke"),
        "{desk}"
    );
    nothing_differs(&app).await;
}

#[tokio::test]
async fn the_marking_is_changed_after_a_look_with_a_reason() {
    let (app, mut person) = handed_in().await;
    let at = format!("{ACID}/marking");
    let page = person.get(&at).await.body;
    assert!(
        page.contains("Careful students have") && page.contains("id=\"accuracy_points\""),
        "{page}"
    );
    let fields = |accuracy: &'static str, full: &'static str| {
        vec![
            ("accuracy_points", accuracy),
            ("accuracy_scale", "ramp"),
            ("accuracy_full", full),
            ("accuracy_zero", "6"),
            ("agreement_points", "4"),
            ("agreement_scale", "steps"),
            ("agreement_steps", "0.5 4\r\n3 1\r\n"),
            ("recording_points", "3"),
            ("by_hand_points", "2"),
            ("minimum", "2"),
            ("prompt", "yes"),
            ("accept", "concordant"),
            ("within", "0.10"),
        ]
    };
    let look = format!("{at}/preview");
    refused(
        &mut person,
        &look,
        &fields("10", "7"),
        &["accuracy_zero-fault", "value=\"7\""],
    )
    .await;
    let before = (total(&app, "0042").await, total(&app, "0051").await);
    let answer = person.post_form(&look, &fields("20", "0.01")).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    for words in [
        "20 points up to a relative error of 0.01 %",
        "2 gain points",
        "Careful students have",
        "Why it changes",
    ] {
        assert!(answer.body.contains(words), "{words} in {}", answer.body);
    }
    // so strict a marking is not fair, and it says so
    assert!(
        answer.body.contains("class=\"question\""),
        "{}",
        answer.body
    );
    assert_eq!(
        (total(&app, "0042").await, total(&app, "0051").await),
        before
    );
    let seen = answer
        .body
        .split("name=\"seen\" value=\"")
        .nth(1)
        .expect("a field");
    let seen = seen.split('"').next().unwrap_or_default().to_owned();
    let mut sent = fields("20", "0.01");
    sent.push(("seen", &seen));
    refused(
        &mut person,
        &at,
        &sent,
        &["expected a sentence that says why it changes"],
    )
    .await;
    sent.push(("reason", "too many had all of it"));
    let page = done(&mut person, &at, &sent).await;
    assert!(
        page.contains("too many had all of it") && page.contains("as the procedure says"),
        "{page}"
    );
    assert_ne!(total(&app, "0042").await, before.0);
    // what somebody else saw before is looked at again
    refused(&mut person, &at, &sent, &["changed since you looked"]).await;
    nothing_differs(&app).await;
    let back = person.post_form(&look, &[("use", "procedure")]).await;
    assert!(
        back.body.contains("name=\"use\" value=\"procedure\""),
        "{}",
        back.body
    );
    let seen = back
        .body
        .split("name=\"seen\" value=\"")
        .nth(1)
        .expect("a field");
    let seen = seen.split('"').next().unwrap_or_default();
    let again = [
        ("use", "procedure"),
        ("seen", seen),
        ("reason", "it was fair as it was"),
    ];
    let page = done(&mut person, &at, &again).await;
    assert!(page.contains("accuracy = { points = "), "{page}");
    assert_eq!(
        (total(&app, "0042").await, total(&app, "0051").await),
        before
    );
    nothing_differs(&app).await;
}

#[tokio::test]
async fn a_part_with_points_by_hand_cannot_go() {
    let (app, mut person) = handed_in().await;
    let answer = person
        .post_form("/review/acid/0042/points", &[("points", "1.5")])
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let fields = [
        ("accuracy_points", "10"),
        ("accuracy_full", "1"),
        ("accuracy_zero", "6"),
        ("minimum", "2"),
        ("accept", "all"),
    ];
    let words = ["expected at least the 1.5", "by_hand_points-fault"];
    refused(
        &mut person,
        &format!("{ACID}/marking/preview"),
        &fields,
        &words,
    )
    .await;
    nothing_differs(&app).await;
}

#[tokio::test]
async fn a_procedure_is_replaced_after_a_look_and_the_text_before_is_kept() {
    let (app, mut person) = handed_in().await;
    let week = folder();
    let old = week.get("procedures/plain-acid.toml").expect("is there");
    let old = String::from_utf8(old.to_vec()).expect("text");
    let new = old.replace(
        "recording = { points = \"3\" }",
        "recording = { points = \"5\" }",
    );
    let look = person
        .post_file("/course/procedures", "p.toml", new.as_bytes())
        .await;
    assert_eq!(look.status, 200, "{}", look.body);
    assert!(
        look.body.contains("2 gain points") && look.body.contains("Students have handed in"),
        "{}",
        look.body
    );
    let field = |name: &str| {
        let after = look
            .body
            .split(&format!("name=\"{name}\" value=\""))
            .nth(1)
            .expect("a field");
        after.split('"').next().unwrap_or_default().to_owned()
    };
    let (seen, name) = (field("seen"), field("name"));
    let mut sent = vec![
        ("name", name.as_str()),
        ("seen", &seen),
        ("text", &new),
        ("reason", ""),
    ];
    let again = person.post_form("/course/procedures/confirm", &sent).await;
    assert!(
        again.status == 422 && again.body.contains("Why it changes"),
        "{}",
        again.body
    );
    sent[3] = ("reason", "readings deserve more");
    done(&mut person, "/course/procedures/confirm", &sent).await;
    {
        let view = app.desk.view().await.expect("a course");
        let kept = view.term.amendments.last().expect("is kept");
        assert_eq!(kept.before.as_deref(), Some(old.as_str()));
        assert_eq!(
            (kept.key.as_str(), kept.reason.as_str()),
            ("plain-acid", "readings deserve more")
        );
        let experiment = view.term.experiment("acid").expect("is there");
        assert_eq!(experiment.procedure.marking.recording, Some(5.into()));
    }
    nothing_differs(&app).await;
    // one that cannot hold what is handed in is refused with the readings it cannot hold
    let weighed = old.replace(
        "by = \"volume\"\nglassware = \"pipette-10-a\"\nnominal = \"10\"",
        "by = \"mass\"\nbalance = \"balance-0.1mg\"\nglassware = \"balance-0.1mg\"\nnominal = \"1\"",
    );
    let answer = person
        .post_file("/course/procedures", "p.toml", weighed.as_bytes())
        .await;
    assert_eq!(answer.status, 422, "{}", answer.body);
}

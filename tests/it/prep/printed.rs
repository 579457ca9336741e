//! Days, labels, lists, and the answer key; what the prep room does not see.

use concordant::desk::bring_in;
use concordant::files::{Folder, demo_folder};
use concordant::store::first_difference;

use super::{exported, owned, post, room, seen, set, text};
use crate::app::TestApp;
use crate::week::{self, SECRETS};

/// Two titrations of one student, brought in with the week's folder.
async fn hand_in(app: &TestApp) {
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n\
                    0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n";
    let path = "readings/acid.csv";
    folder
        .insert(path, readings.as_bytes().to_vec())
        .expect("room");
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("imported");
}

#[tokio::test]
async fn days_warn_and_change_no_mark() {
    let (app, mut person) = room().await;
    let zone = app
        .desk
        .view()
        .await
        .expect("a course")
        .term
        .course
        .zone
        .clone();
    let today = zone.local(app.clock.now()).date();
    let at = |days: i64| {
        today
            .saturating_add(jiff::SignedDuration::from_hours(24 * days))
            .to_string()
    };
    hand_in(&app).await;
    let before = app.desk.view().await.expect("a course").judged.clone();
    assert_eq!(before.len(), 1, "something that could be marked otherwise");
    let set_to = |day: String| {
        [
            ("code", "N-1".to_owned()),
            ("made", at(-30)),
            ("expires", day),
        ]
    };
    for (days, words) in [
        (15, None),
        (14, Some("expires in 14 days")),
        (0, Some("expires today")),
        (-3, Some("expired 3 days ago")),
    ] {
        let fields = set_to(at(days));
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        let answer = person.post_form("/prep/lot/days", &fields).await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        let pages = [
            person.get("/prep").await.body,
            person.get("/prep/lots").await.body,
        ];
        for page in pages {
            assert_eq!(page.contains("expire"), words.is_some(), "{days}: {page}");
            assert!(
                words.is_none_or(|words| page.contains(words)),
                "{days}: {page}"
            );
        }
    }
    assert_eq!(app.desk.view().await.expect("a course").judged, before);
    let gone = at(-1);
    let fields = [("code", "H-1"), ("made", ""), ("expires", gone.as_str())];
    let answer = person.post_form("/prep/lot/days", &fields).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let list = person.get("/prep/experiments/shell/issue-list").await.body;
    assert!(list.contains("H-1 (expired yesterday)"), "{list}");
    let lots = text(&exported(&app).await, "lots.csv");
    assert!(
        lots.starts_with(
            "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L,made,expires\n"
        ),
        "{lots}"
    );
    let wrong = [("code", "N-1"), ("made", "yesterday"), ("expires", "")];
    let answer = person.post_form("/prep/lot/days", &wrong).await;
    assert_eq!(answer.status, 422);
    assert!(answer.body.contains("id=\"made-fault\"") && answer.body.contains("yesterday"));
}

/// No sheet that goes into the laboratory says what is in a bottle.
#[tokio::test]
async fn nothing_printed_for_the_laboratory_holds_a_true_value() {
    let (app, mut person) = room().await;
    let mut assistant = app.person("b.tarn").await;
    for path in [
        "/prep/experiments/acid/labels?sheet=letter-67x25&first=4&copies=issued",
        "/prep/experiments/acid/issue-list?bench=1",
        "/prep/experiments/acid/bench-sheets",
        "/prep/experiments/shell/bench-sheets?blank=2",
        "/prep/experiments/acid/key",
        "/prep/lots/labels",
    ] {
        let page = person.get(path).await;
        assert_eq!(page.status, 200, "{path}: {}", page.body);
        for secret in SECRETS.into_iter().chain(["0.1002", "0.2510"]) {
            assert!(!page.body.contains(secret), "{secret} on {path}");
        }
    }
    let labels = person
        .get("/prep/experiments/acid/labels?sheet=letter-67x25&first=4&copies=issued")
        .await
        .body;
    assert_eq!(labels.matches("class=\"label used\"").count(), 3);
    assert_eq!(
        labels.matches("class=\"label-code\">U-1<").count(),
        2,
        "two students have it"
    );
    assert_eq!(labels.matches("<svg class=\"qr\"").count(), 3);
    let sheet = assistant.get("/sheets/acid").await.body;
    assert!(
        sheet.contains("Fennimore") && sheet.contains("U-1"),
        "{sheet}"
    );
    assert!(!sheet.contains("Ruhl"), "another section's student");
    let sheet = assistant.get("/sheets/acid/bench?section=B").await.body;
    assert!(!sheet.contains("Ruhl"), "another section's student");
}

/// The address in the QR picture of a label (see `web/prep/qr.rs`) is one at which a student starts on the bottle.
#[tokio::test]
async fn a_label_leads_a_student_to_the_form() {
    let (app, _) = room().await;
    let mut student = app.person("0042").await;
    let answer = student.get("/student/bottle/acid/U-1").await;
    assert!(
        matches!(answer.status, 200 | 303),
        "{}: {}",
        answer.status,
        answer.body
    );
    let form = if answer.status == 303 {
        student.get(answer.location()).await.body
    } else {
        answer.body
    };
    assert!(form.contains("U-1"), "{form}");
}

#[tokio::test]
async fn opening_the_key_is_logged() {
    let (app, mut person) = room().await;
    let sealed = person.get("/prep/experiments/acid/key").await.body;
    assert!(sealed.contains("Sealed"), "{sealed}");
    let opened = person.post_form("/prep/experiments/acid/key", &[]).await;
    assert_eq!(opened.status, 200);
    assert!(
        opened.body.contains("0.2037") && opened.body.contains("prep room and coordinator only"),
        "{}",
        opened.body
    );
    let mut connection = app.desk.store().read().await.expect("a reader");
    let query = "SELECT by_login, body ->> '$.experiment' FROM journal WHERE kind = 'answer-key'";
    let found: Vec<(String, String)> = sqlx::query_as(query)
        .fetch_all(connection.sqlite().expect("a file"))
        .await
        .expect("read");
    assert_eq!(found, [("f.alder".to_owned(), "acid".to_owned())]);
    assert_eq!(first_difference(&mut connection).await.expect("read"), None);
    let missing = person.post_form("/prep/experiments/nothing/key", &[]).await;
    assert_eq!(missing.status, 404);
}

/// Students of one section alone have their results: whoever looks at a lot's new value is told that they will see other
/// points, in the prep room as in the course.
#[tokio::test]
async fn a_look_says_whose_points_are_out_already() {
    let app = TestApp::spawn_new().await;
    bring_in(&app.desk, &demo_folder(), "test", app.clock.now())
        .await
        .expect("the demonstration course");
    let mut prep = app.person("p.rowan").await;
    let mut coordinator = app.person("i.quell").await;
    let stated = owned(&[
        ("how", "stated"),
        ("lot", "W-T1"),
        ("reagent", "C10H14N2O8^2-"),
        ("molarity", "0.0102"),
        ("uncertainty", "0.00002"),
    ]);
    let told = "are released. Its students will see their new points";
    let before = post(&mut prep, "/prep/lots/record", &stated, "look").await;
    assert!(!before.body.contains(told), "{}", before.body);
    let released = coordinator
        .post_form(
            "/course/experiments/well-water-hardness/release",
            &[("section", "A"), ("as_they_are", "yes")],
        )
        .await;
    assert_eq!(released.status, 303, "{}", released.body);
    for person in [&mut prep, &mut coordinator] {
        let looked = post(person, "/prep/lots/record", &stated, "look").await;
        assert_eq!(looked.status, 200, "{}", looked.body);
        assert!(looked.body.contains(told), "{}", looked.body);
    }
}

/// Whoever prepares bottles sees what a correction reaches, and nobody's marks.
#[tokio::test]
async fn the_prep_room_sees_no_marks() {
    let (app, mut person) = room().await;
    hand_in(&app).await;
    let stated = [
        ("how", "stated"),
        ("lot", "N-1"),
        ("reagent", "NaOH"),
        ("molarity", "0.1100"),
        ("uncertainty", "0.0001"),
    ];
    let looked = post(&mut person, "/prep/lots/record", &owned(&stated), "look").await;
    assert!(
        looked.body.contains("1 submission would be marked anew"),
        "{}",
        looked.body
    );
    assert!(looked.body.contains(">0.1002<"), "what it is until now");
    assert!(
        !looked.body.contains("Fennimore") && !looked.body.contains("oints"),
        "{}",
        looked.body
    );
    let mut fields = owned(&stated);
    set(&mut fields, "seen", &seen(&looked.body));
    set(&mut fields, "reason", "certificate misread");
    let done = post(&mut person, "/prep/lots/record", &fields, "enter").await;
    assert_eq!(done.status, 303, "{}", done.body);
    for path in ["/prep", "/prep/lot?code=N-1", "/prep/experiments/acid"] {
        let page = person.get(path).await.body;
        assert!(!page.contains("Fennimore"), "{path}");
    }
}

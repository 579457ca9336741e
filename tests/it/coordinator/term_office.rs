//! Results section by section, people who come and go, and the course for next term, over HTTP.

use concordant::desk::{Desk, bring_in};
use concordant::files::write_term;
use concordant::store::{Store, first_difference};
use concordant::term::Status;
use zip::ZipArchive;

use super::office::{ACID, handed_in, nothing_differs};
use super::{done, refused};
use crate::app::TestApp;
use crate::week::acid_form;

#[tokio::test]
async fn results_go_out_section_by_section_and_come_back() {
    let (app, mut person) = handed_in().await;
    // another bottle than the one issued: a person should look
    let key = "3".repeat(32);
    let mut form = acid_form(&key, "1", "20.40", "20.48");
    let unknown = form.iter_mut().find(|(name, _)| *name == "unknown");
    unknown.expect("a field").1 = "U-2";
    // asked about, and stood by
    form.push(("stand[]", "unknown"));
    let mut student = app.person("0051").await;
    let sent = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    let at = format!("{ACID}/release");
    let page = person.get(&format!("{at}?section=B")).await.body;
    assert!(
        page.contains("What each of them will see") && page.contains("Ruhl, Seraphine"),
        "{page}"
    );
    assert!(!page.contains("Fennimore"), "{page}");
    {
        let view = app.desk.view().await.expect("a course");
        assert_eq!(
            view.judged
                .get(&crate::slot("acid", "0051"))
                .expect("is there")
                .status,
            Status::ToReview
        );
    }
    refused(
        &mut person,
        &at,
        &[("section", "B")],
        &["found 1 still to review"],
    )
    .await;
    refused(
        &mut person,
        &at,
        &[("section", "Z")],
        &["expected a section of the roster"],
    )
    .await;
    let page = done(
        &mut person,
        &at,
        &[("section", "B"), ("as_they_are", "yes")],
    )
    .await;
    assert!(page.contains("released to some sections"), "{page}");
    let mut of_b = app.person("0051").await;
    let mut of_a = app.person("0042").await;
    let (b, a) = (
        of_b.get("/student").await.body,
        of_a.get("/student").await.body,
    );
    assert!(b.contains("results are out"), "{b}");
    assert!(!a.contains("results are out"), "{a}");
    // then to everybody, and back from one
    done(&mut person, &at, &[("as_they_are", "yes")]).await;
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .is_released(&crate::key("acid"))
    );
    done(
        &mut person,
        &format!("{ACID}/withdraw"),
        &[("section", "A")],
    )
    .await;
    let (b, a) = (
        of_b.get("/student").await.body,
        of_a.get("/student").await.body,
    );
    assert!(b.contains("results are out") && !a.contains("results are out"));
    nothing_differs(&app).await;
    done(&mut person, &format!("{ACID}/withdraw"), &[]).await;
    assert!(!of_b.get("/student").await.body.contains("results are out"));
}

#[tokio::test]
async fn students_leave_move_and_come_back() {
    let (app, mut person) = handed_in().await;
    let mut leaving = app.person("0042").await;
    assert_eq!(leaving.get("/student").await.status, 200);
    let roster = "student_id,family_name,given_name,section\n0043,Okafor-Lind,Tobias,B\n0051,Ruhl,Seraphine,B\n";
    let look = person
        .post_file("/course/roster/preview", "r.csv", roster.as_bytes())
        .await;
    for words in [
        "name=\"left[]\" value=\"0042\"",
        "they stay, unless you tick them",
        "section A</del>",
    ] {
        assert!(look.body.contains(words), "{words} in {}", look.body);
    }
    // without a tick nobody leaves
    done(&mut person, "/course/roster/confirm", &[("text", roster)]).await;
    assert_eq!(leaving.get("/student").await.status, 200);
    let page = done(
        &mut person,
        "/course/roster/confirm",
        &[("text", roster), ("left[]", "0042")],
    )
    .await;
    assert!(page.contains("1 who has left"), "{page}");
    let answer = leaving.get("/student").await;
    assert!(
        answer.status == 303 && answer.location().starts_with("/sign-in"),
        "{}",
        answer.status
    );
    // off the lists and the gradebook, and still on record
    let gradebook = person.get("/course/gradebook.csv").await.body;
    assert!(
        !gradebook.contains("0042") && gradebook.contains("0051"),
        "{gradebook}"
    );
    assert!(person.get("/course/export.zip").await.status == 200);
    assert_eq!(person.get("/review/acid/0042").await.status, 200);
    assert!(!person.get("/review").await.body.contains("Fennimore"));
    nothing_differs(&app).await;
    // in a file again, they come back
    let again = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,A\n";
    let look = person
        .post_file("/course/roster/preview", "r.csv", again.as_bytes())
        .await;
    assert!(
        look.body.contains("1 had left and come back"),
        "{}",
        look.body
    );
    done(&mut person, "/course/roster/confirm", &[("text", again)]).await;
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .term
            .student("0042")
            .expect("there")
            .is_enrolled()
    );

    // one at a time, by form
    let at = "/course/roster/student";
    let page = person.get(&format!("{at}?id=0042")).await.body;
    assert!(page.contains("value=\"Fennimore\""), "{page}");
    let moved = [
        ("student_id", "0042"),
        ("family_name", "Fennimore"),
        ("given_name", "Ada"),
        ("section", "C"),
        ("email", ""),
        ("left", "2026-13-01"),
    ];
    refused(
        &mut person,
        at,
        &moved,
        &["expected a day such as 2026-03-02", "value=\"2026-13-01\""],
    )
    .await;
    let mut moved = moved;
    moved[5] = ("left", "");
    let look = person.post_form(&format!("{at}/preview"), &moved).await;
    assert!(
        look.body.contains("Fennimore, Ada, section C"),
        "{}",
        look.body
    );
    done(&mut person, at, &moved).await;
    moved[5] = ("left", "2026-11-02");
    done(&mut person, at, &moved).await;
    let view = app.desk.view().await.expect("a course");
    assert_eq!(
        view.term
            .student("0042")
            .expect("there")
            .left
            .map(|d| d.to_string())
            .as_deref(),
        Some("2026-11-02")
    );
    drop(view);
    nothing_differs(&app).await;
}

#[tokio::test]
async fn staff_taken_off_the_list_are_out_at_once() {
    let (app, mut person) = handed_in().await;
    let mut assistant = app.person("m.sedge").await;
    assert_eq!(assistant.get("/review").await.status, 200);
    let page = person.get("/course/staff?remove=m.sedge").await.body;
    assert!(page.contains("Take Mara Sedge off the list?"), "{page}");
    refused(
        &mut person,
        "/course/staff/remove",
        &[("login", "i.quell")],
        &["expected another coordinator"],
    )
    .await;
    let page = done(&mut person, "/course/staff/remove", &[("login", "m.sedge")]).await;
    assert!(!page.contains("Mara Sedge"), "{page}");
    assert_eq!(assistant.get("/review").await.status, 303);
    let sign_in = [("login", "m.sedge"), ("password", crate::app::PASSWORD)];
    assert_ne!(
        app.stranger().post_open("/sign-in", &sign_in).await.status,
        303
    );
    // on the list again, the old password is gone
    let back = [
        ("login", "m.sedge"),
        ("name", "Mara Sedge"),
        ("role", "assistant"),
        ("sections[]", "B"),
    ];
    done(&mut person, "/course/staff", &back).await;
    assert_ne!(
        app.stranger().post_open("/sign-in", &sign_in).await.status,
        303
    );
    assert_eq!(assistant.get("/review").await.status, 303);
    nothing_differs(&app).await;
    // a slip waits to be used: the record of access is sound before and after
    app.code_for("m.sedge").await;
    sound(&app).await;
    app.person("m.sedge").await;
    sound(&app).await;
}

async fn sound(app: &TestApp) {
    let mut reader = app.desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("read"), None);
}

#[tokio::test]
async fn a_copy_for_next_term_goes_into_an_empty_server() {
    let (app, mut person) = handed_in().await;
    let at = "/course/copy.zip";
    refused(
        &mut person,
        at,
        &[("next_term", ""), ("weeks", "")],
        &["expected its name", "expected one of the two"],
    )
    .await;
    refused(
        &mut person,
        at,
        &[("next_term", "spring"), ("weeks", "many")],
        &["value=\"many\"", "whole number of weeks"],
    )
    .await;
    let answer = person
        .post_form(
            at,
            &[
                ("next_term", "spring 2027"),
                ("first_day", "2021-02-01"),
                ("lots", "yes"),
                ("unknowns", "yes"),
            ],
        )
        .await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    let paths = |bytes: &[u8]| {
        let zip = ZipArchive::new(std::io::Cursor::new(bytes.to_vec())).expect("a zip file");
        let mut names: Vec<String> = zip.file_names().map(str::to_owned).collect();
        names.sort();
        names
    };
    let all = [
        "course.toml",
        "lots.csv",
        "procedures/eggshell-carbonate.toml",
        "procedures/plain-acid.toml",
        "roster.csv",
        "unknowns.csv",
    ];
    assert_eq!(paths(&answer.bytes), all);

    let empty = TestApp::spawn_new().await;
    let mut next = empty.person("i.quell").await;
    let brought = next
        .post_file("/course/folder", "next-term.zip", &answer.bytes)
        .await;
    assert_eq!(brought.status, 303, "{}", brought.body);
    let view = empty.desk.view().await.expect("a course");
    let term = &view.term;
    assert_eq!(term.course.term, "spring 2027");
    assert!(term.students.is_empty() && term.submissions.is_empty() && term.issued.is_empty());
    let opens: Vec<String> = term
        .experiments
        .iter()
        .map(|e| e.dates.opens.to_string())
        .collect();
    assert_eq!(
        opens,
        [
            "2021-02-01T09:00:00",
            "2021-02-01T09:00:00",
            "2100-02-01T09:00:00"
        ]
    );
    assert_eq!(term.unknowns["acid"]["U-1"].version, 1);

    let bare = person
        .post_form(at, &[("next_term", "spring 2027"), ("weeks", "20")])
        .await;
    let bare = paths(&bare.bytes);
    assert!(!bare.contains(&"lots.csv".to_owned()) && !bare.contains(&"unknowns.csv".to_owned()));
    // the course itself is as it was
    assert_eq!(
        app.desk.view().await.expect("a course").term.course.term,
        "autumn 2026"
    );
    // and the copy reads in one go on the command line too
    let desk = Desk::open(Store::passing().await.expect("a database"))
        .await
        .expect("a desk");
    let copied = write_term(&view.term);
    bring_in(&desk, &copied, "import", app.clock.now())
        .await
        .expect("brought in");
}

//! The coordinator's work over HTTP: from an empty database to released results.

use std::collections::BTreeMap;

use concordant::desk::output_files;
use concordant::term::Slot;

use crate::app::{Person, TestApp};
use crate::week::{acid_form, app, folder};

const ROSTER: &str = "student_id,family_name,given_name,section\n\
    0042,Fennimore,Ada,A\n0043,Okafor-Lind,Tobias,A\n0044,\"'=Ruhl()\",Sera,A\n0051,Ash,Ivo,B\n0052,Birk,Una,B\n";

async fn coordinator() -> (TestApp, Person) {
    let app = TestApp::spawn_new().await;
    let person = app.person("i.quell").await;
    (app, person)
}

async fn with_course() -> (TestApp, Person) {
    let (app, mut person) = coordinator().await;
    let course = [
        ("title", "Quantitative analysis"),
        ("term", "autumn 2026"),
        ("time_zone", "Europe/Lisbon"),
    ];
    done(&mut person, "/course/new", &course).await;
    (app, person)
}

/// Posts a form that is taken, and returns the page it leads to.
async fn done(person: &mut Person, path: &str, fields: &[(&str, &str)]) -> String {
    let answer = person.post_form(path, fields).await;
    assert_eq!(answer.status, 303, "{path}: {}", answer.body);
    let page = person.get(answer.location()).await;
    assert_eq!(page.status, 200, "{}", page.body);
    page.body
}

/// Posts a form that is refused with these words in the page.
async fn refused(person: &mut Person, path: &str, fields: &[(&str, &str)], words: &[&str]) {
    let answer = person.post_form(path, fields).await;
    assert_eq!(answer.status, 422, "{path}: {}", answer.body);
    for word in words {
        assert!(answer.body.contains(word), "{word} in {}", answer.body);
    }
}

async fn bring_roster(person: &mut Person, csv: &str) -> String {
    let preview = person
        .post_file("/course/roster/preview", "roster.csv", csv.as_bytes())
        .await;
    assert_eq!(preview.status, 200, "{}", preview.body);
    assert!(preview.body.contains("Nothing is changed yet"));
    done(person, "/course/roster/confirm", &[("text", csv)]).await
}

#[tokio::test]
async fn a_term_from_nothing_to_released_results() {
    let (app, mut person) = coordinator().await;
    let page = person.get("/course").await;
    assert!(
        page.body.contains("There is no course here yet"),
        "{}",
        page.body
    );
    refused(
        &mut person,
        "/course/new",
        &[("title", "Analysis"), ("term", ""), ("time_zone", "Lisbon")],
        &[
            "value=\"Analysis\"",
            "found nothing, expected a word or more",
            "found “Lisbon”, expected an IANA time zone",
        ],
    )
    .await;
    let course = [
        ("title", "Quantitative analysis"),
        ("term", "autumn 2026"),
        ("time_zone", "Europe/Lisbon"),
    ];
    let page = done(&mut person, "/course/new", &course).await;
    assert!(page.contains("Nobody is on the roster yet"), "{page}");
    let page = bring_roster(&mut person, ROSTER).await;
    assert!(page.contains("5 students joined or changed"), "{page}");

    let procedure = folder()
        .get("procedures/plain-acid.toml")
        .expect("is there")
        .to_vec();
    let answer = person
        .post_file("/course/procedures", "own.toml", &procedure)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = person.get(answer.location()).await;
    assert!(
        page.body.contains("<option value=\"plain-acid\" selected>"),
        "{}",
        page.body
    );
    let experiment = [
        ("key", "acid"),
        ("procedure", "plain-acid"),
        ("opens", "2020-09-14T09:00"),
        ("due", "2099-09-14T17:00"),
    ];
    let page = done(&mut person, "/course/experiments", &experiment).await;
    assert!(
        page.contains("1 HCl") || page.contains("HCl + NaOH"),
        "{page}"
    );
    assert!(page.contains("There is no lot of NaOH yet"), "{page}");
    let lot = [
        ("lot", "N-1"),
        ("reagent", "NaOH"),
        ("molarity", "0.1002"),
        ("uncertainty", "0.0001"),
    ];
    done(&mut person, "/course/lots", &lot).await;
    let at = "/course/experiments/acid";
    let lines = "U-1, 0.20371, 0.0002\nU-2\t0.20963\t0.0002\n\n";
    let page = done(
        &mut person,
        &format!("{at}/unknowns/many"),
        &[("many", lines)],
    )
    .await;
    assert!(page.contains("2 unknowns entered or changed"), "{page}");
    assert!(page.contains("0.20371") && page.contains("20.33"), "{page}");
    let page = done(
        &mut person,
        &format!("{at}/lots"),
        &[("titrant-all", "N-1")],
    )
    .await;
    assert!(page.contains("The lots are assigned"));

    let page = done(&mut person, &format!("{at}/issue"), &[]).await;
    assert!(page.contains("5 students were given a bottle"), "{page}");
    issued_fairly(&app).await;
    let list = person.get(&format!("{at}/issue/list?section=B")).await;
    assert!(
        list.body.contains("Birk, Una") && !list.body.contains("Fennimore"),
        "{}",
        list.body
    );

    let mut student = app.person("0042").await;
    let form = acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.48");
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = person.get(&format!("{at}/release")).await;
    assert!(
        page.body.contains("1 of 5 students have handed in"),
        "{}",
        page.body
    );
    assert!(page.body.contains("It is not due before"), "{}", page.body);
    let page = done(&mut person, &format!("{at}/release"), &[]).await;
    assert!(page.contains("The results are released"), "{page}");
    assert!(app.desk.view().await.expect("a course").is_released("acid"));

    for name in ["gradebook.csv", "results.csv", "flags.csv", "audit.csv"] {
        let answer = person.get(&format!("/course/{name}")).await;
        let files = output_files(&*app.desk.view().await.expect("a course"));
        assert_eq!(answer.bytes, files.get(name).expect("a file"), "{name}");
        assert_eq!(answer.header("content-type"), "text/csv; charset=utf-8");
        assert_eq!(
            answer.header("content-disposition"),
            format!("attachment; filename=\"{name}\"")
        );
        assert_eq!(answer.header("cache-control"), "no-store");
    }
    let gradebook = person.get("/course/gradebook.csv").await.body;
    assert!(gradebook.contains("0044,'=Ruhl(),Sera,A"), "{gradebook}");

    let page = done(&mut person, &format!("{at}/withdraw"), &[]).await;
    assert!(page.contains("The results are withdrawn"), "{page}");
    assert!(!app.desk.view().await.expect("a course").is_released("acid"));
}

/// Counts differ by one at most, and neighbours of a section by their bottle.
async fn issued_fairly(app: &TestApp) {
    let view = app.desk.view().await.expect("a course");
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let bottle = |id: &str| {
        view.term
            .issued
            .get(&Slot::new("acid", id))
            .expect("has one")
    };
    for student in &view.term.students {
        *counts.entry(bottle(&student.id)).or_default() += 1;
    }
    let (most, fewest) = (counts.values().max(), counts.values().min());
    assert!(
        most.expect("some") - fewest.expect("some") <= 1,
        "{counts:?}"
    );
    for pair in view.term.students.windows(2) {
        if pair[0].section == pair[1].section {
            assert_ne!(bottle(&pair[0].id), bottle(&pair[1].id));
        }
    }
}

#[tokio::test]
async fn a_roster_with_faults_names_each_and_changes_nothing() {
    let (app, mut person) = with_course().await;
    let csv = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,A\n0042,Again,Ada,A\n,Nobody,N,A\n0050,Long,L\n";
    let answer = person
        .post_file("/course/roster/preview", "autumn.csv", csv.as_bytes())
        .await;
    assert_eq!(answer.status, 422);
    for words in [
        "3 faults in autumn.csv; nothing was changed",
        "roster.csv, line 3, student_id",
        "roster.csv, line 4, student_id",
        "roster.csv, line 5",
        "found 3 cells, expected 4",
    ] {
        assert!(answer.body.contains(words), "{words} in {}", answer.body);
    }
    let wrong = person
        .post_file("/course/roster/preview", "a.csv", b"id,name\n1,2\n")
        .await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.body.contains("student_id"), "{}", wrong.body);
    let staff = "student_id,family_name,given_name,section\nI.Quell,Twice,T,A\n";
    let clash = person
        .post_file("/course/roster/preview", "a.csv", staff.as_bytes())
        .await;
    assert_eq!(clash.status, 422);
    assert!(
        clash
            .body
            .contains("found I.Quell, expected ids that are no login of the staff")
    );
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .term
            .students
            .is_empty()
    );
    let form = person
        .post_form("/course/roster/confirm", &[("text", csv)])
        .await;
    assert_eq!(form.status, 422);
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .term
            .students
            .is_empty()
    );
}

#[tokio::test]
async fn a_second_roster_shows_before_and_after_and_removes_nobody() {
    let (app, mut person) = with_course().await;
    bring_roster(&mut person, ROSTER).await;
    let second = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,B\n0043,Okafor-Lind,Tobias,A\n0060,<b>New</b>,N,B\n";
    let preview = person
        .post_file("/course/roster/preview", "r.csv", second.as_bytes())
        .await;
    for words in [
        "1 join the roster",
        "1 are altered",
        "1 stay as they are",
        "3 are on the roster but not in the file",
        "<del>Fennimore, Ada, section A</del>",
    ] {
        assert!(preview.body.contains(words), "{words} in {}", preview.body);
    }
    assert!(!preview.body.contains("<b>New"));
    done(&mut person, "/course/roster/confirm", &[("text", second)]).await;
    let view = app.desk.view().await.expect("a course");
    assert_eq!(view.term.students.len(), 6);
    assert_eq!(view.term.student("0042").expect("is there").section, "B");
}

#[tokio::test]
async fn a_large_roster_is_carried_through_its_confirmation() {
    let (app, mut person) = with_course().await;
    let mut csv = "student_id,family_name,given_name,section\n".to_owned();
    for n in 0..2500 {
        csv.push_str(&format!(
            "{n:05},Ångström-Øverland,Zoë {n},Section {}\n",
            n % 60
        ));
    }
    assert!(csv.len() > 64 * 1024);
    bring_roster(&mut person, &csv).await;
    assert_eq!(
        app.desk.view().await.expect("a course").term.students.len(),
        2500
    );
    let large = vec![b'a'; 600 * 1024];
    let answer = person
        .post_file("/course/roster/preview", "r.csv", &large)
        .await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("expected at most 512 KiB"),
        "{}",
        answer.body
    );
}

#[tokio::test]
async fn a_file_over_ten_mebibytes_gets_our_page() {
    let (_app, mut person) = coordinator().await;
    let large = vec![b'0'; 10 * 1024 * 1024 + 1];
    for path in [
        "/course/folder",
        "/course/roster/preview",
        "/course/procedures",
    ] {
        let answer = person.post_file(path, "large.zip", &large).await;
        assert_eq!(answer.status, 413, "{path}");
        assert!(
            answer.body.contains("The file is larger than 10 MiB"),
            "{}",
            answer.body
        );
    }
}

#[tokio::test]
async fn slips_are_made_for_those_without_a_password_and_let_them_in() {
    let (app, mut person) = with_course().await;
    bring_roster(&mut person, ROSTER).await;
    let slips = person.post_form("/course/slips", &[("section", "A")]).await;
    assert_eq!(slips.status, 200, "{}", slips.body);
    assert!(
        slips.body.contains("3 slips") && slips.body.contains("/claim"),
        "{}",
        slips.body
    );
    assert_eq!(slips.header("cache-control"), "no-store");
    let after = slips.body.split("0042</dd>").nth(1).expect("a slip");
    let code = after.split("<dd class=\"code\">").nth(1).expect("a code");
    let code = code.split('<').next().expect("text").to_owned();
    let mut student = app.stranger();
    let claim = [
        ("login", "0042"),
        ("code", &code),
        ("password", crate::app::PASSWORD),
        ("repeat", crate::app::PASSWORD),
    ];
    assert_eq!(student.post_open("/claim", &claim).await.status, 303);
    let again = person.post_form("/course/slips", &[("section", "A")]).await;
    assert!(again.body.contains("2 slips") && !again.body.contains("0042</dd>"));
    let one = person
        .post_form("/course/slips", &[("login", "0042")])
        .await;
    assert!(one.body.contains("1 slip"), "{}", one.body);
    let nobody = person.post_form("/course/slips", &[("section", "Z")]).await;
    assert_eq!(nobody.status, 422);
    let stranger = person
        .post_form("/course/slips", &[("login", "0099")])
        .await;
    assert_eq!(stranger.status, 422);
    assert!(
        stranger
            .body
            .contains("found 0099, expected logins on the roster")
    );
}

#[tokio::test]
async fn staff_are_added_and_changed_and_faults_stand_beside_their_fields() {
    let (app, mut person) = with_course().await;
    bring_roster(&mut person, ROSTER).await;
    let entry = [
        ("login", "b.tarn"),
        ("name", "Bo Tarn"),
        ("role", "assistant"),
    ];
    let with = |more: &[(&'static str, &'static str)]| [&entry[..], more].concat();
    refused(
        &mut person,
        "/course/staff",
        &with(&[("sections[]", "Z")]),
        &[
            "found “Z”, expected sections of the roster",
            "value=\"Bo Tarn\"",
            "id=\"sections-fault\"",
        ],
    )
    .await;
    refused(
        &mut person,
        "/course/staff",
        &entry,
        &["found none, expected at least one section"],
    )
    .await;
    done(&mut person, "/course/staff", &with(&[("sections[]", "A")])).await;
    let both = with(&[("sections[]", "A"), ("sections[]", "B")]);
    done(&mut person, "/course/staff", &both).await;
    let own = [
        ("login", "I.QUELL"),
        ("name", "I"),
        ("role", "assistant"),
        ("sections[]", "A"),
    ];
    refused(
        &mut person,
        "/course/staff",
        &own,
        &["another coordinator to take your own role"],
    )
    .await;
    let student = [("login", "0042"), ("name", "X"), ("role", "coordinator")];
    refused(
        &mut person,
        "/course/staff",
        &student,
        &["expected a login that is no student"],
    )
    .await;
    let view = app.desk.view().await.expect("a course");
    let tarn: Vec<_> = view
        .term
        .staff
        .iter()
        .filter(|s| s.login == "b.tarn")
        .collect();
    assert_eq!(tarn.len(), 1);
    assert_eq!(tarn[0].sections, ["A", "B"]);
}

#[tokio::test]
async fn what_is_typed_wrongly_is_named_and_kept() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let experiment = [
        ("key", "Acid 2"),
        ("procedure", "no-such"),
        ("opens", "2150-01-01T09:00"),
        ("due", "soon"),
    ];
    refused(
        &mut person,
        "/course/experiments",
        &experiment,
        &[
            "value=\"Acid 2\"",
            "expected lower-case letters",
            "expected a date in the years 2000 to 2100",
            "found “soon”",
        ],
    )
    .await;
    let twice = [
        ("key", "acid"),
        ("procedure", "plain-acid"),
        ("opens", "2026-01-01T09:00"),
        ("due", "2026-01-02T09:00"),
    ];
    refused(
        &mut person,
        "/course/experiments",
        &twice,
        &["expected a key no experiment of the course has yet"],
    )
    .await;
    let backwards = [("opens", "2026-01-03T09:00"), ("due", "2026-01-02T09:00")];
    refused(
        &mut person,
        "/course/experiments/acid/dates",
        &backwards,
        &[
            "expected a time after it opens",
            "value=\"2026-01-03T09:00\"",
        ],
    )
    .await;
    let lot = [
        ("lot", "N-1"),
        ("reagent", "NaOH"),
        ("molarity", "0.1010"),
        ("uncertainty", "0.0001"),
    ];
    refused(
        &mut person,
        "/course/lots",
        &lot,
        &["id=\"reason-fault\"", "value=\"0.1010\""],
    )
    .await;
    let lot = [
        ("lot", "N-9"),
        ("reagent", "NaOH"),
        ("molarity", "0,1"),
        ("uncertainty", "-1"),
    ];
    refused(
        &mut person,
        "/course/lots",
        &lot,
        &["found “0,1”, expected a plain number", "value=\"-1\""],
    )
    .await;
    let unknown = [
        ("unknown", "u-1"),
        ("true_value", "0.3"),
        ("uncertainty", "0.001"),
    ];
    refused(
        &mut person,
        "/course/experiments/acid/unknowns",
        &unknown,
        &["in more than capitals", "value=\"u-1\""],
    )
    .await;
    let many = [("many", "U-8,0.2\nU-9,x,0.1\nU-7,0.2,0.1\nu-7,0.3,0.1\n")];
    refused(
        &mut person,
        "/course/experiments/acid/unknowns/many",
        &many,
        &[
            "3 faults",
            "pasted lines:1",
            "pasted lines:2, column value",
            "pasted lines:4, column code",
            "U-8,0.2\n",
        ],
    )
    .await;
    let view = app.desk.view().await.expect("a course");
    assert_eq!(view.term.unknowns["acid"].len(), 2);
    assert_eq!(view.term.lots["N-1"].version, 1);
}

#[tokio::test]
async fn a_changed_value_keeps_the_one_before() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let lot = [
        ("lot", "N-1"),
        ("reagent", "NaOH"),
        ("molarity", "0.1010"),
        ("uncertainty", "0.0001"),
        ("reason", "standardised again"),
    ];
    let page = done(&mut person, "/course/lots", &lot).await;
    assert!(
        page.contains("<del>0.1002</del>") && page.contains("standardised again"),
        "{page}"
    );
    let unknown = [
        ("unknown", "U-1"),
        ("true_value", "0.2041"),
        ("uncertainty", "0.0002"),
        ("reason", "weighed again"),
    ];
    let page = done(&mut person, "/course/experiments/acid/unknowns", &unknown).await;
    assert!(
        page.contains("<del>0.20371</del>") && page.contains("weighed again"),
        "{page}"
    );
}

#[tokio::test]
async fn a_procedure_that_does_not_balance_is_refused_with_its_line() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let text = String::from_utf8(
        folder()
            .get("procedures/plain-acid.toml")
            .expect("there")
            .to_vec(),
    );
    let text = text.expect("is text");
    let unbalanced = text.replace("HCl + NaOH -> NaCl", "HCl + 2 NaOH -> NaCl");
    let answer = person
        .post_file("/course/procedures", "p.toml", unbalanced.as_bytes())
        .await;
    assert_eq!(answer.status, 422);
    for words in ["p.toml", "reactions", "Na", "The procedure was not taken"] {
        assert!(answer.body.contains(words), "{words} in {}", answer.body);
    }
    let latin = person
        .post_file("/course/procedures", "p.toml", b"title = \"\xe9\"")
        .await;
    assert_eq!(latin.status, 422);
    assert!(latin.body.contains("not UTF-8"), "{}", latin.body);
    // experiments follow a procedure as long as nothing is handed in for them
    let altered = text.replace("minimum = 2", "minimum = 3");
    let answer = person
        .post_file("/course/procedures", "p.toml", altered.as_bytes())
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let minimum = app
        .desk
        .view()
        .await
        .expect("a course")
        .term
        .experiment("acid")
        .expect("there")
        .procedure
        .trials
        .minimum;
    assert_eq!(minimum, 3);
    let mut student = app.person("0042").await;
    let form = acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.48");
    assert_eq!(
        student
            .post_form("/student/experiments/acid/hand-in", &form)
            .await
            .status,
        303
    );
    let answer = person
        .post_file("/course/procedures", "p.toml", text.as_bytes())
        .await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("1 have handed in for acid"),
        "{}",
        answer.body
    );
}

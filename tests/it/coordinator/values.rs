//! Experiments, procedures, lots and unknowns: what is refused, and what stays on record.

use concordant::desk::bring_in;
use concordant::files::demo_folder;
use concordant::judge::{Flag, FlagCode};

use super::{coordinator, done, refused};
use crate::app::TestApp;
use crate::week::{acid_form, app, folder};

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
        ("molarity", "0.1.0"),
        ("uncertainty", "-1"),
    ];
    refused(
        &mut person,
        "/course/lots",
        &lot,
        &["found “0.1.0”, expected a plain number", "value=\"-1\""],
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
    // then it is looked at first
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert!(
        answer.body.contains("Students have handed in"),
        "{}",
        answer.body
    );
}

#[tokio::test]
async fn an_unknown_that_does_not_fit_the_burette_is_remarked_on() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let page = person.get("/course/experiments/acid").await.body;
    assert!(
        page.contains("mL; all between 20 and 90 % of the burette")
            && page.contains("<p>Yes. A careful"),
        "{page}"
    );
    let unknown = [
        ("unknown", "U-9"),
        ("true_value", "0.05"),
        ("uncertainty", "0.0001"),
    ];
    let page = done(&mut person, "/course/experiments/acid/unknowns", &unknown).await;
    assert!(
        page.contains("10 % of the burette, expected 20 to 90 %"),
        "{page}"
    );
    let page = person.get("/course/experiments/acid").await.body;
    assert!(
        page.contains("1 of 3 not between 20 and 90 % of the burette"),
        "{page}"
    );
}

#[tokio::test]
async fn an_endpoint_that_will_not_be_sharp_is_remarked_on() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let text = concordant::files::shipped_procedure("well-water-hardness").expect("shipped");
    let text = text
        .replace("key = \"well-water-hardness\"", "key = \"sour-water\"")
        .replace("pH = \"10.0\"", "pH = \"5.0\"");
    let answer = person
        .post_file("/course/procedures", "p.toml", text.as_bytes())
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    for (key, procedure) in [("sour", "sour-water"), ("hard", "well-water-hardness")] {
        let experiment = [
            ("key", key),
            ("procedure", procedure),
            ("opens", "2026-01-01T09:00"),
            ("due", "2026-01-02T09:00"),
        ];
        done(&mut person, "/course/experiments", &experiment).await;
    }
    let page = person.get("/course/experiments/hard").await.body;
    assert!(
        page.contains("conditional constant of Ca²⁺ with EDTA is log K′ = 10.1")
            && page.contains("<p>Yes. A careful"),
        "{page}"
    );
    let page = person.get("/course/experiments/sour").await.body;
    assert!(
        page.contains("the endpoint will not be sharp; raise the pH to at least 8.1")
            && !page.contains("<p>Yes. A careful"),
        "{page}"
    );
}

#[tokio::test]
async fn a_bad_bottle_is_named_before_anything_is_released() {
    let app = TestApp::spawn_new().await;
    let now = app.clock.now();
    bring_in(&app.desk, &demo_folder(), "test", now)
        .await
        .expect("the demonstration course");
    let mut person = app.person("i.quell").await;
    let home = person.get("/course").await.body;
    assert!(home.contains("look at unknown W-07 first"), "{home}");
    let audit = person.get("/course/audit").await.body;
    assert!(
        audit.contains("1 of ") && audit.contains("assigned 465.3 mg/L"),
        "{audit}"
    );
    let release = person
        .get("/course/experiments/well-water-hardness/release")
        .await
        .body;
    assert!(
        release.contains("look at unknown W-07 first; the class does not find what was assigned"),
        "{release}"
    );
    // nobody who had it is accused, and whoever reviews somebody else reads nothing of it
    let view = app.desk.view().await.expect("a course");
    let (mut had_it, mut had_others) = (0, 0);
    for (slot, judged) in &view.judged {
        if slot.experiment != "well-water-hardness" {
            continue;
        }
        let had = judged.evaluation.unknown == "W-07";
        had_it += usize::from(had);
        let off = |flag: &Flag| flag.code == FlagCode::InconsistentTruth;
        let Some(flag) = judged.evaluation.flags.iter().find(|flag| off(flag)) else {
            continue;
        };
        let says = flag.evidence.contains("found by the class");
        assert_eq!(says, had, "{}: {}", slot.student, flag.evidence);
        had_others += usize::from(!had);
    }
    assert!(had_it > 0 && had_others > 0, "{had_it}, {had_others}");
}

/// An alarm is no less one because students have their points already.
#[tokio::test]
async fn an_alarm_stays_one_after_release() {
    let app = TestApp::spawn_new().await;
    let now = app.clock.now();
    bring_in(&app.desk, &demo_folder(), "test", now)
        .await
        .expect("the demonstration course");
    let mut person = app.person("i.quell").await;
    let at = "/course/experiments/well-water-hardness";
    let as_they_are = [("as_they_are", "yes")];
    done(&mut person, &format!("{at}/release"), &as_they_are).await;
    for page in [
        "/course",
        &format!("{at}/results"),
        &format!("{at}/release"),
    ] {
        let body = person.get(page).await.body;
        let (_, alarm) = body.split_once("class=\"alarm\"").expect("an alarm");
        let (alarm, _) = alarm.split_once("</section>").expect("its end");
        assert!(alarm.contains("look at unknown W-07 first"), "{page}");
        assert!(alarm.contains("The results are released"), "{page}");
        assert!(alarm.contains("See whose points"), "{page}");
    }
}

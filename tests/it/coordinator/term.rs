//! A term from nothing to released results.

use std::collections::BTreeMap;

use concordant::desk::output_files;

use super::{ROSTER, bring_roster, coordinator, done, refused};
use crate::app::TestApp;
use crate::week::{acid_form, folder};

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
    assert!(page.contains("HCl + NaOH"), "{page}");
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
    // the bottle is dealt by chance, so the hand-in may wait for a look
    let as_it_is = [("as_they_are", "yes")];
    let page = done(&mut person, &format!("{at}/release"), &as_it_is).await;
    assert!(page.contains("The results are released"), "{page}");
    assert!(
        app.desk
            .view()
            .await
            .expect("a course")
            .is_released(&crate::key("acid"))
    );

    for name in ["gradebook.csv", "results.csv", "flags.csv", "audit.csv"] {
        let answer = person.get(&format!("/course/{name}")).await;
        let files = output_files(&app.desk.view().await.expect("a course"));
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
    assert!(
        !app.desk
            .view()
            .await
            .expect("a course")
            .is_released(&crate::key("acid"))
    );
}

/// Counts differ by one at most, and neighbours of a section by their bottle.
async fn issued_fairly(app: &TestApp) {
    let view = app.desk.view().await.expect("a course");
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let bottle = |id: &str| {
        view.term
            .issued
            .get(&crate::slot("acid", id))
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

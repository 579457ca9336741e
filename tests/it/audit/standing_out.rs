//! Single results that stand out from the class, and outliers of their group.

use std::collections::BTreeMap;

use concordant::desk::bring_in;
use concordant::files::Folder;
use concordant::judge::{AuditGroup, AuditKind, GroupName, Observed, audit, outlier, scores};

use crate::app::TestApp;
use crate::reference::near;
use crate::week::folder;

fn observed(errors: &[f64], standard: f64) -> Vec<Observed> {
    let one = |error: &f64| Observed {
        error_percent: *error,
        standard_percent: standard,
        at_days: None,
        groups: vec![GroupName::new(AuditKind::Unknown, "U-1")],
    };
    errors.iter().map(one).collect()
}

/// Robust mean 0.087749 and s* 0.230663 by an Algorithm A of its own in another language; ζ by hand, in √(0.3² + 0.4²).
#[test]
fn a_result_is_scored_by_the_class_and_by_what_was_assigned() {
    let errors = [-0.15, -0.10, -0.05, 0.0, 0.0, 0.05, 0.10, 0.16, 0.70, 6.0];
    let results = observed(&errors, 0.3);
    let stated = BTreeMap::from([(GroupName::new(AuditKind::Unknown, "U-1"), 0.4)]);
    let found = scores(&results, &stated).expect("scores");
    near(found.class.mean, 0.087_748_656_5, 1e-9, "x*");
    near(found.class.s, 0.230_663_084_0, 1e-9, "s*");
    let places: Vec<usize> = found.standing_out.iter().map(|one| one.result).collect();
    assert_eq!(places, [9, 8]);
    near(found.standing_out[0].z, 25.631_545_541, 1e-8, "z");
    near(found.standing_out[1].z, 2.654_310_055_7, 1e-8, "z");
    near(found.standing_out[0].zeta.expect("ζ"), 12.0, 1e-12, "ζ");
    near(found.standing_out[1].zeta.expect("ζ"), 1.4, 1e-12, "ζ");
    let unknown = scores(&results, &BTreeMap::new()).expect("scores");
    assert_eq!(unknown.standing_out[0].zeta, None);
    assert_eq!(scores(&results[..3], &stated), None);
    assert_eq!(scores(&observed(&[1.0; 6], 0.3), &stated), None);
}

/// ISO 5725-2:1994, Table 5: of ten results, one at 1 % lies further than 2.482 s from their mean.
#[test]
fn an_outlier_of_a_group_is_named_at_one_percent() {
    let of = |errors: &[f64]| -> Option<Option<usize>> {
        let results = observed(errors, 0.3);
        let groups: Vec<AuditGroup> = audit(&results, &BTreeMap::new());
        outlier(&results, &groups[0])
    };
    let mut errors = [-0.15, -0.10, -0.05, 0.0, 0.0, 0.05, 0.10, 0.16, 0.05, 6.0];
    assert_eq!(of(&errors), Some(Some(9)));
    errors[9] = 0.2;
    assert_eq!(of(&errors), Some(None));
    assert_eq!(of(&errors[..2]), None);
}

/// Ten students with one bottle of 0.20371 mol/L, which gives 20.33 mL; the last reads 6 % more.
#[tokio::test]
async fn the_page_names_who_stands_out_and_lists_ten_at_most() {
    let ends = [
        "20.30", "20.31", "20.32", "20.33", "20.33", "20.34", "20.35", "20.36", "20.32", "21.55",
    ];
    let mut course = Folder::default();
    let replaced = ["roster.csv", "issued.csv"];
    for (path, bytes) in folder()
        .files()
        .filter(|(path, _)| !replaced.contains(path))
    {
        course.insert(path, bytes.to_vec()).expect("room");
    }
    let mut roster =
        "student_id,family_name,given_name,section\n0051,Ruhl,Seraphine,B\n".to_owned();
    let mut issued = "experiment,student_id,unknown\n".to_owned();
    let mut readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n".to_owned();
    for (n, end) in ends.iter().enumerate() {
        let id = format!("10{n:02}");
        roster.push_str(&format!("{id},Family{n},Given,A\n"));
        issued.push_str(&format!("acid,{id},U-1\n"));
        for trial in [1, 2] {
            readings.push_str(&format!("{id},{trial},N-1,,0.00,{end}\n"));
        }
    }
    let files = [
        ("roster.csv", roster),
        ("issued.csv", issued),
        ("readings/acid.csv", readings),
    ];
    for (path, text) in files {
        course.insert(path, text.into_bytes()).expect("room");
    }
    let app = TestApp::spawn().await;
    bring_in(&app.desk, &course, "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    let mut coordinator = app.person("i.quell").await;
    let page = coordinator.get("/course/experiments/acid/audit").await.body;
    let (_, section) = page
        .split_once("Results that stand out")
        .expect("a section");
    let (section, _) = section
        .split_once("Every result")
        .expect("then all of them");
    assert!(section.contains("The class of 10 results"), "{section}");
    assert!(
        section.contains("<th scope=\"row\">Family9, Given</th>"),
        "{section}"
    );
    assert!(section.contains("unsatisfactory"), "{section}");
    assert_eq!(section.matches("scope=\"row\"").count(), 1, "{section}");
    // bottle, lot, section and assistant hold the same ten students
    assert!(
        section.contains(
            "In 4 groups of three results or more, 1 result lies further out than chance allows"
        ),
        "{section}"
    );
    assert!(
        section.contains("Family9, Given (1009), +6.00 %: in unknown U-1, titrant lot N-1, section A, assistant b.tarn"),
        "{section}"
    );
}

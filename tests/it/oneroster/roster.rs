//! A roster out of an exchange, and onto the course.

use std::io::{Cursor, Write as _};

use concordant::files::oneroster::{RosterChoice, StudentKey, read_roster_package};
use zip::write::SimpleFileOptions;

use super::{ROSTER, roster_with};
use crate::week;

fn choice(course: &str) -> RosterChoice {
    RosterChoice {
        course: course.to_owned(),
        ..RosterChoice::default()
    }
}

fn faults(changed: &[(&str, &str, &str)], choice: &RosterChoice) -> Vec<String> {
    let faults = read_roster_package(&roster_with(changed), choice).expect_err("has faults");
    faults.iter().map(ToString::to_string).collect()
}

#[test]
fn students_come_with_the_sections_their_classes_are() {
    let students = read_roster_package(&roster_with(&[]), &choice("CHM 210")).expect("is sound");
    let said: Vec<String> = students
        .iter()
        .map(|s| format!("{} {} | {} | {}", s.id, s, s.section, s.email))
        .collect();
    // the teacher, the student who has left and the one of the other course are not among them
    assert_eq!(
        said,
        [
            "0042 Fennimore, Ada | Monday, bay 2 | ada@lab.example",
            "0043 Okafor-Lind, jr, Tobias | Monday, bay 2 | ",
            "0051 Ruhl, Seraphine | Thursday | S.Ruhl@lab.example",
        ]
    );
    for course in ["Quantitative analysis", "crs-q"] {
        assert_eq!(
            read_roster_package(&roster_with(&[]), &choice(course)).as_ref(),
            Ok(&students)
        );
    }
    let by = |key| {
        let choice = RosterChoice {
            key,
            ..choice("crs-q")
        };
        let students = read_roster_package(&roster_with(&[]), &choice).expect("is sound");
        students[2].id.clone()
    };
    assert_eq!(by(StudentKey::Username), "ruhls");
    assert_eq!(by(StudentKey::SourcedId), "u-3");
    // titles that do not tell the classes apart give way to their codes
    let alike = roster_with(&[(
        "classes.csv",
        "Thursday",
        "\"Monday, bay 2\"".trim_matches('"'),
    )]);
    assert!(
        read_roster_package(&alike, &choice("crs-q")).is_err(),
        "a comma outside quotation marks"
    );
    let alike = roster_with(&[("classes.csv", "Thursday", "\"Monday, bay 2\"")]);
    let students = read_roster_package(&alike, &choice("crs-q")).expect("is sound");
    assert_eq!(students[2].section, "Q2");
}

#[test]
fn version_1_2_needs_no_roles_of_users() {
    let manifest = [
        (
            "manifest.csv",
            "oneroster.version,1.1",
            "oneroster.version,1.2",
        ),
        (
            "users.csv",
            ",orgSourcedIds,role,",
            ",metadata.a,metadata.b,",
        ),
    ];
    let students =
        read_roster_package(&roster_with(&manifest), &choice("crs-q")).expect("is sound");
    assert_eq!(students.len(), 3);
}

#[test]
fn what_cannot_be_read_is_named() {
    let all = choice("");
    let one = choice("crs-q");
    assert_eq!(
        faults(
            &[("manifest.csv", "file.users,bulk", "file.users,delta")],
            &one
        ),
        [
            "manifest.csv, column file.users: found “delta”, expected bulk: a delta exchange holds only what changed, and a roster is compared as a whole"
        ]
    );
    assert_eq!(
        faults(&[("manifest.csv", "version,1.1", "version,1.0")], &one),
        ["manifest.csv, column value: found “1.0”, expected oneroster.version 1.1 or 1.2"]
    );
    assert_eq!(
        faults(&[], &all),
        [
            "enrollments.csv:8, column classSourcedId: found u-1 as a student of the classes cls-1 and cls-9, expected one class for each: say which course is meant"
        ]
    );
    assert_eq!(
        faults(&[], &choice("Alchemy")),
        [
            "courses.csv: found “Alchemy”, expected title, code or sourcedId of one of the courses Quantitative analysis, Organic preparation"
        ]
    );
    assert_eq!(
        faults(&[("users.csv", ",0043,", ",,")], &one),
        [
            "users.csv:3, column identifier: found nothing, expected 1 to 40 characters on one line; another column can be chosen as the student id"
        ]
    );
    assert_eq!(
        faults(&[("users.csv", ",0043,", ",0042,")], &one),
        [
            "users.csv:3, column identifier: found “0042” again, expected it once: line 2 has it already"
        ]
    );
    assert_eq!(
        faults(&[("enrollments.csv", "u-2", "u-8")], &one),
        ["enrollments.csv, column userSourcedId: found “u-8”, expected a user of users.csv"]
    );
    assert_eq!(
        faults(&[("users.csv", "givenName", "forename")], &one),
        ["users.csv:1, column givenName: found no column givenName, expected one"]
    );
    assert_eq!(
        faults(
            &[("manifest.csv", "file.classes,bulk", "file.classes,absent")],
            &one
        )[0],
        "manifest.csv, column file.classes: found “absent”, expected bulk"
    );
}

fn zip() -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (path, text) in ROSTER {
        zip.start_file(path, SimpleFileOptions::default())
            .expect("starts");
        zip.write_all(text.as_bytes()).expect("is written");
    }
    zip.finish().expect("ends").into_inner()
}

#[tokio::test]
async fn an_exchange_comes_onto_the_roster_after_a_look() {
    let app = week::app().await;
    let mut person = app.person("i.quell").await;
    let fields = [("key", "identifier"), ("course", "CHM 210")];
    let files: Vec<(&str, &[u8])> = ROSTER.iter().map(|(n, t)| (*n, t.as_bytes())).collect();
    // in one zip file or one by one
    let packed = zip();
    for sent in [vec![("ardnish.zip", packed.as_slice())], files] {
        let page = person
            .post_files("/course/roster/oneroster", &fields, &sent)
            .await;
        assert_eq!(page.status, 200, "{}", page.body);
        assert!(page.body.contains("3 changed"), "{}", page.body);
        assert!(page.body.contains("0 join the roster"), "{}", page.body);
    }
    let page = person
        .post_files("/course/roster/oneroster", &fields, &[("a.zip", &packed)])
        .await;
    let text = page
        .body
        .split("name=\"text\" value=\"")
        .nth(1)
        .expect("a roster");
    let text = text
        .split("\">")
        .next()
        .unwrap_or_default()
        .replace("&#34;", "\"");
    let done = person
        .post_form("/course/roster/confirm", &[("text", &text)])
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let view = app.desk.view().await.expect("a course");
    assert_eq!(
        view.term.student("0043").map(|s| s.family_name.as_str()),
        Some("Okafor-Lind, jr")
    );
    assert_eq!(
        view.term.student("0051").map(|s| s.section.as_str()),
        Some("Thursday")
    );
    drop(view);
    let refused = person
        .post_files("/course/roster/oneroster", &[], &[("a.zip", &packed)])
        .await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("say which course is meant"),
        "{}",
        refused.body
    );
    let none = person
        .post_files("/course/roster/oneroster", &[], &[])
        .await;
    assert_eq!(none.status, 422);
    assert!(none.body.contains("found no manifest.csv"), "{}", none.body);
}

//! The coordinator's work over HTTP: from an empty database to released results.

mod corrections;
mod files;
pub mod office;
mod people;
mod term;
mod term_office;
mod values;

use crate::app::{Person, TestApp};

pub const ROSTER: &str = "student_id,family_name,given_name,section\n\
    0042,Fennimore,Ada,A\n0043,Okafor-Lind,Tobias,A\n0044,\"'=Ruhl()\",Sera,A\n0051,Ash,Ivo,B\n0052,Birk,Una,B\n";

pub async fn coordinator() -> (TestApp, Person) {
    let app = TestApp::spawn_new().await;
    let person = app.person("i.quell").await;
    (app, person)
}

pub async fn with_course() -> (TestApp, Person) {
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
pub async fn done(person: &mut Person, path: &str, fields: &[(&str, &str)]) -> String {
    let answer = person.post_form(path, fields).await;
    assert_eq!(answer.status, 303, "{path}: {}", answer.body);
    let page = person.get(answer.location()).await;
    assert_eq!(page.status, 200, "{}", page.body);
    page.body
}

/// Posts a form that is refused with these words in the page.
pub async fn refused(person: &mut Person, path: &str, fields: &[(&str, &str)], words: &[&str]) {
    let answer = person.post_form(path, fields).await;
    assert_eq!(answer.status, 422, "{path}: {}", answer.body);
    for word in words {
        assert!(answer.body.contains(word), "{word} in {}", answer.body);
    }
}

pub async fn bring_roster(person: &mut Person, csv: &str) -> String {
    let preview = person
        .post_file("/course/roster/preview", "roster.csv", csv.as_bytes())
        .await;
    assert_eq!(preview.status, 200, "{}", preview.body);
    assert!(preview.body.contains("Nothing is changed yet"));
    done(person, "/course/roster/confirm", &[("text", csv)]).await
}

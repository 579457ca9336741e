//! Courses with a bench group, and with enough students for a picture of the class.

use concordant::desk::bring_in;
use concordant::files::Folder;

use crate::app::{Answer, Person, TestApp};
use crate::week::{self, acid_form};

async fn with_files(changes: &[(&str, String)]) -> TestApp {
    let app = TestApp::spawn().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        if !changes.iter().any(|(other, _)| *other == path) {
            folder.insert(path, bytes.to_vec()).expect("room");
        }
    }
    for (path, text) in changes {
        folder
            .insert(path, text.clone().into_bytes())
            .expect("room");
    }
    let now = app.clock.now();
    bring_in(&app.desk, &folder, "test", now)
        .await
        .expect("imported");
    app
}

/// 0042 and 0043 share readings of the acid.
pub async fn group_of_two() -> TestApp {
    let groups = "experiment,student_id,group\nacid,0042,g1\nacid,0043,g1\n".to_owned();
    with_files(&[("groups.csv", groups)]).await
}

/// 0042 and twelve others have handed in the acid.
pub async fn class_of_twelve() -> TestApp {
    class_of(12).await
}

/// 0042 and so many others have handed in the acid.
pub async fn class_of(others: usize) -> TestApp {
    let mut roster = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,A\n0043,Okafor-Lind,Tobias,A\n0051,Ruhl,Seraphine,B\n".to_owned();
    let mut issued = "experiment,student_id,unknown\nacid,0042,U-1\n".to_owned();
    let mut readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n".to_owned();
    for n in 0..others {
        let end = format!("20.{:02}", 20 + n * 3);
        roster.push_str(&format!("c{n},Other{n},One,B\n"));
        issued.push_str(&format!("acid,c{n},U-1\n"));
        readings.push_str(&format!("c{n},1,N-1,,0.00,{end}\nc{n},2,N-1,,0.00,{end}\n"));
    }
    with_files(&[
        ("roster.csv", roster),
        ("issued.csv", issued),
        ("readings/acid.csv", readings),
    ])
    .await
}

/// Hands in two trials that deliver these ends.
pub async fn hand_in_as(app: &TestApp, login: &str, first: &str, second: &str) -> (Person, Answer) {
    let mut student = app.person(login).await;
    let key = format!("{login:0>32}");
    let form = acid_form(&key, "0", first, second);
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    (student, answer)
}

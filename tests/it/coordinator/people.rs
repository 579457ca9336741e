//! Roster, slips and staff.

use super::{ROSTER, bring_roster, done, refused, with_course};

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
        "autumn.csv, line 3, student_id",
        "autumn.csv, line 4, student_id",
        "autumn.csv, line 5",
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
        "1 changed",
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

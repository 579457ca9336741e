//! What people choose of their mail, and what the coordinator sees of it.

use concordant::desk::accounts::By;
use concordant::desk::{Retirement, retire};
use concordant::ids::StudentId;
use jiff::SignedDuration;
use jiff::civil::date;

use super::{Office, addresses};

const LIST: &str = "/course/mail";

#[tokio::test]
async fn whoever_turns_mail_off_gets_codes_alone() {
    let office = Office::open().await;
    let mut ada = office.app.person("0042").await;
    let page = ada.get("/mail").await.body;
    assert!(
        page.contains("<strong>ada@students.example</strong>") && page.contains("checked"),
        "{page}"
    );
    let done = ada.post_form("/mail", &[]).await;
    let page = ada.get(done.location()).await.body;
    assert!(
        page.contains("Kept.") && !page.contains("checked"),
        "{page}"
    );
    office.release(None, true).await;
    assert_eq!(
        addresses(&office.mail().await),
        ["s.ruhl@students.example", "tobias@students.example"]
    );
    let mut coordinator = office.app.person("i.quell").await;
    let asked = coordinator
        .post_form("/course/codes", &[("login", "0042")])
        .await;
    assert_eq!(asked.status, 303, "{}", asked.body);
    assert!(
        coordinator
            .get(asked.location())
            .await
            .body
            .contains("1 code goes out.")
    );
    // once more while it is on its way is passed over
    let again = coordinator
        .post_form("/course/codes", &[("login", "0042")])
        .await;
    let page = coordinator.get(again.location()).await.body;
    assert!(
        page.contains("0 codes go out. 1 student was passed over"),
        "{page}"
    );
    let mail = office.mail().await;
    assert_eq!(addresses(&mail), ["ada@students.example"]);
    assert!(
        !mail[0].text().contains("/mail"),
        "codes cannot be turned off"
    );
    let news = office.app.person("0043").await.get("/access").await.body;
    assert!(!news.contains("by mail"), "{news}");
    let record = coordinator.get("/course/access?who=0042").await.body;
    assert!(
        record.contains("a one-time code was asked for by mail"),
        "{record}"
    );
}

#[tokio::test]
async fn a_section_gets_codes_where_no_password_is_set() {
    let office = Office::open().await;
    let _ada = office.app.person("0042").await;
    let mut coordinator = office.app.person("i.quell").await;
    let page = coordinator.get(LIST).await.body;
    assert!(page.contains("A (1 without a password)"), "{page}");
    let done = coordinator
        .post_form("/course/codes", &[("section", "A")])
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    assert_eq!(addresses(&office.mail().await), ["tobias@students.example"]);
    let nobody = coordinator
        .post_form("/course/codes", &[("section", "C")])
        .await;
    assert_eq!(nobody.status, 422);
    let staff = coordinator
        .post_form("/course/codes", &[("login", "b.tarn")])
        .await;
    let page = coordinator.get(staff.location()).await.body;
    assert!(
        page.contains("0 codes go out."),
        "codes of staff go by slips: {page}"
    );
}

#[tokio::test]
async fn an_assistant_hears_in_the_morning_what_waits() {
    let office = Office::open().await;
    let mut assistant = office.app.person("b.tarn").await;
    let wrong = assistant
        .post_form("/mail", &[("address", "bo at example"), ("wanted", "yes")])
        .await;
    assert_eq!(wrong.status, 422);
    assert!(
        wrong
            .body
            .contains("expected an address such as bo@example.edu")
            && wrong.body.contains("bo at example"),
        "{}",
        wrong.body
    );
    let done = assistant
        .post_form(
            "/mail",
            &[("address", "bo@staff.example"), ("wanted", "yes")],
        )
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let view = office.app.desk.view().await.expect("a course");
    let until = |hour: i8| {
        while view.term.course.zone.local(office.app.clock.now()).hour() != hour {
            office.app.clock.put_forward(SignedDuration::from_mins(20));
        }
    };
    until(15);
    assert!(office.mail().await.is_empty(), "not in the afternoon");
    until(7);
    let mail = office.mail().await;
    assert_eq!(addresses(&mail), ["bo@staff.example"]);
    let text = mail[0].text();
    let waiting = view
        .judged
        .values()
        .filter(|one| one.status == concordant::term::Status::ToReview)
        .count();
    assert!(waiting > 0);
    assert!(
        text.contains(&format!("Acid in a plain solution: {waiting} to review")),
        "{text}"
    );
    assert!(
        text.contains("https://lab.example.edu/review?experiment=acid"),
        "{text}"
    );
    assert!(!text.contains("0042") && !text.contains("Ada"), "{text}");
    until(9);
    assert!(office.mail().await.is_empty(), "once a day");
    until(12);
    until(7);
    assert_eq!(office.mail().await.len(), 1, "and the next day again");
    // days later a session has ended
    let mut assistant = office.app.person("b.tarn").await;
    assistant
        .post_form("/mail", &[("address", "bo@staff.example")])
        .await;
    until(12);
    until(7);
    assert!(office.mail().await.is_empty());
}

#[tokio::test]
async fn the_coordinator_sees_of_each_mail_what_became_of_it_and_not_what_it_says() {
    let office = Office::open().await;
    let mut coordinator = office.app.person("i.quell").await;
    let page = coordinator.get(LIST).await.body;
    assert!(
        page.contains("It is on.") && page.contains("None."),
        "{page}"
    );
    office.release(None, true).await;
    office.catcher.set(|mood| {
        mood.answers.insert(
            "ada@students.example".into(),
            "550 5.2.1 <ada@students.example> closed".into(),
        );
        mood.answers
            .insert("tobias@students.example".into(), "452 4.2.2 full".into());
    });
    office.mail().await;
    let page = coordinator.get(LIST).await.body;
    for text in [
        "1 sent",
        "1 waiting",
        "1 refused",
        "0 not sent",
        "550",
        "closed",
        "452",
        "next try",
        "s.ruhl@students.example",
        "results are out: Acid in a plain solution",
    ] {
        assert!(page.contains(text), "{text} in {page}");
    }
    assert!(!page.contains("Yours are here"), "{page}");
    let refused = coordinator.get("/course/mail?state=refused").await.body;
    assert!(
        refused.contains("closed") && !refused.contains("s.ruhl@students.example"),
        "{refused}"
    );
    let off = coordinator.post_form(LIST, &[("wanted", "no")]).await;
    assert!(
        coordinator
            .get(off.location())
            .await
            .body
            .contains("It is off.")
    );
    assert_eq!(coordinator.post_form(LIST, &[]).await.status, 422);
}

#[tokio::test]
async fn who_is_taken_out_has_no_address_there_any_more() {
    let office = Office::open().await;
    let mut ada = office.app.person("0042").await;
    let made = ada.post_form("/mail/calendar", &[]).await;
    assert_eq!(made.status, 303);
    ada.post_form("/mail", &[("wanted", "yes")]).await;
    office.release(Some("A"), true).await;
    assert_eq!(office.mail().await.len(), 2);
    office.release(Some("A"), false).await;
    office
        .decide("0042", concordant::term::Ruling::Return, "again")
        .await;
    office.catcher.set(|mood| {
        mood.answers
            .insert("ada@students.example".into(), "450 4.2.1 later".into());
    });
    office.mail().await;
    let asked = Retirement {
        before: date(2199, 1, 1),
        students: vec![StudentId::new("0042")],
        texts_only: false,
    };
    let done = retire(
        &office.app.desk,
        &asked,
        By::COMMAND_LINE,
        office.app.clock.now(),
    )
    .await;
    done.expect("taken out");
    let mut coordinator = office.app.person("i.quell").await;
    let page = coordinator.get(LIST).await.body;
    assert!(
        page.contains("somebody taken out") && page.contains("who it was for was taken out"),
        "{page}"
    );
    assert!(
        !page.contains("ada@") && page.contains("tobias@students.example"),
        "{page}"
    );
    office.catcher.set(|mood| mood.answers.clear());
    office.app.clock.put_forward(SignedDuration::from_hours(5));
    assert!(office.mail().await.is_empty());
    let file = std::fs::read(office.app.database()).expect("is there");
    assert!(
        !file.windows(12).any(|part| part == b"ada@students"),
        "nor in the file"
    );
}

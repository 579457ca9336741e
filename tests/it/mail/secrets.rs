//! Every mail of a busy class, searched for what no mail may hold.

use std::collections::BTreeSet;

use concordant::changes::SetRelease;
use concordant::course::Student;
use concordant::desk::accounts::{AccountId, By, Kind};
use concordant::desk::decide;
use concordant::desk::mail::{ask_for_codes, choose_own};
use concordant::files::{demo_folder, read_term};
use concordant::term::{Ruling, Status};
use jiff::SignedDuration;

use super::{Caught, Office, addresses};
use crate::app::TestApp;

const REASON: &str = "the burette was read 0.1 mL too low, I think";

/// The demonstration course with addresses, everything that mails speak of done in it, and all the mail it sends.
async fn busy() -> (Office, Vec<Caught>) {
    let mut term = read_term(&demo_folder()).expect("is sound");
    let students = term.students.clone();
    for student in &students {
        let email = format!("s{}@students.example", student.id);
        term.students.put(&Student {
            email,
            ..student.clone()
        });
    }
    let office = Office::open_with(TestApp::spawn_new().await, term).await;
    let desk = &office.app.desk;
    let now = || office.app.clock.now();
    let view = desk.view().await.expect("a course");
    let experiments: Vec<_> = view
        .term
        .experiments
        .iter()
        .map(|one| one.key.clone())
        .collect();
    let all = async |out: bool| {
        for experiment in &experiments {
            let change = SetRelease {
                experiment: experiment.clone(),
                section: None,
                released_at: out.then(now),
            };
            let made = desk.apply(vec![change.into()], "test", now());
            made.await.expect("done");
        }
    };
    all(false).await;
    let to_review = view
        .judged
        .iter()
        .filter(|(_, judged)| judged.status == Status::ToReview);
    let to_review: Vec<_> = to_review.map(|(slot, _)| slot.clone()).collect();
    assert!(to_review.len() > 5, "{}", to_review.len());
    for slot in to_review.iter().step_by(2) {
        let seen = view.term.submissions.get(slot).map_or(0, Vec::len);
        // readings that are shared are settled where they were handed in
        if seen > 0 {
            let done = decide(
                desk,
                slot.clone(),
                Ruling::Return,
                REASON,
                seen,
                ("test", now()),
            );
            done.await.expect("decided");
        }
    }
    all(true).await;
    for one in &view.term.staff {
        let id = AccountId {
            kind: Kind::Staff,
            login: one.login.clone(),
        };
        let address = format!("{}@staff.example", one.login);
        choose_own(desk, &id, true, &address).await.expect("chosen");
    }
    let logins: Vec<String> = view
        .term
        .students
        .iter()
        .map(|s| s.id.to_string())
        .collect();
    ask_for_codes(desk, &logins, By::COMMAND_LINE, now())
        .await
        .expect("asked");
    // the next morning
    let zone = &view.term.course.zone;
    while zone.local(now()).hour() != 8 {
        office.app.clock.put_forward(SignedDuration::from_mins(30));
    }
    let mail = office.mail().await;
    (office, mail)
}

/// Texts that look like numbers, with the point inside.
fn numbers(text: &str) -> BTreeSet<String> {
    let parts = text.split(|c: char| !c.is_ascii_digit() && c != '.');
    let parts = parts.map(|part| part.trim_matches('.').to_owned());
    parts.filter(|part| !part.is_empty()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_mail_holds_a_value_a_grade_a_reading_or_a_note() {
    let (office, mail) = busy().await;
    let view = office.app.desk.view().await.expect("a course");
    let of = |what: &str| {
        let about = move |one: &&Caught| one.header("Subject").contains(what);
        mail.iter().filter(about).collect::<Vec<_>>()
    };
    let (released, returned) = (of("Results are out"), of("Returned to you"));
    let (codes, digests) = (of("A code to set"), of("Waiting for you"));
    let enrolled = view.term.enrolled().count();
    assert_eq!(released.len(), enrolled * view.term.experiments.len());
    assert_eq!(codes.len(), enrolled);
    assert!(returned.len() > 2, "{}", returned.len());
    assert!(!digests.is_empty() && digests.iter().all(|one| one.to.ends_with("@staff.example")));
    assert_eq!(
        mail.len(),
        released.len() + returned.len() + codes.len() + digests.len()
    );

    let mut secret = BTreeSet::new();
    for unknown in view.term.unknowns.values().flat_map(|of| of.values()) {
        secret.insert(unknown.truth.open().value.normalize().to_string());
    }
    assert!(secret.len() > 10, "{secret:?}");
    for judged in view.judged.values() {
        let evaluation = &judged.evaluation;
        if let Some(outcome) = &evaluation.outcome {
            for places in 3..7 {
                secret.insert(
                    outcome
                        .result
                        .round_sf(places)
                        .expect("in range")
                        .to_string(),
                );
            }
        }
        secret.insert(evaluation.marks.total.to_string());
    }
    // whole points may be a day of the month, too: mails without any number hold none of them
    let telling: BTreeSet<_> = secret.iter().filter(|one| one.contains('.')).collect();
    for one in &mail {
        let all = format!("{}\n{}\n{}", one.raw, one.text(), one.header("Subject"));
        for number in numbers(&one.text()) {
            assert!(!telling.contains(&number), "{number} in {all}");
        }
        for part in ["0.1 mL", "burette", "I think"] {
            assert!(!all.contains(part), "{part} in {all}");
        }
    }
    for one in released.iter().chain(&returned) {
        let text = one.text();
        let said = text.replace(&view.term.course.term, "");
        let said = said.lines().filter(|line| !line.contains("https://"));
        let said: String = said.collect();
        // a title may name a number, such as 0.1 mol/L
        let title = view
            .term
            .experiments
            .iter()
            .map(|one| one.procedure.title.as_str());
        let said = title.fold(said, |said, title| said.replace(title, ""));
        assert!(!said.contains(|c: char| c.is_ascii_digit()), "{text}");
    }
    for one in &digests {
        for student in &view.term.students {
            let text = one.text();
            let named = [
                student.id.as_str(),
                &student.family_name,
                &student.given_name,
            ];
            let words: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).collect();
            assert!(
                !named.iter().any(|name| words.contains(name)),
                "{named:?} in {text}"
            );
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_code_is_in_the_mail_of_its_owner_alone_and_nowhere_in_the_file() {
    let (office, mail) = busy().await;
    let code = |text: &str| {
        let line = text
            .lines()
            .find_map(|line| line.trim().strip_prefix("code "));
        line.map(|code| code.trim().to_owned())
    };
    let codes: Vec<(String, String)> = mail
        .iter()
        .filter_map(|one| Some((one.to.clone(), code(&one.text())?)))
        .collect();
    assert!(codes.len() > 20, "{}", addresses(&mail).len());
    let distinct: BTreeSet<&str> = codes.iter().map(|(_, code)| code.as_str()).collect();
    assert_eq!(distinct.len(), codes.len());
    for (to, code) in &codes {
        let holding = mail.iter().filter(|one| one.text().contains(code.as_str()));
        let holding: Vec<&str> = holding.map(|one| one.to.as_str()).collect();
        assert_eq!(holding, [to.as_str()]);
    }
    // the file and its log hold hashes
    let file = office.app.database();
    for end in ["", "-wal"] {
        let mut name = file.clone().into_os_string();
        name.push(end);
        let bytes = std::fs::read(&name).expect("is there");
        let text = String::from_utf8_lossy(&bytes);
        for (_, code) in &codes {
            for written in [code.clone(), code.replace('-', "")] {
                let held = text.contains(&written);
                assert!(!held, "a code is in {}", name.display());
            }
        }
    }
    // and it works, once, as one from a slip
    let (to, code) = &codes[0];
    let login = to
        .trim_start_matches('s')
        .split('@')
        .next()
        .expect("a number");
    let fields = [
        ("login", login),
        ("code", code.as_str()),
        ("password", crate::app::PASSWORD),
        ("repeat", crate::app::PASSWORD),
    ];
    let mut person = office.app.stranger();
    assert_eq!(person.post_open("/claim", &fields).await.status, 303);
    assert_eq!(
        office
            .app
            .stranger()
            .post_open("/claim", &fields)
            .await
            .status,
        422
    );
    let events = person.get("/access").await.body;
    assert!(
        events.contains("a one-time code was asked for by mail"),
        "{events}"
    );
}

//! The second step of signing in, with a device of our own.

use concordant::desk::accounts::AccountId;
use concordant::desk::accounts::Kind;
use hmac::{Hmac, KeyInit, Mac};
use jiff::SignedDuration;
use sha1::Sha1;

use crate::app::{Answer, PASSWORD, Person, TestApp};

/// What a device shows: RFC 6238 by itself, from the key as the page shows it.
pub fn device(key: &str, at: jiff::Timestamp) -> String {
    let (mut bits, mut held, mut secret) = (0_u32, 0_u32, Vec::new());
    for letter in key.bytes() {
        let five = match letter {
            b'A'..=b'Z' => letter - b'A',
            _ => letter - b'2' + 26,
        };
        bits = (bits << 5) | u32::from(five);
        held += 5;
        if held >= 8 {
            held -= 8;
            secret.push(u8::try_from((bits >> held) & 0xff).expect("a byte"));
        }
    }
    let step = u64::try_from(at.as_second() / 30).expect("after 1970");
    let mut mac = <Hmac<Sha1> as KeyInit>::new_from_slice(&secret).expect("a key");
    mac.update(&step.to_be_bytes());
    let digest = mac.finalize().into_bytes();
    let offset = usize::from(digest[19] & 15);
    let number = (u32::from(digest[offset]) & 0x7f) << 24
        | u32::from(digest[offset + 1]) << 16
        | u32::from(digest[offset + 2]) << 8
        | u32::from(digest[offset + 3]);
    format!("{:06}", number % 1_000_000)
}

/// The text of the next element of that class.
pub fn next_code(page: &str, after: &str) -> String {
    let rest = page.split(after).nth(1).expect(after);
    let rest = rest.split("class=\"code\">").nth(1).expect("a code");
    rest.split('<').next().unwrap_or_default().to_owned()
}

pub fn hidden(page: &str, name: &str) -> String {
    let rest = page.split(&format!("name=\"{name}\" value=\"")).nth(1);
    let rest = rest.unwrap_or_else(|| panic!("no field {name} in {page}"));
    rest.split('"').next().unwrap_or_default().to_owned()
}

/// Sets it up, and returns the key and the recovery codes.
async fn set_up(app: &TestApp, person: &mut Person) -> (String, Vec<String>) {
    let begun = person.post_form("/second-step/begin", &[]).await;
    assert_eq!(begun.location(), "/second-step");
    let page = person.get("/second-step").await.body;
    assert!(page.contains("<svg class=\"qr\""), "{page}");
    let key = next_code(&page, "Key:");
    let wrong = person
        .post_form("/second-step/confirm", &[("code", "000000")])
        .await;
    assert_eq!(wrong.status, 422, "{}", wrong.body);
    let code = device(&key, app.clock.now());
    let on = person
        .post_form("/second-step/confirm", &[("code", &code)])
        .await;
    assert_eq!(on.status, 200, "{}", on.body);
    let codes = on.body.split("<li class=\"code\">").skip(1);
    let codes: Vec<String> = codes
        .map(|rest| rest.split('<').next().unwrap_or_default().to_owned())
        .collect();
    assert_eq!(codes.len(), 10);
    (key, codes)
}

async fn password(person: &mut Person, login: &str) -> Answer {
    let right = [
        ("login", login),
        ("password", PASSWORD),
        ("next", "/course/files"),
    ];
    person.post_open("/sign-in", &right).await
}

async fn code(person: &mut Person, ticket: &str, code: &str) -> Answer {
    let fields = [
        ("ticket", ticket),
        ("code", code),
        ("next", "/course/files"),
    ];
    person.post_open("/sign-in/code", &fields).await
}

#[tokio::test]
async fn a_password_alone_lets_nobody_in_once_the_second_step_is_on() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    let (key, recovery) = set_up(&app, &mut coordinator).await;
    let used = device(&key, app.clock.now());
    let mut visitor = app.stranger();
    let asked = password(&mut visitor, "i.quell").await;
    assert_eq!(
        (asked.status, visitor.cookie()),
        (200, None),
        "no session yet"
    );
    let ticket = hidden(&asked.body, "ticket");
    assert_eq!(hidden(&asked.body, "next"), "/course/files");
    // the code that turned it on is not taken again
    assert_eq!(code(&mut visitor, &ticket, &used).await.status, 422);
    app.clock.put_forward(SignedDuration::from_secs(60));
    let fresh = device(&key, app.clock.now());
    let entered = code(&mut visitor, &ticket, &fresh).await;
    let told = "/access?next=%2Fcourse%2Ffiles";
    assert_eq!((entered.status, entered.location()), (303, told));
    assert_eq!(visitor.get("/course").await.status, 200);
    // neither ticket nor code works twice
    let mut second = app.stranger();
    assert_eq!(code(&mut second, &ticket, &fresh).await.status, 422);
    let asked = password(&mut second, "i.quell").await;
    let ticket = hidden(&asked.body, "ticket");
    assert_eq!(code(&mut second, &ticket, &fresh).await.status, 422);
    // a recovery code does, once
    let entered = code(&mut second, &ticket, &recovery[0].to_lowercase()).await;
    assert_eq!(entered.status, 303, "{}", entered.body);
    let asked = password(&mut second, "i.quell").await;
    let ticket = hidden(&asked.body, "ticket");
    assert_eq!(code(&mut second, &ticket, &recovery[0]).await.status, 422);
    // and a ticket is too old after a while
    app.clock.put_forward(SignedDuration::from_mins(10));
    let late = code(&mut second, &ticket, &recovery[1]).await;
    assert!(
        late.status == 422 && late.body.contains("from the start"),
        "{}",
        late.body
    );
    let mut reader = app.desk.store().read().await.expect("a reader");
    let events = reader
        .accounts()
        .events(Some("i.quell"), 100)
        .await
        .expect("events");
    let has = |what: &str, subject: &str| {
        events
            .iter()
            .any(|e| e.what == what && e.subject == subject)
    };
    assert!(
        has("second-step-on", "") && has("signed-in", "with a second step"),
        "{events:#?}"
    );
    assert!(has("signed-in", "with a recovery code") && has("failed", "second step"));
}

/// Whoever has the password cannot try codes without end.
#[tokio::test]
async fn codes_are_not_guessed() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    set_up(&app, &mut coordinator).await;
    let mut thief = app.stranger();
    let mut refused = Vec::new();
    for guess in 0..8 {
        let asked = password(&mut thief, "i.quell").await;
        if asked.status == 429 {
            refused.push(guess);
            continue;
        }
        let ticket = hidden(&asked.body, "ticket");
        let answer = code(&mut thief, &ticket, &format!("{guess:06}")).await;
        if answer.status == 429 {
            refused.push(guess);
            continue;
        }
        assert_eq!(answer.status, 422);
    }
    assert!(
        refused.first().is_some_and(|first| *first <= 5),
        "{refused:?}"
    );
}

#[tokio::test]
async fn a_course_can_ask_its_staff_for_a_second_step() {
    let app = TestApp::spawn().await;
    let mut coordinator = app.person("i.quell").await;
    let mut assistant = app.person("b.tarn").await;
    let mut student = app.person("0042").await;
    let asked = coordinator
        .post_form("/course/second-step", &[("required", "yes")])
        .await;
    assert_eq!(asked.location(), "/second-step");
    for path in ["/review", "/gradebook", "/second-step/end"] {
        let answer = assistant.get(path).await;
        assert!(
            [303, 405].contains(&answer.status),
            "{path}: {}",
            answer.status
        );
    }
    assert_eq!(assistant.get("/review").await.location(), "/second-step");
    let refused = assistant.post_form("/review/acid/0042/note", &[]).await;
    assert_eq!(refused.location(), "/second-step");
    assert_eq!(student.get("/student").await.status, 200);
    set_up(&app, &mut assistant).await;
    assert_eq!(assistant.get("/review").await.status, 200);
    let refused = coordinator.get("/course").await;
    assert_eq!(refused.location(), "/second-step", "themselves too");
    let (key, _) = set_up(&app, &mut coordinator).await;
    assert_eq!(coordinator.get("/course").await.status, 200);
    // turned off with a code only
    let wrong = coordinator
        .post_form("/second-step/end", &[("code", "123456")])
        .await;
    assert_eq!(wrong.status, 422);
    app.clock.put_forward(SignedDuration::from_secs(60));
    let fresh = device(&key, app.clock.now());
    let ended = coordinator
        .post_form("/second-step/end", &[("code", &fresh)])
        .await;
    assert_eq!(ended.status, 303, "{}", ended.body);
    assert_eq!(coordinator.get("/course").await.location(), "/second-step");
    // whoever lost the device gets a new slip, and sets it up again
    let mut anew = app.person("b.tarn").await;
    assert_eq!(anew.get("/review").await.location(), "/second-step");
    let id = AccountId {
        kind: Kind::Staff,
        login: "b.tarn".into(),
    };
    let mut reader = app.desk.store().read().await.expect("a reader");
    assert!(
        reader
            .accounts()
            .second_step(&id)
            .await
            .expect("read")
            .is_none()
    );
}

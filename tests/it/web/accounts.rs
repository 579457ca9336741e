//! Signing in, claiming, changing a password.

use concordant::desk::accounts::{
    AccountError, By, close_account, issue_claim_codes, set_password,
};
use concordant::web::Settings;
use jiff::SignedDuration;

use crate::app::{PASSWORD, TestApp};

const OTHER: &str = "seven otters 18 lamps";

#[tokio::test]
async fn a_claimed_account_is_signed_in_to_and_each_role_starts_at_its_page() {
    let app = TestApp::spawn().await;
    for (login, home) in [
        ("0042", "/student"),
        ("b.tarn", "/review"),
        ("i.quell", "/course"),
    ] {
        let mut claimed = app.person(login).await;
        assert_eq!(claimed.get("/").await.location(), home);
        let mut person = app.stranger();
        let answer = person
            .post_open("/sign-in", &[("login", login), ("password", PASSWORD)])
            .await;
        assert_eq!((answer.status, answer.location()), (303, home));
        assert_ne!(person.cookie(), claimed.cookie());
        assert_eq!(person.get("/").await.location(), home);
    }
}

#[tokio::test]
async fn staff_may_type_their_login_in_capitals() {
    let app = TestApp::spawn().await;
    app.person("b.tarn").await;
    let mut person = app.stranger();
    let answer = person
        .post_open("/sign-in", &[("login", " B.Tarn "), ("password", PASSWORD)])
        .await;
    assert_eq!(answer.status, 303);
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_login_get_the_same_answer() {
    let app = TestApp::spawn().await;
    app.person("0042").await;
    let mut answers = Vec::new();
    for login in ["0042", "0099", "0043"] {
        let mut person = app.stranger();
        let answer = person
            .post_open("/sign-in", &[("login", login), ("password", OTHER)])
            .await;
        assert_eq!((answer.status, person.cookie()), (422, None));
        answers.push(answer.body.replace(login, "LOGIN"));
    }
    assert!(answers[0].contains("do not belong together"));
    assert!(
        answers[0].contains("value=\"LOGIN\""),
        "the login stays in its field"
    );
    assert!(!answers[0].contains(OTHER), "the password does not");
    assert!(answers.iter().all(|answer| *answer == answers[0]));
}

#[tokio::test]
async fn after_five_failures_a_login_waits_even_with_the_right_password() {
    let app = TestApp::spawn().await;
    app.person("0042").await;
    let mut person = app.stranger();
    for _ in 0..5 {
        let answer = person
            .post_open("/sign-in", &[("login", "0042"), ("password", OTHER)])
            .await;
        assert_eq!(answer.status, 422);
    }
    let right = [("login", "0042"), ("password", PASSWORD)];
    let answer = person.post_open("/sign-in", &right).await;
    assert_eq!(answer.status, 429);
    assert!(answer.body.contains("Wait 15 minutes"), "{}", answer.body);
    // another login from the same address is not held up
    let other = person
        .post_open("/sign-in", &[("login", "0043"), ("password", OTHER)])
        .await;
    assert_eq!(other.status, 422);
    app.clock.put_forward(SignedDuration::from_mins(15));
    assert_eq!(person.post_open("/sign-in", &right).await.status, 303);
    // and success wipes the slate
    for _ in 0..4 {
        person
            .post_open("/sign-in", &[("login", "0042"), ("password", OTHER)])
            .await;
    }
    assert_eq!(person.post_open("/sign-in", &right).await.status, 303);
}

#[tokio::test]
async fn an_address_with_a_hundred_failures_is_slowed_and_nobody_behind_it_shut_out() {
    let app = TestApp::spawn_with(Settings {
        behind_proxy: true,
        ..Settings::default()
    })
    .await;
    let mut person = app.stranger();
    let code = app.code_for("0042").await;
    for attempt in 0..100 {
        let login = format!("stranger-{attempt}");
        let form = person.form(
            "/claim",
            &[
                ("login", &login),
                ("code", &code),
                ("password", "x"),
                ("repeat", "x"),
            ],
        );
        let answer = person
            .send(form.header("x-forwarded-for", "203.0.113.9, 198.51.100.7"))
            .await;
        assert_eq!(answer.status, 422);
    }
    let fields = [
        ("login", "0043"),
        ("code", "x"),
        ("password", "x"),
        ("repeat", "x"),
    ];
    let mut timed = async |forwarded: &str| {
        let begun = std::time::Instant::now();
        let form = person
            .form("/claim", &fields)
            .header("x-forwarded-for", forwarded);
        (person.send(form).await.status, begun.elapsed().as_secs())
    };
    assert_eq!(timed("198.51.100.7, 203.0.113.9").await.0, 422);
    assert_eq!(
        timed("198.51.100.7").await,
        (422, 2),
        "slowly, and all the same"
    );
    // twenty at once from there: most are refused before anything is read, and nobody elsewhere is
    let at_once = (0..20).map(|n| {
        let login = format!("another-{n}");
        let fields = [("login", login.as_str()), ("code", "x")];
        let form = app.stranger().form("/claim", &fields);
        tokio::spawn(form.header("x-forwarded-for", "198.51.100.7").send())
    });
    let mut statuses = Vec::new();
    for answer in at_once.collect::<Vec<_>>() {
        let answer = answer.await.expect("ran").expect("an answer");
        let status = answer.status().as_u16();
        assert!(status != 429 || answer.headers().contains_key("retry-after"));
        statuses.push(status);
    }
    statuses.sort_unstable();
    assert!(statuses.ends_with(&[429; 12]), "{statuses:?}");
    // whoever was let in from this browser before is not slowed
    let mut known = app.person("0051").await;
    let begun = std::time::Instant::now();
    let right = [("login", "0051"), ("password", PASSWORD)];
    let form = known.form("/sign-in", &right);
    let form = form.header("x-forwarded-for", "198.51.100.7");
    assert_eq!(known.send(form).await.status, 303);
    assert!(begun.elapsed().as_secs() < 2);
}

/// Five wrong passwords for somebody else hold up whoever types them, not the person, neither where they were let in
/// before nor anywhere else.
#[tokio::test]
async fn nobody_locks_anybody_else_out() {
    let app = TestApp::spawn_with(Settings {
        behind_proxy: true,
        ..Settings::default()
    })
    .await;
    let mut owner = app.person("0042").await;
    let right = [("login", "0042"), ("password", PASSWORD)];
    let wrong = [("login", "0042"), ("password", OTHER)];
    let from = async |network: &str, fields: &[(&str, &str)]| {
        let mut person = app.stranger();
        let form = person.form("/sign-in", fields);
        person
            .send(form.header("x-forwarded-for", network))
            .await
            .status
    };
    // every address of a subscriber is one network
    for end in 1..=5 {
        let address = format!("2001:db8:1:2::{end}");
        assert_eq!(from(&address, &wrong).await, 422);
    }
    assert_eq!(from("2001:db8:1:2:ffff::6", &right).await, 429);
    assert_eq!(from("2001:db8:1:3::1", &right).await, 303, "elsewhere");
    let form = owner.form("/sign-in", &right);
    let form = form.header("x-forwarded-for", "2001:db8:1:2::1");
    assert_eq!(
        owner.send(form).await.status,
        303,
        "a browser that is known"
    );
    // and what is known guesses no more than others
    for n in 0..6 {
        let form = owner.form("/sign-in", &wrong);
        let form = form.header("x-forwarded-for", "2001:db8:9:9::1");
        let status = owner.send(form).await.status;
        assert_eq!(status, if n < 5 { 422 } else { 429 });
    }
}

/// What a client says of its own address counts for nothing without a proxy.
#[tokio::test]
async fn an_address_that_is_only_claimed_is_not_believed() {
    let app = TestApp::spawn().await;
    let wrong = [("login", "0042"), ("password", OTHER)];
    let mut statuses = Vec::new();
    for n in 1..=6 {
        let mut person = app.stranger();
        let form = person.form("/sign-in", &wrong);
        let form = form.header("x-forwarded-for", format!("198.51.100.{n}"));
        statuses.push(person.send(form).await.status);
    }
    assert_eq!(statuses, [422, 422, 422, 422, 422, 429]);
}

#[tokio::test]
async fn a_claim_code_works_once_for_its_owner_until_it_is_too_old() {
    let app = TestApp::spawn().await;
    let first = app.code_for("0042").await;
    let second = app.code_for("0042").await;
    let mut person = app.stranger();
    let fields = |login: &'static str, code: &str| {
        let fields = [
            ("login", login),
            ("code", code),
            ("password", PASSWORD),
            ("repeat", PASSWORD),
        ];
        fields.map(|(name, value)| (name, value.to_owned()))
    };
    let mut claim = async |login: &'static str, code: &str| {
        let fields = fields(login, code);
        let fields: Vec<_> = fields
            .iter()
            .map(|(name, value)| (*name, value.as_str()))
            .collect();
        let answer = person.post_open("/claim", &fields).await;
        (answer.status, answer.body)
    };
    let (status, body) = claim("0042", &first).await;
    assert!(
        status == 422 && body.contains("a newer one was given out"),
        "replaced: {body}"
    );
    let (status, body) = claim("0043", &second).await;
    assert!(
        status == 422 && body.contains("do not belong together"),
        "not theirs: {body}"
    );
    assert_eq!(
        claim("0042", &second.replace('-', " ").to_lowercase())
            .await
            .0,
        303
    );
    let (status, body) = claim("0042", &second).await;
    assert!(
        status == 422 && body.contains("has been used"),
        "used: {body}"
    );
    let third = app.code_for("0051").await;
    app.clock.put_forward(SignedDuration::from_hours(14 * 24));
    let (status, body) = claim("0051", &third).await;
    assert!(status == 422 && body.contains("too old"), "expired: {body}");
}

#[tokio::test]
async fn a_refused_password_leaves_the_code_as_it_was() {
    let app = TestApp::spawn().await;
    let code = app.code_for("0042").await;
    let mut person = app.stranger();
    for (password, repeat, word) in [
        ("kettle", "kettle", "at least 15"),
        ("Password123456!", "Password123456!", "many people"),
        ("passwordpassword", "passwordpassword", "over and over"),
        ("fennimorefennimore", "fennimorefennimore", "would find it"),
        (PASSWORD, OTHER, "differ"),
    ] {
        let fields = [
            ("login", "0042"),
            ("code", &code),
            ("password", password),
            ("repeat", repeat),
        ];
        let answer = person.post_open("/claim", &fields).await;
        assert_eq!(answer.status, 422);
        assert!(answer.body.contains(word), "{}", answer.body);
        assert!(answer.body.contains(&code), "what was typed stays");
    }
    let fields = [
        ("login", "0042"),
        ("code", &code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    assert_eq!(person.post_open("/claim", &fields).await.status, 303);
}

#[tokio::test]
async fn one_code_claimed_twice_at_once_succeeds_once() {
    let app = TestApp::spawn().await;
    let code = app.code_for("0042").await;
    let fields = [
        ("login", "0042"),
        ("code", &code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    let (mut one, mut two) = (app.stranger(), app.stranger());
    let (one, two) = tokio::join!(
        one.post_open("/claim", &fields),
        two.post_open("/claim", &fields)
    );
    let mut statuses = [one.status, two.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [303, 422]);
}

#[tokio::test]
async fn a_session_ends_at_sign_out_idle_or_too_old() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    let held = person.cookie().map(str::to_owned);
    let answer = person.post_form("/sign-out", &[]).await;
    assert_eq!(
        (answer.status, answer.location(), person.cookie()),
        (303, "/sign-in", None)
    );
    assert_eq!(answer.header("clear-site-data"), "\"storage\"");
    person.set_cookie(held);
    assert_eq!(
        person.get("/password").await.location(),
        "/sign-in?next=%2Fpassword"
    );

    let sign_in = [("login", "0042"), ("password", PASSWORD)];
    person.post_open("/sign-in", &sign_in).await;
    app.clock.put_forward(SignedDuration::from_mins(119));
    assert_eq!(person.get("/password").await.status, 200);
    app.clock.put_forward(SignedDuration::from_mins(120));
    assert_eq!(person.get("/password").await.status, 303);

    person.post_open("/sign-in", &sign_in).await;
    for _ in 0..11 {
        app.clock.put_forward(SignedDuration::from_hours(1));
        assert_eq!(person.get("/password").await.status, 200);
    }
    app.clock.put_forward(SignedDuration::from_hours(1));
    assert_eq!(person.get("/password").await.status, 303);
}

#[tokio::test]
async fn signing_in_again_ends_the_session_there_was() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    let held = person.cookie().map(str::to_owned);
    person
        .post_open("/sign-in", &[("login", "0042"), ("password", PASSWORD)])
        .await;
    assert_ne!(person.cookie().map(str::to_owned), held);
    person.set_cookie(held);
    assert_eq!(person.get("/password").await.status, 303);
}

#[tokio::test]
async fn a_changed_password_ends_every_other_session() {
    let app = TestApp::spawn().await;
    let mut here = app.person("0042").await;
    let mut there = app.stranger();
    there
        .post_open("/sign-in", &[("login", "0042"), ("password", PASSWORD)])
        .await;
    let fields = [
        ("current", "not the present one"),
        ("password", OTHER),
        ("repeat", OTHER),
    ];
    let answer = here.post_form("/password", &fields).await;
    assert!(answer.status == 422 && answer.body.contains("not your present password"));
    let fields = [
        ("current", PASSWORD),
        ("password", OTHER),
        ("repeat", OTHER),
    ];
    let slip = app.code_for("0042").await;
    let answer = here.post_form("/password", &fields).await;
    assert!(answer.status == 200 && answer.body.contains("Your password is changed"));
    assert!(
        answer.body.contains("guesses would find it"),
        "how strong it is"
    );
    let found = [
        ("login", "0042"),
        ("code", &slip),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    let refused = app.stranger().post_open("/claim", &found).await;
    assert!(
        refused.status == 422 && refused.body.contains("has been used"),
        "a slip that nobody used is no way past the new password"
    );
    assert_eq!(here.get("/password").await.status, 200);
    assert_eq!(there.get("/password").await.status, 303);
    let old = there
        .post_open("/sign-in", &[("login", "0042"), ("password", PASSWORD)])
        .await;
    assert_eq!(old.status, 422);
    let new = there
        .post_open("/sign-in", &[("login", "0042"), ("password", OTHER)])
        .await;
    assert_eq!(new.status, 303);
}

#[tokio::test]
async fn a_closed_account_lets_nobody_in_until_it_is_opened_again() {
    let app = TestApp::spawn().await;
    let mut person = app.person("b.tarn").await;
    let now = app.clock.now();
    close_account(&app.desk, "b.tarn", true, now)
        .await
        .expect("closes");
    assert_eq!(person.get("/password").await.status, 303);
    let sign_in = [("login", "b.tarn"), ("password", PASSWORD)];
    assert_eq!(person.post_open("/sign-in", &sign_in).await.status, 422);
    close_account(&app.desk, "b.tarn", false, now)
        .await
        .expect("opens");
    assert_eq!(person.post_open("/sign-in", &sign_in).await.status, 303);
}

#[tokio::test]
async fn codes_and_passwords_are_only_for_people_on_a_list() {
    let app = TestApp::spawn().await;
    let (desk, now) = (&app.desk, app.clock.now());
    let logins = ["0042", "0099", "nobody"].map(str::to_owned);
    let why = issue_claim_codes(desk, &logins, By::COMMAND_LINE, now)
        .await
        .expect_err("two are unknown");
    assert_eq!(
        why.to_string(),
        "found 0099, nobody, expected logins on the roster or the staff list, and not on both"
    );
    let why = set_password(desk, "0099", PASSWORD, now)
        .await
        .expect_err("is unknown");
    assert!(matches!(why, AccountError::Logins(_)));
    let why = set_password(desk, "0042", "short", now)
        .await
        .expect_err("is short");
    assert!(matches!(why, AccountError::Password(_)));
    let set = set_password(desk, "0042", OTHER, now)
        .await
        .expect("is set");
    assert_eq!(set.name, "Ada Fennimore");
    let mut person = app.stranger();
    assert_eq!(
        person
            .post_open("/sign-in", &[("login", "0042"), ("password", OTHER)])
            .await
            .status,
        303
    );
}

#[tokio::test]
async fn nothing_secret_is_in_the_database_as_it_is() {
    let app = TestApp::spawn().await;
    let code = app.code_for("0043").await;
    let person = app.person("0042").await;
    let copy = tempfile::tempdir().expect("a directory");
    let file = copy.path().join("copy.db");
    app.desk.store().backup(&file).await.expect("a copy");
    let bytes = std::fs::read(&file).expect("is read");
    let holds = |text: &str| {
        bytes
            .windows(text.len())
            .any(|window| window == text.as_bytes())
    };
    let token = person
        .cookie()
        .and_then(|cookie| cookie.split('=').nth(1))
        .expect("a cookie");
    for secret in [PASSWORD, &code, &code.replace('-', ""), token] {
        assert!(!holds(secret), "{secret}");
    }
    assert!(holds("$argon2id$v=19$m=19456,t=2,p=1$"));
}

//! What is queued, sent, put off, refused: once, and nothing is lost.

use concordant::desk::mail::{GIVEN_UP_AFTER, SendState, listed, pass};
use concordant::desk::outgoing::Place;
use concordant::desk::take_back;
use concordant::term::Ruling;
use jiff::SignedDuration;

use super::{Office, PUBLIC, addresses};

const ADA: &str = "ada@students.example";
const TOBIAS: &str = "tobias@students.example";
const SERAPHINE: &str = "s.ruhl@students.example";

impl Office {
    /// State and reason of the mails, oldest first.
    async fn states(&self) -> Vec<(SendState, String)> {
        let (listed, _) = listed(&self.app.desk, None, 100).await.expect("read");
        let states = listed.into_iter().rev();
        states.map(|one| (one.mail.state, one.mail.why)).collect()
    }

    fn later(&self, by: SignedDuration) {
        self.app.clock.put_forward(by);
    }
}

#[tokio::test]
async fn results_are_told_once_to_whom_they_are_out_for() {
    let office = Office::open().await;
    assert!(office.mail().await.is_empty(), "nothing has happened");
    office.release(Some("A"), true).await;
    let mail = office.mail().await;
    assert_eq!(addresses(&mail), [ADA, TOBIAS]);
    let text = mail[0].text();
    assert!(
        text.contains("Quantitative analysis, autumn 2026"),
        "{text}"
    );
    assert!(
        text.contains("The results of \u{201c}Acid in a plain solution\u{201d} are out."),
        "{text}"
    );
    assert!(
        text.contains(&format!("{PUBLIC}/student/experiments/acid\n")),
        "{text}"
    );
    assert!(text.contains(&format!("{PUBLIC}/mail")), "{text}");
    assert_eq!(
        mail[0].header("Subject"),
        "Quantitative analysis: Results are out: Acid in a plain solution"
    );
    assert!(mail[0].header("From").contains("<lab@example.edu>"));
    assert_eq!(mail[0].header("Auto-Submitted"), "auto-generated");
    assert!(mail[0].header("Message-ID").ends_with("@lab.example.edu>"));
    assert_ne!(mail[0].header("Message-ID"), mail[1].header("Message-ID"));

    assert!(office.mail().await.is_empty(), "nobody is told twice");
    office.release(None, true).await;
    assert_eq!(
        addresses(&office.mail().await),
        [SERAPHINE],
        "the others know"
    );
    // withdrawn and out again is another event
    office.release(Some("A"), false).await;
    assert!(office.mail().await.is_empty());
    office.release(Some("A"), true).await;
    assert_eq!(addresses(&office.mail().await), [ADA, TOBIAS]);
}

#[tokio::test]
async fn what_does_not_hold_any_more_is_not_sent() {
    let mut office = Office::open().await;
    office.catcher.go_away().await;
    office.decide("0042", Ruling::Return, "the first end").await;
    office.release(Some("A"), true).await;
    assert!(office.pass().await.away.is_some());
    office.release(Some("A"), false).await;
    let who = ("b.tarn", office.app.clock.now());
    let taken = take_back(&office.app.desk, crate::slot("acid", "0042"), 1, who).await;
    taken.expect("taken back");
    office.catcher.come_back().await;
    office.later(SignedDuration::from_hours(1));
    assert!(office.mail().await.is_empty());
    let states = office.states().await;
    assert_eq!(states.len(), 3);
    assert!(
        states.iter().all(|(state, _)| *state == SendState::Dropped),
        "{states:?}"
    );
    assert!(
        states
            .iter()
            .any(|(_, why)| why.contains("not with the student any more")),
        "{states:?}"
    );
}

#[tokio::test]
async fn work_that_comes_back_is_told_with_the_place_and_not_the_reason() {
    let office = Office::open().await;
    office
        .decide("0042", Ruling::Return, "read 20.40 again")
        .await;
    let mail = office.mail().await;
    assert_eq!(addresses(&mail), [ADA]);
    let text = mail[0].text();
    assert!(
        text.contains(&format!("{PUBLIC}/student/experiments/acid")),
        "{text}"
    );
    assert!(!text.contains("20.40") && !text.contains("again"), "{text}");
    // any other decision is no news
    office.decide("0043", Ruling::Accept, "").await;
    assert!(office.mail().await.is_empty());
}

#[tokio::test]
async fn what_happened_before_it_was_turned_on_is_told_to_nobody() {
    let office = Office::open().await;
    let desk = &office.app.desk;
    let id = crate::mail::AccountId {
        kind: crate::mail::Kind::Staff,
        login: "i.quell".into(),
    };
    let by = (&id, crate::mail::By::COMMAND_LINE);
    crate::mail::want(desk, false, by, office.app.clock.now())
        .await
        .expect("off");
    office.release(Some("A"), true).await;
    assert!(office.mail().await.is_empty());
    crate::mail::turn_on(desk, office.app.clock.now()).await;
    assert!(office.mail().await.is_empty());
    office.release(None, true).await;
    assert_eq!(
        office.mail().await.len(),
        3,
        "a further release tells whoever was not told"
    );
}

#[tokio::test]
async fn a_server_that_is_away_or_says_later_is_asked_again_with_growing_pauses() {
    let mut office = Office::open().await;
    office.catcher.go_away().await;
    office.release(None, true).await;
    let passed = office.pass().await;
    assert!(passed.away.is_some() && passed.sent == 0, "{passed:?}");
    let states = office.states().await;
    assert!(
        states
            .iter()
            .all(|(state, why)| *state == SendState::Waiting && !why.is_empty()),
        "{states:?}"
    );
    assert_eq!(
        office.pass().await,
        Default::default(),
        "it is left alone for a minute"
    );
    office.later(SignedDuration::from_secs(61));
    assert!(office.pass().await.away.is_some());
    office.later(SignedDuration::from_secs(61));
    assert_eq!(office.pass().await, Default::default(), "now for two");
    office.catcher.come_back().await;
    // one mailbox is busy (RFC 5321, 4.2.3: 450), one is nobody's (550)
    office.catcher.set(|mood| {
        mood.answers.insert(
            ADA.into(),
            "450 4.2.1 <ada@students.example> is busy".into(),
        );
        mood.answers.insert(
            TOBIAS.into(),
            "550 5.1.1 <Tobias@students.example> unknown".into(),
        );
    });
    office.later(SignedDuration::from_secs(61));
    assert_eq!(addresses(&office.mail().await), [SERAPHINE]);
    let states = office.states().await;
    let refused: Vec<_> = states
        .iter()
        .filter(|(state, _)| *state == SendState::Refused)
        .collect();
    assert_eq!(refused.len(), 1);
    assert!(
        refused[0].1.contains("550") && refused[0].1.contains("<the address> unknown"),
        "{states:?}"
    );
    assert!(
        states
            .iter()
            .all(|(_, why)| !why.to_lowercase().contains("@students")),
        "{states:?}"
    );
    office.catcher.set(|mood| mood.answers.clear());
    office.later(SignedDuration::from_hours(1));
    assert_eq!(
        addresses(&office.mail().await),
        [ADA],
        "what was refused is not tried again"
    );
    assert!(office.mail().await.is_empty());
}

#[tokio::test]
async fn what_nobody_takes_is_given_up_after_days() {
    let mut office = Office::open().await;
    office.release(Some("A"), true).await;
    office.catcher.set(|mood| {
        mood.answers.insert(ADA.into(), "451 4.3.0 later".into());
    });
    assert_eq!(addresses(&office.mail().await), [TOBIAS]);
    let mut tries = 1;
    let begun = office.app.clock.now();
    while office.app.clock.now().duration_since(begun) < GIVEN_UP_AFTER {
        office.later(SignedDuration::from_mins(30));
        tries += office.pass().await.put_off;
    }
    assert!((20..60).contains(&tries), "{tries} tries in four days");
    office.later(SignedDuration::from_hours(5));
    assert_eq!(office.pass().await.refused, 1);
    let states = office.states().await;
    assert!(
        states
            .iter()
            .any(|(state, why)| *state == SendState::Refused && why.starts_with("given up: ")),
        "{states:?}"
    );
    // the same where the server was away all the time
    office.catcher.go_away().await;
    office.release(Some("B"), true).await;
    assert!(office.pass().await.away.is_some());
    office.later(GIVEN_UP_AFTER + SignedDuration::from_hours(5));
    office.pass().await;
    office.catcher.come_back().await;
    office.later(SignedDuration::from_hours(5));
    assert_eq!(office.pass().await, Default::default());
}

#[tokio::test]
async fn whoever_stops_while_a_mail_is_handed_over_sends_it_once_more_under_its_name() {
    let office = Office::open().await;
    office.release(Some("B"), true).await;
    office.catcher.set(|mood| mood.hangs_up = true);
    // taken, and nobody heard of it
    assert!(office.pass().await.away.is_some());
    office.catcher.set(|mood| mood.hangs_up = false);
    office.later(SignedDuration::from_mins(3));
    let again = pass(
        Place::alone(&office.app.desk),
        (&office.post, PUBLIC),
        office.app.clock.now(),
    )
    .await;
    assert_eq!(again.expect("gone through").sent, 1);
    let caught = office.catcher.take();
    assert_eq!(addresses(&caught), [SERAPHINE, SERAPHINE]);
    assert_eq!(
        caught[0].header("Message-ID"),
        caught[1].header("Message-ID")
    );

    // broken off in the middle: it is tried again once it cannot be under way any more
    office.release(Some("A"), true).await;
    office
        .catcher
        .set(|mood| mood.slow = std::time::Duration::from_secs(60));
    let cut = tokio::time::timeout(std::time::Duration::from_secs(2), office.pass()).await;
    assert!(cut.is_err(), "it was under way");
    office
        .catcher
        .set(|mood| mood.slow = std::time::Duration::ZERO);
    let other = super::post(&office.catcher);
    let now = office.app.clock.now();
    let passed = pass(Place::alone(&office.app.desk), (&other, PUBLIC), now)
        .await
        .expect("gone through");
    assert_eq!(
        (passed.sent, addresses(&office.catcher.take())),
        (1, vec![TOBIAS])
    );
    office.later(SignedDuration::from_mins(11));
    let now = office.app.clock.now();
    let passed = pass(Place::alone(&office.app.desk), (&other, PUBLIC), now)
        .await
        .expect("gone through");
    assert_eq!(
        (passed.sent, addresses(&office.catcher.take())),
        (1, vec![ADA])
    );
}

#[tokio::test]
async fn the_password_of_the_mail_server_is_asked_for_and_a_wrong_one_refuses_no_mail() {
    let office = Office::open().await;
    office
        .catcher
        .set(|mood| mood.password = Some(("lab".into(), "right horse".into())));
    office.release(Some("B"), true).await;
    let with = |password: &str| {
        let settings = concordant::mail::PostSettings {
            server: office.catcher.server(),
            from: "lab@example.edu".into(),
            user: Some("lab".into()),
            password: Some(password.into()),
        };
        concordant::mail::Post::new(settings).expect("can be used")
    };
    let desk = &office.app.desk;
    for wrong in [with("wrong horse"), super::post(&office.catcher)] {
        let passed = pass(Place::alone(desk), (&wrong, PUBLIC), office.app.clock.now())
            .await
            .expect("gone through");
        assert!(passed.away.is_some() && passed.refused == 0, "{passed:?}");
        office.later(SignedDuration::from_mins(10));
    }
    let passed = pass(
        Place::alone(desk),
        (&with("right horse"), PUBLIC),
        office.app.clock.now(),
    )
    .await;
    assert_eq!(passed.expect("gone through").sent, 1);
}

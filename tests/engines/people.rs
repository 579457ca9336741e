//! What holds of people on every engine: who is signed in, who is taken out, drafts and mail.

use concordant::changes::Change;
use concordant::desk::accounts::{self, AccountId, By, Kind};
use concordant::desk::sessions::begin_session;
use concordant::desk::{Retirement, hand_in, retire};
use concordant::ids::StudentId;
use concordant::store::mail::{MailFor, MailKind, NewMail};
use concordant::store::{BenchDraft, draft_of, draft_stamp, drafts_in, hash, keep_draft};
use jiff::Timestamp;

use crate::cases::{note, note_something, sound};
use crate::engine::{Engine, course, request};
use crate::slot;

pub async fn who_is_signed_in_at_one_is_at_the_other(engine: &Engine) {
    let desk = course(engine, 1).await;
    let (other, now) = (engine.store().await, Timestamp::now());
    accounts::set_password(&desk, "k0", crate::app::PASSWORD, now)
        .await
        .expect("a password");
    let student = AccountId {
        kind: Kind::Student,
        login: "k0".to_owned(),
    };
    let mut write = desk.store().write().await.expect("a write");
    let token = begin_session(&mut write, &student, now)
        .await
        .expect("a session");
    let mut of = write.accounts();
    of.begin_second_step(&student, "00ff").await.expect("begun");
    of.begin_second_step(&student, "11ff")
        .await
        .expect("begun anew");
    of.take_step(&student, 7, now).await.expect("taken");
    of.insert_recovery_code(&student, "a code")
        .await
        .expect("kept");
    of.require_second_step(true).await.expect("asked");
    of.require_second_step(true).await.expect("asked again");
    of.insert_failure("a login", "192.0.2.1", now, Timestamp::MIN)
        .await
        .expect("kept");
    of.keep_browser("a browser", "a login", now, Timestamp::MIN)
        .await
        .expect("kept");
    of.keep_browser("a browser", "a login", now, Timestamp::MIN)
        .await
        .expect("kept again");
    write.commit().await.expect("kept");
    let mut reader = other.read().await.expect("a reader");
    let mut of = reader.accounts();
    let session = of
        .session(&hash(token.as_str()))
        .await
        .expect("read")
        .expect("a session");
    assert_eq!(session.account, student);
    let step = of
        .second_step(&student)
        .await
        .expect("read")
        .expect("a step");
    assert_eq!(
        (step.secret.as_str(), step.confirmed, step.last_step),
        ("11ff", true, 7)
    );
    assert!(
        of.has_recovery_code(&student, "a code")
            .await
            .expect("read")
    );
    assert!(of.is_second_step_required().await.expect("read"));
    let failures = of
        .failures_since("a login", "192.0.2.1", Timestamp::MIN)
        .await
        .expect("read");
    assert_eq!((failures.of_login, failures.of_network), (1, 1));
    assert!(
        of.knows_browser("a browser", Some("a login"))
            .await
            .expect("read")
    );
    assert!(of.knows_browser("a browser", None).await.expect("read"));
    assert!(!of.knows_browser("another", None).await.expect("read"));
    assert_eq!(of.draft_owner(&student).await.expect("read").len(), 24);
    note_something(&desk, "a table").await;
    let events = of.events(Some("I.Quell"), 10).await.expect("read");
    assert_eq!(events.len(), 1);
    assert_eq!(events[0].network.as_deref(), Some("192.0.2.1"));
    let of_student = of.events_of(&student, true, 10).await.expect("read");
    assert!(!of_student.is_empty());
    drop(reader);
    // who leaves the course is signed out at both
    let view = desk.view().await.expect("a course");
    let leaves = Change::Student(concordant::course::Student {
        left: Some(jiff::civil::date(2026, 11, 3)),
        ..view
            .term
            .student(&StudentId::new("k0"))
            .expect("a student")
            .clone()
    });
    desk.apply(vec![leaves], "i.quell", now)
        .await
        .expect("left");
    let mut reader = other.read().await.expect("a reader");
    assert_eq!(
        reader
            .accounts()
            .session(&hash(token.as_str()))
            .await
            .expect("read"),
        None
    );
}

pub async fn who_is_taken_out_is_gone(engine: &Engine) {
    let desk = course(engine, 2).await;
    hand_in(&desk, request("k0", "one", 0, "20.40"))
        .await
        .expect("a receipt");
    hand_in(&desk, request("k1", "two", 0, "20.44"))
        .await
        .expect("a receipt");
    note(&desk, "the burette leaked").await;
    // fetched from a platform, each by what it names them: a number, or an address
    let fetched = [("s0", "K0"), ("s1", "K0@Lab.example"), ("s2", "k1")];
    let fetched = fetched.map(|(sub, named)| (sub.to_owned(), named.to_owned()));
    let there = "a course there";
    let mut write = desk.store().write().await.expect("a write");
    let mut contexts = write.contexts();
    let place = (there, "https://learn.example.edu");
    contexts.keep_learners(place, &fetched).await.expect("kept");
    write.commit().await.expect("kept");
    let other = engine.desk().await;
    let who = [StudentId::new("k0")];
    let asked = Retirement {
        before: jiff::civil::date(2100, 1, 1),
        students: who.to_vec(),
        texts_only: false,
    };
    retire(&desk, &asked, By::COMMAND_LINE, Timestamp::now())
        .await
        .expect("taken out");
    for desk in [&desk, &other] {
        let view = desk.view().await.expect("a course");
        assert!(view.term.student(&who[0]).is_none());
        assert!(view.term.student(&StudentId::new("k1")).is_some());
    }
    let mut reader = other.store().read().await.expect("a reader");
    let left = reader.contexts().unknown(there).await.expect("read");
    assert_eq!(left, [("s2".to_owned(), "k1".to_owned())].into());
    drop(reader);
    sound(&other).await;
}

pub async fn drafts_and_mail(engine: &Engine) {
    let desk = course(engine, 1).await;
    let (other, now) = (engine.store().await, Timestamp::now());
    let place = slot("acid", "k0");
    let mut before = (0, 0);
    for n in 1..=2 {
        let draft = BenchDraft {
            at: now,
            form: "a form".to_owned(),
            fields: vec![("reported".to_owned(), n.to_string())],
            hand_at: (n == 2).then_some(now),
        };
        let mut write = desk.store().write().await.expect("a write");
        keep_draft(&mut write, &place, &draft).await.expect("kept");
        write.commit().await.expect("kept");
        let mut reader = other.read().await.expect("a reader");
        let held = draft_of(&mut reader, &place)
            .await
            .expect("read")
            .expect("a draft");
        assert_eq!(
            (held.fields, held.hand_at.is_some()),
            (draft.fields, n == 2)
        );
        let stamp = draft_stamp(&mut reader).await.expect("read");
        assert!(stamp.0 > before.0 && stamp.1 == 1, "{stamp:?}");
        assert_eq!(
            drafts_in(&mut reader, &place.experiment)
                .await
                .expect("read")
                .len(),
            1
        );
        before = stamp;
    }
    let to = MailFor {
        kind: Kind::Staff,
        key: "i.quell".to_owned(),
    };
    let mail = NewMail {
        event: "an event".to_owned(),
        what: MailKind::Digest,
        to: to.clone(),
        experiment: String::new(),
    };
    let mut write = desk.store().write().await.expect("a write");
    let mut mails = write.mails();
    mails.want(true).await.expect("wanted");
    mails.go_through(3).await.expect("gone");
    mails.queue(&mail, now).await.expect("queued");
    mails.queue(&mail, now).await.expect("known");
    write.commit().await.expect("kept");
    let mut write = other.write().await.expect("a write");
    let mut mails = write.mails();
    assert!(mails.is_wanted().await.expect("read"));
    assert!(mails.waits(MailKind::Digest, &to).await.expect("read"));
    let due = mails.due(now, 10).await.expect("read");
    assert_eq!(due.len(), 1);
    // of two servers one takes it
    let until = now + jiff::SignedDuration::from_mins(1);
    assert!(
        mails
            .take(&due[0], "i.quell@lab.example", until)
            .await
            .expect("asked")
    );
    assert!(
        !mails
            .take(&due[0], "i.quell@lab.example", until)
            .await
            .expect("asked")
    );
    mails
        .undo("an event", 9, "no longer so", now)
        .await
        .expect("undone");
    assert!(!mails.knows("an event").await.expect("read"));
    assert_eq!(mails.newest(None, 5).await.expect("read").len(), 1);
    assert_eq!(mails.counts().await.expect("read").len(), 1);
    assert_eq!(mails.occasions_after(0).await.expect("read"), []);
    mails
        .set_calendar(&to, Some("a secret"), now)
        .await
        .expect("kept");
    assert_eq!(mails.calendar("a secret").await.expect("read"), Some(to));
    write.commit().await.expect("kept");
}

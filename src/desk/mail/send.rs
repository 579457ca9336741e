//! Handing over what waits: each mail is taken before it is tried, so that two servers on one file do not both send it, and
//! written when it is tried, from the course as it is then.

use std::time::Instant;

use jiff::{SignedDuration, Timestamp};

use super::queue::{DIGEST_HOLDS, queue_new, waiting_for};
use super::texts::{Told, letter};
use super::{Directory, Reached};
use crate::desk::accounts::{AccountError, AccountId, mailed_code, person};
use crate::desk::outgoing::{Passed, Place};
use crate::desk::waits::{LONGEST_PASS, later, pause};
use crate::desk::{Desk, Image};
use crate::ids::ExperimentKey;
use crate::mail::{Letter, Post, Unsent};
use crate::store::mail::{Mail, MailKind};
use crate::store::{SendState, StoreError};
use crate::term::{Slot, Status};

/// A mail that nobody has taken by then is given up.
pub const GIVEN_UP_AFTER: SignedDuration = SignedDuration::from_hours(4 * 24);
/// For so long a mail is nobody else's to try. A server that is killed while it hands one over tries it again then: it may
/// have been taken, and its name says that it is the same.
const TAKEN_FOR: SignedDuration = SignedDuration::from_mins(10);
/// So many are looked up together.
const AT_ONCE: i64 = 50;

/// What is to be done with a mail.
enum Ready {
    Write(Told),
    Drop(&'static str),
}

/// Queues what is new, and hands over what is due. `public` is where people find the course.
pub async fn pass(
    place: Place<'_>,
    (post, public): (&Post, &str),
    at: Timestamp,
) -> Result<Passed, StoreError> {
    let Place { desk, people, .. } = place;
    let began = Instant::now();
    queue_new(desk, at).await?;
    let mut passed = Passed::default();
    loop {
        let mut reader = desk.store().read().await?;
        let due = reader.mails().due(at, AT_ONCE).await?;
        if due.is_empty() || post.is_stopping() {
            return Ok(passed);
        }
        let directory = Directory::read(&mut reader).await?;
        drop(reader);
        let image = desk.look().await?;
        for mail in &due {
            one(
                (desk, &image, &directory, people),
                (post, public),
                mail,
                at,
                &mut passed,
            )
            .await?;
            let is_over = post.is_stopping() || began.elapsed() > LONGEST_PASS;
            if passed.away.is_some() || is_over {
                return Ok(passed);
            }
        }
    }
}

async fn one(
    (desk, image, directory, people): (&Desk, &Image, &Directory, &Desk),
    (post, public): (&Post, &str),
    mail: &Mail,
    at: Timestamp,
    passed: &mut Passed,
) -> Result<(), StoreError> {
    let reached = directory.reach(image, &mail.to);
    let address = reached.as_ref().map(|one| one.address.clone());
    let address = address.unwrap_or_default();
    let number = directory.number(&mail.to).map(|number| number.as_str());
    let people_now = people.look().await?;
    // the address is that of one course's roster, and a code would open what they do as staff elsewhere
    let is_of_staff = number.is_some_and(|it| people_now.term.login_of_student(it).is_some());
    drop(people_now);
    let mut transaction = desk.store().write().await?;
    let until = later(at, TAKEN_FOR);
    if !transaction.mails().take(mail, &address, until).await? {
        return transaction.abandon().await;
    }
    let told = match ready((image, directory), mail, reached.as_ref(), at) {
        Ready::Write(Told::Code { .. }) if is_of_staff => Ready::Drop(
            "who it was for signs in by a login of staff: whoever runs the department gives them a code",
        ),
        other => other,
    };
    let told = match told {
        Ready::Write(told) => told,
        Ready::Drop(why) => {
            transaction
                .mails()
                .end(mail.id, SendState::Dropped, why, at)
                .await?;
            passed.dropped += 1;
            return transaction.commit().await;
        }
    };
    transaction.commit().await?;
    let told = match told {
        Told::Code { login, .. } => code(people, directory, mail, login, at).await?,
        other => other,
    };
    let course = &image.term.course;
    let letter: Letter = letter((course, public), mail, address, &told);
    let answer = post.send(&letter).await;
    let mut transaction = desk.store().write().await?;
    let mut mails = transaction.mails();
    match answer {
        Ok(()) => {
            mails.end(mail.id, SendState::Sent, "", at).await?;
            passed.sent += 1;
        }
        Err(Unsent::Refused(why)) => {
            mails.end(mail.id, SendState::Refused, &why, at).await?;
            passed.refused += 1;
        }
        Err(Unsent::NotNow(why)) if later(mail.queued_at, GIVEN_UP_AFTER) <= at => {
            let why = format!("given up: {why}");
            mails.end(mail.id, SendState::Refused, &why, at).await?;
            passed.refused += 1;
        }
        Err(Unsent::NotNow(why)) => {
            mails
                .put_off(mail.id, later(at, pause(mail.tries)), &why)
                .await?;
            passed.put_off += 1;
        }
        Err(Unsent::Away(why)) => {
            let next = later(at, pause(mail.tries));
            let old = at.checked_sub(GIVEN_UP_AFTER).unwrap_or(Timestamp::MIN);
            mails.put_all_off((mail.id, at), (next, old), &why).await?;
            passed.put_off += 1;
            passed.away = Some(why);
        }
    }
    transaction.commit().await
}

/// What a mail says, or why it is not sent after all.
fn ready(
    (image, directory): (&Image, &Directory),
    mail: &Mail,
    reached: Option<&Reached>,
    at: Timestamp,
) -> Ready {
    let Some(reached) = reached else {
        return Ready::Drop("who it was for is on the course no more");
    };
    if reached.address.is_empty() {
        return Ready::Drop("there is no address any more");
    }
    if mail.what != MailKind::Code && !reached.wanted {
        return Ready::Drop("who it was for wants none any more");
    }
    let slot = directory.number(&mail.to).map(|number| {
        let experiment = ExperimentKey::new(mail.experiment.as_str());
        Slot::new(&experiment, number)
    });
    let title = || {
        let experiment = image.term.experiment(&mail.experiment);
        experiment.map(|one| one.procedure.title.clone())
    };
    match (mail.what, slot, title()) {
        (MailKind::Code, Some(slot), _) => Ready::Write(Told::Code {
            login: slot.student.to_string(),
            code: String::new(),
            until: Timestamp::MIN,
        }),
        (MailKind::Returned, Some(slot), Some(title)) => {
            let judged = image.judged.get(&slot);
            match judged.is_some_and(|judged| judged.status == Status::Returned) {
                true => Ready::Write(Told::Returned { title }),
                false => Ready::Drop("it is not with the student any more"),
            }
        }
        (MailKind::Released, Some(slot), Some(title)) => match image.is_released_to(&slot) {
            true => Ready::Write(Told::Released { title }),
            false => Ready::Drop("the results were withdrawn before it was sent"),
        },
        (MailKind::Digest, ..) => {
            if later(mail.queued_at, DIGEST_HOLDS) <= at {
                return Ready::Drop("its day was over before it could be sent");
            }
            match waiting_for(image, &mail.to.key) {
                waiting if waiting.is_empty() => Ready::Drop("nothing waits any more"),
                waiting => Ready::Write(Told::Digest { waiting }),
            }
        }
        _ => Ready::Drop("what it was about is not there any more"),
    }
}

/// Makes the code that a mail carries. It is in this mail and nowhere else: the database keeps a hash.
async fn code(
    desk: &Desk,
    directory: &Directory,
    mail: &Mail,
    login: String,
    at: Timestamp,
) -> Result<Told, StoreError> {
    let id = AccountId {
        kind: mail.to.kind,
        login,
    };
    let gone = || StoreError::damaged("mail.who", "found nobody of the course");
    let whose = directory.number(&mail.to).ok_or_else(gone)?;
    let person = person(desk, &id).await?.ok_or_else(gone)?;
    let issued = mailed_code(desk, person, at).await;
    let issued = issued.map_err(|why| match why {
        AccountError::Store(why) => why,
        other => StoreError::broken_off(other),
    })?;
    Ok(Told::Code {
        login: whose.to_string(),
        code: issued.code,
        until: issued.expires_at,
    })
}

//! What is queued: what follows from the journal, what waits for assistants in the morning, codes that were asked for.

use jiff::civil::Time;
use jiff::{SignedDuration, Timestamp};

use super::{Directory, assistants, of_staff};
use crate::desk::accounts::{By, Event, What, people_called};
use crate::desk::{Desk, Image};
use crate::store::accounts::Kind;
use crate::store::mail::{MailFor, MailKind, NewMail, Occasion, OccasionKind};
use crate::store::{StoreError, Transaction, newest};
use crate::term::Status;

/// From then on, by the clocks of the course, assistants are told what waits.
const MORNING: Time = Time::constant(7, 0, 0, 0);
/// Until then: a server that was off in the morning tells nobody in the evening.
const NOON: Time = Time::constant(12, 0, 0, 0);

/// What became of codes that were asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CodesAsked {
    pub queued: usize,
    /// Of people without an address, or with one code on its way already.
    pub passed_over: usize,
}

/// What waits for somebody in one experiment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Waiting {
    pub experiment: String,
    pub title: String,
    pub to_review: usize,
    pub unanswered: usize,
}

/// Queues what follows from the journal since it was gone through last, and what waits for assistants today.
pub(super) async fn queue_new(desk: &Desk, at: Timestamp) -> Result<(), StoreError> {
    let image = desk.look().await?;
    let mut reader = desk.store().read().await?;
    let wanted = reader.mails().is_wanted().await?;
    let since = reader.mails().gone_through().await?;
    let until = newest(&mut reader).await?.min(image.newest());
    let mut digests = Vec::new();
    if wanted && is_morning(&image, at) {
        let directory = Directory::read(&mut reader).await?;
        for mail in digests_of(&image, &directory, at) {
            if !reader.mails().knows(&mail.event).await? {
                digests.push(mail);
            }
        }
    }
    drop(reader);
    if until <= since && digests.is_empty() {
        return Ok(());
    }
    let mut transaction = desk.store().write().await?;
    // another process may have gone through it in between
    let since = transaction.mails().gone_through().await?;
    if wanted {
        let directory = Directory::read(&mut transaction).await?;
        let occasions = transaction.mails().occasions_after(since).await?;
        for occasion in occasions.iter().filter(|one| one.seq <= until) {
            tell(&mut transaction, (&image, &directory), occasion, at).await?;
        }
        for mail in &digests {
            transaction.mails().queue(mail, at).await?;
        }
    }
    transaction.mails().go_through(until).await?;
    transaction.commit().await
}

async fn tell(
    transaction: &mut Transaction,
    (image, directory): (&Image, &Directory),
    occasion: &Occasion,
    at: Timestamp,
) -> Result<(), StoreError> {
    let experiment = occasion.experiment.clone();
    match &occasion.what {
        OccasionKind::Returned(key) => {
            let to = MailFor {
                kind: Kind::Student,
                key: key.clone(),
            };
            if reaches(image, directory, &to) {
                let mail = NewMail {
                    event: format!("returned/{}", occasion.seq),
                    what: MailKind::Returned,
                    to,
                    experiment,
                };
                transaction.mails().queue(&mail, at).await?;
            }
        }
        OccasionKind::Released(section) => {
            for to in people_of(image, directory, section.as_deref()) {
                if !reaches(image, directory, &to) {
                    continue;
                }
                let mail = NewMail {
                    event: released(&experiment, &to),
                    what: MailKind::Released,
                    to,
                    experiment: experiment.clone(),
                };
                transaction.mails().queue(&mail, at).await?;
            }
        }
        OccasionKind::Withdrawn(section) => {
            for to in people_of(image, directory, section.as_deref()) {
                let event = released(&experiment, &to);
                let why = "the results were withdrawn before it was sent";
                transaction
                    .mails()
                    .undo(&event, occasion.seq, why, at)
                    .await?;
            }
        }
    }
    Ok(())
}

/// The event that somebody has the results of an experiment: once, until they are withdrawn.
fn released(experiment: &str, to: &MailFor) -> String {
    format!("released/{experiment}/{}", to.key)
}

fn people_of(image: &Image, directory: &Directory, section: Option<&str>) -> Vec<MailFor> {
    let enrolled = image.term.enrolled();
    let own = enrolled.filter(|s| section.is_none_or(|section| s.section == section));
    own.filter_map(|s| directory.of_student(&s.id)).collect()
}

/// Whether somebody has an address and wants more than codes.
fn reaches(image: &Image, directory: &Directory, to: &MailFor) -> bool {
    let reached = directory.reach(image, to);
    reached.is_some_and(|one| one.wanted && !one.address.is_empty())
}

fn is_morning(image: &Image, at: Timestamp) -> bool {
    let now = image.term.course.zone.local(at).time();
    (MORNING..NOON).contains(&now)
}

fn digests_of(image: &Image, directory: &Directory, at: Timestamp) -> Vec<NewMail> {
    let day = image.term.course.zone.local(at).date();
    let told = assistants(image).filter_map(|assistant| {
        let to = of_staff(&assistant.login);
        let waits = !waiting_for(image, &assistant.login).is_empty();
        (waits && reaches(image, directory, &to)).then(|| NewMail {
            event: format!("digest/{}/{day}", assistant.login),
            what: MailKind::Digest,
            to,
            experiment: String::new(),
        })
    });
    told.collect()
}

/// What waits for an assistant, in course order.
pub(super) fn waiting_for(image: &Image, login: &str) -> Vec<Waiting> {
    let term = &image.term;
    let Some(own) = assistants(image).find(|one| one.login == login) else {
        return Vec::new();
    };
    let sees = |id: &crate::ids::StudentId| {
        let student = term.student(id).filter(|student| student.is_enrolled());
        student.is_some_and(|student| own.sections.contains(&student.section))
    };
    let of_experiment = term.experiments.iter().map(|experiment| {
        let slots = image.judged.iter();
        let own =
            slots.filter(|(slot, _)| slot.experiment == experiment.key && sees(&slot.student));
        let (mut to_review, mut unanswered) = (0, 0);
        for (slot, judged) in own {
            to_review += usize::from(judged.status == Status::ToReview);
            unanswered += usize::from(term.unanswered(slot).is_some());
        }
        Waiting {
            experiment: experiment.key.to_string(),
            title: experiment.procedure.title.clone(),
            to_review,
            unanswered,
        }
    });
    let some = of_experiment.filter(|one| one.to_review + one.unanswered > 0);
    some.collect()
}

/// Queues a one-time code for each of these students, as the coordinator asks for it; it is made when it is sent.
pub async fn ask_for_codes(
    desk: &Desk,
    logins: &[String],
    by: By<'_>,
    at: Timestamp,
) -> Result<CodesAsked, StoreError> {
    let image = desk.look().await?;
    let mut asked = CodesAsked::default();
    let mut people = Vec::new();
    for login in logins {
        match people_called(desk, login).await?.as_slice() {
            [one] if one.account().kind == Kind::Student => people.push(one.account()),
            _ => asked.passed_over += 1,
        }
    }
    let mut transaction = desk.store().write().await?;
    let directory = Directory::read(&mut transaction).await?;
    for id in people {
        let to = directory.of(&id);
        let reached = to.as_ref().and_then(|to| directory.reach(&image, to));
        let Some(to) = to.filter(|_| reached.is_some_and(|one| !one.address.is_empty())) else {
            asked.passed_over += 1;
            continue;
        };
        if transaction.mails().waits(MailKind::Code, &to).await? {
            asked.passed_over += 1;
            continue;
        }
        let mail = NewMail {
            event: format!("code/{}/{}", to.key, at.as_millisecond()),
            what: MailKind::Code,
            to,
            experiment: String::new(),
        };
        transaction.mails().queue(&mail, at).await?;
        let event = Event {
            at,
            what: What::CodeMailed,
            who: Some(&id),
            by: by.login,
            subject: "",
            network: by.network,
        };
        transaction.accounts().note(event).await?;
        asked.queued += 1;
    }
    transaction.commit().await?;
    Ok(asked)
}

/// How long after it was queued a digest says nothing new any more.
pub(super) const DIGEST_HOLDS: SignedDuration = SignedDuration::from_hours(12);

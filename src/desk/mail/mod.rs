//! Mail and calendars: what is queued, what is sent, what each person chose. Mail follows from the journal after the fact,
//! by how far it was gone through, so that nothing is lost and nothing queued twice, whoever is killed in between.

mod calendars;
mod queue;
mod send;
mod texts;

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::accounts::{By, Event, What};
use super::{Desk, Image};
use crate::course::StaffRole;
use crate::ids::StudentId;
use crate::store::accounts::{AccountId, Kind};
use crate::store::mail::{Choice, Mail, MailFor};
use crate::store::{Connection, StoreError, student_keys};

pub use crate::store::SendState;
pub use crate::store::mail::MailKind;
pub use calendars::{CalendarOwner, calendar_of, opened_calendar, set_calendar};
pub use queue::{CodesAsked, ask_for_codes};
pub use send::{GIVEN_UP_AFTER, pass};

/// Who is who, of those to whom mail may go.
pub(super) struct Directory {
    /// Student keys by number.
    keys: BTreeMap<StudentId, String>,
    numbers: BTreeMap<String, StudentId>,
    choices: BTreeMap<MailFor, Choice>,
}

/// Somebody whom mail can reach.
pub(super) struct Reached {
    pub address: String,
    /// Whether they want more than codes.
    pub wanted: bool,
}

/// Somebody's own settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnMail {
    /// Where mail goes; empty if nowhere.
    pub address: String,
    /// Whether they want more than codes.
    pub wanted: bool,
    /// Whether the course sends any of its own accord.
    pub by_course: bool,
}

/// A mail as the coordinator's list shows it.
#[derive(Clone, Debug)]
pub struct Listed {
    pub mail: Mail,
    /// A login or a student's number; empty for somebody who was taken out.
    pub who: String,
}

impl Directory {
    pub async fn read(connection: &mut Connection) -> Result<Self, StoreError> {
        let keys = student_keys(&mut *connection).await?;
        // whoever was taken out is in it by the key in the place of a number, and so is everybody else beside it
        let named = keys
            .iter()
            .filter(|(number, key)| number.as_str() != key.as_str());
        let numbers = named.map(|(number, key)| (key.clone(), number.clone()));
        Ok(Self {
            numbers: numbers.collect(),
            choices: crate::store::mail::Mails(connection).choices().await?,
            keys,
        })
    }

    pub fn of_student(&self, number: &StudentId) -> Option<MailFor> {
        self.keys.get(number).map(|key| MailFor {
            kind: Kind::Student,
            key: key.clone(),
        })
    }

    pub fn number(&self, to: &MailFor) -> Option<&StudentId> {
        self.numbers
            .get(&to.key)
            .filter(|_| to.kind == Kind::Student)
    }

    fn of(&self, id: &AccountId) -> Option<MailFor> {
        match id.kind {
            Kind::Student => self.of_student(&StudentId::new(id.login.as_str())),
            Kind::Staff => Some(of_staff(&id.login)),
        }
    }

    /// How somebody is reached who is on the course now.
    pub fn reach(&self, image: &Image, to: &MailFor) -> Option<Reached> {
        let choice = self.choices.get(to);
        let wanted = choice.is_none_or(|choice| choice.wanted);
        let address = match to.kind {
            Kind::Student => {
                let student = image.term.student(self.number(to)?)?;
                student
                    .is_enrolled()
                    .then(|| student.email.trim().to_owned())?
            }
            Kind::Staff => {
                let listed = image.term.staff.iter().any(|one| one.login == to.key);
                choice.filter(|_| listed)?.address.clone()
            }
        };
        Some(Reached { address, wanted })
    }
}

fn of_staff(login: &str) -> MailFor {
    MailFor {
        kind: Kind::Staff,
        key: login.to_owned(),
    }
}

/// What somebody chose, and where mail for them goes.
pub async fn own_mail(desk: &Desk, id: &AccountId) -> Result<OwnMail, StoreError> {
    let image = desk.look().await?;
    let mut reader = desk.store().read().await?;
    let directory = Directory::read(&mut reader).await?;
    let by_course = reader.mails().is_wanted().await?;
    let reached = directory.of(id).and_then(|to| directory.reach(&image, &to));
    Ok(OwnMail {
        wanted: reached.as_ref().is_some_and(|one| one.wanted),
        address: reached.map(|one| one.address).unwrap_or_default(),
        by_course,
    })
}

/// Chooses: whether more than codes is wanted, and for staff, whose list has none, at which address.
pub async fn choose_own(
    desk: &Desk,
    id: &AccountId,
    wanted: bool,
    address: &str,
) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    let directory = Directory::read(&mut transaction).await?;
    let Some(to) = directory.of(id) else {
        return transaction.abandon().await;
    };
    let address = match id.kind {
        Kind::Staff => address.to_owned(),
        // theirs is on the roster
        Kind::Student => String::new(),
    };
    transaction
        .mails()
        .choose(&to, &Choice { wanted, address })
        .await?;
    transaction.commit().await
}

/// Whether the course sends mail of its own accord.
pub async fn is_wanted(desk: &Desk) -> Result<bool, StoreError> {
    desk.store().read().await?.mails().is_wanted().await
}

/// Turns the course's own mail on or off, and writes down that it was.
pub async fn want(
    desk: &Desk,
    wanted: bool,
    (id, by): (&AccountId, By<'_>),
    at: Timestamp,
) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    transaction.mails().want(wanted).await?;
    let event = Event {
        at,
        what: What::RuleChanged,
        who: Some(id),
        by: "",
        subject: if wanted {
            "mail turned on"
        } else {
            "mail turned off"
        },
        network: by.network,
    };
    transaction.accounts().note(event).await?;
    transaction.commit().await
}

/// The newest mail first, of one state if one is given, and how many there are of each.
pub async fn listed(
    desk: &Desk,
    state: Option<SendState>,
    most: i64,
) -> Result<(Vec<Listed>, BTreeMap<SendState, u64>), StoreError> {
    let mut reader = desk.store().read().await?;
    let directory = Directory::read(&mut reader).await?;
    let mails = reader.mails().newest(state, most).await?;
    let counts = reader.mails().counts().await?;
    let listed = mails.into_iter().map(|mail| Listed {
        who: match mail.to.kind {
            Kind::Staff => mail.to.key.clone(),
            Kind::Student => directory
                .number(&mail.to)
                .map(ToString::to_string)
                .unwrap_or_default(),
        },
        mail,
    });
    Ok((listed.collect(), counts))
}

/// Assistants, who are told what waits.
fn assistants(image: &Image) -> impl Iterator<Item = &crate::course::StaffMember> {
    let staff = image.term.staff.iter();
    staff.filter(|one| one.role == StaffRole::Assistant)
}

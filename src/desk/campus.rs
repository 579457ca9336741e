//! Letting in whom the institution names, by what the coordinator chose. What they may, the course says.

use jiff::Timestamp;

use super::Desk;
use super::accounts::{AccountError, Entry, Event, Person, What};
use super::noted::note;
use super::person::people_called;
use super::second_step;
use super::sessions::{Coming, come_in};
use crate::store::StoreError;
use crate::store::accounts::{AccountId, Kind, Setting};

/// By what the institution's sign-in is believed to name people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matching {
    /// A claim of the provider's tokens.
    pub claim: String,
    pub by: MatchedBy,
}

/// With what of the course a name from outside is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MatchedBy {
    /// Logins of staff and numbers of students.
    Login,
    /// Addresses on the roster, which students alone have.
    Email,
}

/// How the course lets people in beyond what everybody does, and how long it keeps where they were.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignInSettings {
    pub matching: Matching,
    /// Names of the institution, on which no password may rest.
    pub institution: String,
    pub places_kept_days: i64,
}

impl MatchedBy {
    pub const ALL: [Self; 2] = [Self::Login, Self::Email];

    /// As it is stored and sent.
    pub fn name(self) -> &'static str {
        match self {
            Self::Login => "login",
            Self::Email => "email",
        }
    }

    /// As people read it.
    pub fn words(self) -> &'static str {
        match self {
            Self::Login => "login or student number",
            Self::Email => "address on the roster, of students",
        }
    }
}

/// What the course chose.
pub async fn settings(desk: &Desk) -> Result<SignInSettings, StoreError> {
    let mut reader = desk.store().read().await?;
    let mut accounts = reader.accounts();
    let claim = accounts.setting(Setting::CampusClaim).await?;
    let by = accounts.setting(Setting::CampusMatch).await?;
    let by = MatchedBy::ALL
        .into_iter()
        .find(|one| Some(one.name()) == by.as_deref());
    Ok(SignInSettings {
        matching: Matching {
            claim: claim.unwrap_or_else(|| "preferred_username".to_owned()),
            by: by.unwrap_or(MatchedBy::Login),
        },
        institution: accounts
            .setting(Setting::Institution)
            .await?
            .unwrap_or_default(),
        places_kept_days: accounts.places_kept_days().await?,
    })
}

/// Chooses otherwise, and writes down that it was chosen.
pub async fn choose(
    desk: &Desk,
    settings: &SignInSettings,
    by: &AccountId,
    network: &str,
    at: Timestamp,
) -> Result<(), StoreError> {
    let matching = &settings.matching;
    let days = settings.places_kept_days.to_string();
    let subject = format!(
        "campus sign-in by {} as {}; addresses kept for {days} days",
        matching.claim,
        matching.by.name()
    );
    let mut transaction = desk.store().write().await?;
    let mut accounts = transaction.accounts();
    accounts.set(Setting::CampusClaim, &matching.claim).await?;
    accounts
        .set(Setting::CampusMatch, matching.by.name())
        .await?;
    accounts
        .set(Setting::Institution, &settings.institution)
        .await?;
    accounts.set(Setting::PlacesKeptDays, &days).await?;
    let event = Event {
        at,
        what: What::RuleChanged,
        who: Some(by),
        by: "",
        subject: &subject,
        network,
    };
    accounts.note(event).await?;
    transaction.commit().await
}

/// The person of the course whom the institution names. Nobody, where more than one bears that name.
pub async fn person_named(
    desk: &Desk,
    name: &str,
    by: MatchedBy,
) -> Result<Option<Person>, StoreError> {
    let login = match by {
        MatchedBy::Login => Some(name.to_owned()),
        MatchedBy::Email => student_of_address(desk, name).await?.map(|id| id.login),
    };
    let Some(login) = login else {
        return Ok(None);
    };
    let mut people = people_called(desk, &login).await?;
    if by == MatchedBy::Email {
        // an address is what one course's roster says: it lets nobody in who is on the staff of another
        people.retain(|person| person.account().kind == Kind::Student);
    }
    Ok(match people.as_slice() {
        [one] if !name.is_empty() => Some(one.clone()),
        _ => None,
    })
}

/// The student of an address on the roster; none, where more than one has it.
pub(super) async fn student_of_address(
    desk: &Desk,
    address: &str,
) -> Result<Option<AccountId>, StoreError> {
    let image = desk.look().await?;
    let students = image.term.students.iter();
    let mut same = students.filter(|s| s.is_enrolled() && s.email.eq_ignore_ascii_case(address));
    let only = same.next().filter(|_| same.next().is_none());
    let only = only.filter(|_| !address.is_empty());
    Ok(only.map(|student| AccountId {
        kind: Kind::Student,
        login: student.id.to_string(),
    }))
}

/// Lets somebody in whom the institution or a platform named, and says how, or to the second step; with an account that is closed nobody.
pub async fn sign_in_named(
    desk: &Desk,
    (person, how): (Person, &str),
    network: &str,
    at: Timestamp,
) -> Result<Entry, AccountError> {
    let id = person.account();
    let mut transaction = desk.store().write().await?;
    let mut accounts = transaction.accounts();
    accounts.keep_account(&id, at).await?;
    let account = accounts.account(&id).await?;
    if account.is_none_or(|account| account.disabled) {
        transaction.abandon().await?;
        return Err(AccountError::Wrong);
    }
    let step = accounts.second_step(&id).await?;
    if step.is_some_and(|step| step.confirmed) {
        let ticket = second_step::ticket(desk, transaction, &id, at).await?;
        return Ok(Entry::SecondStep(ticket));
    }
    let event = Event {
        at,
        what: What::SignedIn,
        who: Some(&id),
        by: "",
        subject: how,
        network,
    };
    let coming = Coming {
        id: &id,
        counted: None,
        second_step: None,
        event,
    };
    let token = come_in(desk, transaction, coming).await?;
    Ok(Entry::In(person, token))
}

/// Writes down that the institution named somebody who is nobody here. Not who: that is no business of the course.
pub async fn note_stranger(desk: &Desk, network: &str, at: Timestamp) -> Result<(), StoreError> {
    let event = Event {
        at,
        what: What::Failed,
        who: None,
        by: "",
        subject: "the institution named nobody of this course",
        network,
    };
    note(desk, event).await
}

//! Who is launched, and from which course of a platform; which course of this server that is, a coordinator says who was
//! launched from there as one who teaches it.

use jiff::Timestamp;

use super::{Doing, LinkedContext, note};
use crate::desk::Desk;
use crate::desk::accounts::{AccountId, Kind, Person, number_beside};
use crate::desk::campus::{MatchedBy, person_named};
use crate::desk::person::person;
use crate::lti::{Launch, NamedBy, Platform};
use crate::store::StoreError;

/// What a launch comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Launched {
    /// Somebody, and the key of the course it is from, where that is known; it is empty where there is one course only.
    By(Person, Option<String>),
    /// Nobody of these lists, or (not `named`) the platform does not say who it is in the way that was chosen.
    Nobody {
        named: bool,
        /// Name of the platform's course that they teach, if they do.
        teaches: Option<String>,
    },
}

/// Who is launched. Whoever was launched before is known by what the platform calls them for good, whatever else it says of
/// them by now.
pub async fn launched(
    people: &Desk,
    platform: &Platform,
    launch: &Launch,
    at: Timestamp,
) -> Result<Launched, StoreError> {
    let who = (platform.issuer.as_str(), launch.subject.as_str());
    let known = {
        let mut reader = people.store().read().await?;
        reader.contexts().person(who.0, who.1).await?
    };
    let is_joined = match &known {
        Some(id) => signs_in_as_staff(people, id).await?,
        None => false,
    };
    let found = match (known, &launch.name) {
        // linked as a student, perhaps by an address: to come in as staff they have to be named by their number or login
        (Some(id), Some(name)) if is_joined => {
            let found = named(people, platform.named_by, name).await?;
            let number = found.as_ref().map(Person::account);
            let number = match number {
                Some(staff) => number_beside(people, &staff).await?,
                None => None,
            };
            found.filter(|_| number.is_some_and(|number| number == id.login))
        }
        (Some(id), _) => person(people, &id).await?,
        (None, Some(name)) => named(people, platform.named_by, name).await?,
        (None, None) => None,
    };
    // the deployment of the message, not of the first registration
    let of = Platform {
        deployment: launch.deployment.clone(),
        ..platform.clone()
    };
    let mut transaction = people.store().write().await?;
    let mut contexts = transaction.contexts();
    let Some(found) = found else {
        let mut teaches = None;
        if let Some(context) = launch.context.as_ref().filter(|_| launch.teaches) {
            teaches = Some(contexts.keep(&of, context, at).await?);
        }
        transaction.commit().await?;
        return Ok(Launched::Nobody {
            named: launch.name.is_some(),
            teaches,
        });
    };
    let account = found.account();
    if is_joined {
        contexts.is_of_staff(who, &account.login, at).await?;
    }
    contexts.keep_person(who, &account, at).await?;
    let mut course = None;
    if let Some(context) = &launch.context {
        let name = contexts.keep(&of, context, at).await?;
        contexts.keep_member(&name, who, launch.teaches).await?;
        course = contexts.named(&name).await?.and_then(|one| one.course);
    }
    transaction.commit().await?;
    Ok(Launched::By(found, course))
}

/// Whether an account is that of a student who signs in by a login of staff, so that it lets nobody in.
async fn signs_in_as_staff(people: &Desk, id: &AccountId) -> Result<bool, StoreError> {
    let image = people.look().await?;
    let login = image.term.login_of_student(&id.login);
    Ok(id.kind == Kind::Student && login.is_some())
}

/// The person of the lists whom a platform names; nobody, where more than one bears that name.
pub(super) async fn named(
    people: &Desk,
    by: NamedBy,
    name: &str,
) -> Result<Option<Person>, StoreError> {
    let by = match by {
        NamedBy::Email => MatchedBy::Email,
        NamedBy::SourcedId | NamedBy::Custom => MatchedBy::Login,
    };
    person_named(people, name, by).await
}

/// The courses of platforms that are a course of this server.
pub async fn courses_of(people: &Desk, course: &str) -> Result<Vec<LinkedContext>, StoreError> {
    let mut reader = people.store().read().await?;
    reader.contexts().of_course(course).await
}

/// The courses of platforms that somebody may say of which course they are.
pub async fn open_to(people: &Desk, id: &AccountId) -> Result<Vec<LinkedContext>, StoreError> {
    people.store().read().await?.contexts().open_to(id).await
}

/// A course of a platform that is no course here yet.
pub async fn untaken(people: &Desk, name: &str) -> Result<Option<LinkedContext>, StoreError> {
    let mut reader = people.store().read().await?;
    let found = reader.contexts().named(name).await?;
    Ok(found.filter(|one| one.course.is_none()))
}

/// Says which course of this server a course of a platform is, and writes it down; false where it is not theirs to say, or
/// somebody has said it. It is also theirs to say with the code of a launch (`by_code`).
pub async fn is_taken_for(
    people: &Desk,
    (name, course): (&str, &str),
    by_code: bool,
    doing: &Doing,
) -> Result<bool, StoreError> {
    let mut transaction = people.store().write().await?;
    let mut contexts = transaction.contexts();
    let mut theirs = contexts.open_to(&doing.who).await?;
    if by_code {
        theirs.extend(contexts.named(name).await?);
    }
    let context = theirs.into_iter().find(|one| one.name == name);
    let Some(context) = context.filter(|one| one.course.is_none()) else {
        transaction.abandon().await?;
        return Ok(false);
    };
    contexts.link(name, Some(course)).await?;
    let subject = format!(
        "{} of {} is this course",
        context.context.title, context.issuer
    );
    note(transaction, &subject, doing).await?;
    Ok(true)
}

/// Takes a course of a platform for this course no more, and writes that down; false where it is not taken for it.
pub async fn leave_course(
    people: &Desk,
    (name, course): (&str, &str),
    doing: &Doing,
) -> Result<bool, StoreError> {
    let mut transaction = people.store().write().await?;
    let mut contexts = transaction.contexts();
    let theirs = contexts.of_course(course).await?;
    let Some(context) = theirs.into_iter().find(|one| one.name == name) else {
        transaction.abandon().await?;
        return Ok(false);
    };
    contexts.link(name, None).await?;
    let subject = format!(
        "{} of {} is this course no more",
        context.context.title, context.issuer
    );
    note(transaction, &subject, doing).await?;
    Ok(true)
}

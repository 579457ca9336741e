//! Members of a course of a platform: fetched page by page, and known by who they are there from then on.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;

use super::{LinkedContext, PlatformError, account, platform_of, signing_key};
use crate::campus::{Account, Answer, Ask, OwnKey, ServiceFault, Services};
use crate::desk::Desk;
use crate::desk::accounts::Kind;
use crate::desk::campus::student_of_address;
use crate::ids::StudentId;
use crate::lti::{
    GROUPS_KIND, Groups, Member, MembersFault, NamedBy, Page, Scope, groups, next_page,
};
use crate::store::StoreError;

/// More pages than this are no course.
const MOST_PAGES: usize = 200;

/// What a platform says of a course.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fetched {
    pub members: Vec<Member>,
    pub groups: Groups,
    /// So many had no id that can be one.
    pub unnamed: usize,
    pub named_by: NamedBy,
    /// Students by who they are at the platform, as far as it is known.
    pub linked: BTreeMap<String, StudentId>,
}

/// Somebody who asks services of a platform.
struct Asking<'a> {
    services: &'a Arc<Services>,
    account: Account,
    key: Arc<OwnKey>,
    now: i64,
}

/// Fetches the members of a course of a platform. Who they are there is kept; nothing of the course is changed.
pub async fn fetch(
    (people, services): (&Desk, &Arc<Services>),
    context: &LinkedContext,
    at: Timestamp,
) -> Result<Fetched, PlatformError> {
    let platform = platform_of(people, context).await?;
    let asking = Asking {
        services,
        account: account(&platform)?,
        key: signing_key(people, at).await?,
        now: at.as_second(),
    };
    let place = &context.context;
    if !place.gives_members() {
        return Err(PlatformError::NotSetUp(
            "found no address of members in what the platform launched with, expected one: it has to give this server its Names and Roles service",
        ));
    }
    let groups = match place.groups.as_str() {
        "" => Groups::new(),
        address => {
            let answer = asking.ask(address, GROUPS_KIND, Scope::Groups).await?;
            groups(&answer.body)?
        }
    };
    let mut fetched = Fetched {
        members: Vec::new(),
        groups,
        unnamed: 0,
        named_by: platform.named_by,
        linked: BTreeMap::new(),
    };
    let mut next = Some(first_page(context, platform.named_by));
    for _ in 0..MOST_PAGES {
        let Some(address) = next else { break };
        let answer = asking.ask(&address, Page::KIND, Scope::Members).await?;
        let page = Page::read(&answer.body)?;
        fetched.members.extend(page.members);
        fetched.unnamed = fetched.unnamed.saturating_add(page.unnamed);
        next = next_page(answer.link.as_deref(), &address)?;
    }
    if next.is_some() {
        return Err(MembersFault::Form("members that ends").into());
    }
    keep(people, context, &fetched).await?;
    fetched.linked = linked(people, &context.issuer).await?;
    Ok(fetched)
}

/// Students by who they are at the platform of an issuer, those too who sign in by a login of staff.
async fn linked(people: &Desk, issuer: &str) -> Result<BTreeMap<String, StudentId>, StoreError> {
    let image = people.look().await?;
    let mut reader = people.store().read().await?;
    let mut contexts = reader.contexts();
    let staff = contexts.people(issuer, Kind::Staff).await?.into_iter();
    let staff = staff.filter_map(|(sub, login)| {
        let number = image.term.number_of_staff(&login)?;
        Some((sub, number.clone()))
    });
    let mut linked: BTreeMap<String, StudentId> = staff.collect();
    let students = contexts.people(issuer, Kind::Student).await?;
    linked.extend(
        students
            .into_iter()
            .map(|(sub, id)| (sub, StudentId::new(id))),
    );
    Ok(linked)
}

/// Learners of a course of a platform: by their number, who they are there, those too who sign in by a login of staff.
pub(super) async fn learners(
    people: &Desk,
    context: &str,
) -> Result<BTreeMap<String, String>, StoreError> {
    let image = people.look().await?;
    let mut reader = people.store().read().await?;
    let mut contexts = reader.contexts();
    let mut learners = contexts.members(context, Kind::Student).await?;
    for (login, sub) in contexts.members(context, Kind::Staff).await? {
        if let Some(number) = image.term.number_of_staff(&login) {
            // as staff they have been named since
            learners.insert(number.to_string(), sub);
        }
    }
    Ok(learners)
}

/// Custom parameters come with members only where they are asked for with a link (NRPS 3.2); groups where they are asked
/// for (GS).
fn first_page(context: &LinkedContext, named_by: NamedBy) -> String {
    let place = &context.context;
    let mut query = form_urlencoded::Serializer::new(String::new());
    if named_by == NamedBy::Custom && !place.link.is_empty() {
        query.append_pair("rlid", &place.link);
    }
    if !place.groups.is_empty() {
        query.append_pair("groups", "true");
    }
    let query = query.finish();
    let joined = if place.memberships.contains('?') {
        '&'
    } else {
        '?'
    };
    match query.is_empty() {
        true => place.memberships.clone(),
        false => format!("{}{joined}{query}", place.memberships),
    }
}

async fn keep(people: &Desk, context: &LinkedContext, fetched: &Fetched) -> Result<(), StoreError> {
    let learners = fetched
        .members
        .iter()
        .filter(|one| one.learns && one.is_active);
    let learners = learners.map(|one| {
        let name = match fetched.named_by {
            NamedBy::Email => &one.email,
            NamedBy::SourcedId => &one.sourced_id,
            NamedBy::Custom => &one.number,
        };
        (one.sub.clone(), name.clone())
    });
    let learners: Vec<(String, String)> = learners.collect();
    let mut transaction = people.store().write().await?;
    let mut contexts = transaction.contexts();
    let place = (context.name.as_str(), context.issuer.as_str());
    contexts.keep_learners(place, &learners).await?;
    transaction.commit().await
}

/// Finds out who learners are that were fetched and are on the lists by now, in the same way as a launch would.
pub async fn know_learners(
    people: &Desk,
    context: &LinkedContext,
    at: Timestamp,
) -> Result<usize, StoreError> {
    let unknown = {
        let mut reader = people.store().read().await?;
        reader.contexts().unknown(&context.name).await?
    };
    if unknown.is_empty() {
        return Ok(0);
    }
    let platform = match platform_of(people, context).await {
        Ok(platform) => platform,
        Err(PlatformError::Store(why)) => return Err(why),
        // registered no more
        Err(_) => return Ok(0),
    };
    let mut found = Vec::new();
    for (sub, name) in unknown {
        let person = super::courses::named(people, platform.named_by, &name).await?;
        let id = match (person, platform.named_by) {
            (Some(person), _) => Some(person.account()),
            // of a student who signs in by a login of staff an address is enough for grades, and for nothing else
            (None, NamedBy::Email) => student_of_address(people, &name).await?,
            (None, NamedBy::SourcedId | NamedBy::Custom) => None,
        };
        found.extend(id.map(|id| (sub, id)));
    }
    if found.is_empty() {
        return Ok(0);
    }
    let mut transaction = people.store().write().await?;
    let mut contexts = transaction.contexts();
    for (sub, id) in &found {
        contexts.keep_person((&context.issuer, sub), id, at).await?;
        contexts.is_known(&context.name, sub).await?;
    }
    transaction.commit().await?;
    Ok(found.len())
}

impl Asking<'_> {
    async fn ask(
        &self,
        address: &str,
        kind: &'static str,
        scope: Scope,
    ) -> Result<Answer, ServiceFault> {
        let ask = Ask {
            address: address.to_owned(),
            kind,
            body: None,
            scopes: scope.name().to_owned(),
        };
        self.services
            .ask(&self.account, &self.key, ask, self.now)
            .await
    }
}

//! What happened to accounts: to one's own, and to everybody's for the coordinator.

use std::collections::BTreeSet;

use askama::Template;
use axum::response::{IntoResponse, Redirect};

use super::campus::{BY_INSTITUTION, BY_PLATFORM};
use super::{Caller, local};
use crate::course::Zone;
use crate::desk::accounts::{AccessEvent, By, What, number_beside, people_called, person_here};
use crate::desk::campus::settings;
use crate::desk::sessions::end_sessions_of;
use crate::language::Language;
use crate::web::frame::{Frame, Page};
use crate::web::{CoordinatorVisitor, Fields, PageError, PageResult, QueryFields, Visitor};

/// So many events are shown.
const SHOWN: i64 = 300;
/// Among so many of a department those of a course are looked for.
const LOOKED_THROUGH: i64 = 5_000;

#[derive(Template)]
#[template(path = "access.html")]
struct AccessPage {
    frame: Frame,
    /// Whether it is the coordinator's, of everybody.
    everybody: bool,
    who: String,
    /// For how many days addresses are kept.
    kept_days: i64,
    /// Where to go on to, if somebody was led here from signing in.
    next: Option<String>,
    events: Vec<Shown>,
}

struct Shown {
    at: String,
    who: String,
    what: String,
    by: String,
    subject: String,
    network: String,
}

/// `GET /access`: one's own.
pub(super) async fn own(
    visitor: Visitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let mut reader = visitor.state.people.store().read().await?;
    let mut accounts = reader.accounts();
    let id = visitor.person.account();
    let events = accounts.events_of(&id, false, SHOWN).await?;
    drop(reader);
    let news = query.one("next").is_some();
    let next = local(query.text("next")).unwrap_or(visitor.home());
    page(&visitor, events, None, news.then(|| next.to_owned())).await
}

/// `GET /course/access`: everybody's; `?who=` one person's.
pub(in crate::web) async fn everybodys(
    visitor: CoordinatorVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let who = query.text("who");
    let only = (!who.is_empty()).then_some(who);
    let events = events(&visitor, only).await?;
    page(&visitor, events, Some(who), None).await
}

/// Newest first. In a course of a department: what was done in it, and how its people came in.
async fn events(visitor: &CoordinatorVisitor, only: Option<&str>) -> PageResult<Vec<AccessEvent>> {
    let state = &visitor.state;
    let mut reader = state.store().read().await?;
    let mut events = reader.accounts().events(only, SHOWN).await?;
    drop(reader);
    if state.place.course().is_none() {
        return Ok(events);
    }
    let mut reader = state.people.store().read().await?;
    let people = state.people.look().await?;
    let own_login = only.and_then(|number| people.term.login_of_student(number));
    let of_people = reader
        .accounts()
        .events(own_login.or(only), LOOKED_THROUGH)
        .await?;
    drop(reader);
    let image = state.desk.look().await?;
    let staff = image.term.staff.iter().map(|one| one.login.as_str());
    let here: BTreeSet<&str> = staff
        .chain(image.term.students.iter().map(|one| one.id.as_str()))
        .collect();
    // who signs in as staff of another course is known here by their number
    let own = of_people.into_iter().filter_map(|mut event| {
        if let Some(number) = people.term.number_of_staff(&event.who)
            && here.contains(number.as_str())
        {
            event.who = number.to_string();
        }
        here.contains(event.who.as_str()).then_some(event)
    });
    events.extend(own);
    events.sort_by_key(|event| std::cmp::Reverse(event.at));
    events.truncate(usize::try_from(SHOWN).unwrap_or_default());
    Ok(events)
}

/// `POST /access`: whoever is signed in signs out everywhere, here too.
pub(super) async fn leave_everywhere(
    visitor: Visitor,
    caller: Caller,
    _fields: Fields,
) -> PageResult<Redirect> {
    let id = visitor.person.account();
    let by = By {
        login: &id.login,
        network: &caller.network,
    };
    end_sessions_of(&visitor.state.people, &id, by, visitor.now()).await?;
    Ok(Redirect::to("/sign-in"))
}

/// `POST /course/access`: the coordinator ends somebody's sessions.
pub(in crate::web) async fn end_sessions(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let who = fields.text("who");
    let desk = &visitor.state.people;
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let mut ours = Vec::new();
    for person in people_called(desk, who).await? {
        let account = person.account();
        let number = number_beside(desk, &account).await?;
        let here = person_here(&visitor.state.desk, (&account, number.as_ref())).await?;
        if here.is_some() {
            ours.push(account);
        }
    }
    if ours.is_empty() {
        return Err(PageError::unprocessable(
            "Found nobody of that login on the lists of this course, so nobody was signed out.",
        ));
    }
    for account in &ours {
        end_sessions_of(desk, account, by, visitor.now()).await?;
    }
    let who: String = form_urlencoded::byte_serialize(who.as_bytes()).collect();
    Ok(Redirect::to(&format!("/course/access?who={who}")))
}

async fn page(
    visitor: &Visitor,
    events: Vec<AccessEvent>,
    everybodys: Option<&str>,
    next: Option<String>,
) -> PageResult<Page<AccessPage>> {
    let look = visitor.state.people.look().await?;
    let kept_days = settings(&visitor.state.people).await?.places_kept_days;
    let zone = &look.term.course.zone;
    let title = match everybodys {
        Some(_) => "Who did what",
        None => visitor.language().text("access.title"),
    };
    Ok(Page(AccessPage {
        frame: visitor.frame(title),
        everybody: everybodys.is_some(),
        who: everybodys.unwrap_or_default().to_owned(),
        kept_days,
        next,
        events: events
            .into_iter()
            .map(|e| shown(e, zone, visitor.language()))
            .collect(),
    }))
}

fn shown(event: AccessEvent, zone: &Zone, language: Language) -> Shown {
    let what = What::ALL.into_iter().find(|what| what.name() == event.what);
    let is_password = matches!(what, Some(What::Claimed | What::PasswordSet));
    let key = what.map_or("access.newer".to_owned(), |what| {
        format!("access.event.{}", what.name())
    });
    Shown {
        at: language.date(zone.local(event.at)),
        who: event.who,
        what: language.text(&key).to_owned(),
        by: match event.by.as_str() {
            "command line" => language.text("access.command-line").to_owned(),
            _ => event.by,
        },
        subject: match event.subject.as_str() {
            // of a password the digest of its hash, which says nothing to anybody
            _ if is_password => String::new(),
            BY_INSTITUTION => language.text("access.by-institution").to_owned(),
            BY_PLATFORM => language.text("access.by-platform").to_owned(),
            _ => event.subject,
        },
        network: event.network.unwrap_or_default(),
    }
}

//! What happened to accounts: to one's own, and to everybody's for the coordinator.

use askama::Template;
use axum::response::{IntoResponse, Redirect};

use super::{Caller, local};
use crate::course::Zone;
use crate::desk::accounts::{AccessEvent, By, What, people_called};
use crate::desk::campus::settings;
use crate::desk::sessions::end_sessions_of;
use crate::web::frame::{Frame, Page, home};
use crate::web::{CoordinatorVisitor, Fields, PageResult, QueryFields, Visitor, dates};

/// So many events are shown.
const SHOWN: i64 = 300;

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
    what: &'static str,
    by: String,
    subject: String,
    network: String,
}

/// `GET /access`: one's own.
pub(super) async fn own(
    visitor: Visitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let mut reader = visitor.state.store().read().await?;
    let mut accounts = reader.accounts();
    let id = visitor.person.account();
    let events = accounts.events_of(&id, false, SHOWN).await?;
    drop(reader);
    let news = query.one("next").is_some();
    let next = local(query.text("next")).unwrap_or(home(&visitor.person.role));
    page(&visitor, events, None, news.then(|| next.to_owned())).await
}

/// `GET /course/access`: everybody's; `?who=` one person's.
pub(in crate::web) async fn everybodys(
    visitor: CoordinatorVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let who = query.text("who");
    let mut reader = visitor.state.store().read().await?;
    let only = (!who.is_empty()).then_some(who);
    let events = reader.accounts().events(only, SHOWN).await?;
    drop(reader);
    page(&visitor, events, Some(who), None).await
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
    end_sessions_of(&visitor.state.desk, &id, by, visitor.now()).await?;
    Ok(Redirect::to("/sign-in"))
}

/// `POST /course/access`: the coordinator ends somebody's sessions.
pub(in crate::web) async fn end_sessions(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let who = fields.text("who");
    let desk = &visitor.state.desk;
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    for person in people_called(desk, who).await? {
        end_sessions_of(desk, &person.account(), by, visitor.now()).await?;
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
    let look = visitor.state.desk.look().await?;
    let kept_days = settings(&visitor.state.desk).await?.places_kept_days;
    let zone = &look.term.course.zone;
    let title = match everybodys {
        Some(_) => "Who did what",
        None => "What happened to your account",
    };
    Ok(Page(AccessPage {
        frame: visitor.frame(title),
        everybody: everybodys.is_some(),
        who: everybodys.unwrap_or_default().to_owned(),
        kept_days,
        next,
        events: events.into_iter().map(|e| shown(e, zone)).collect(),
    }))
}

fn shown(event: AccessEvent, zone: &Zone) -> Shown {
    let what = What::ALL.into_iter().find(|what| what.name() == event.what);
    let is_password = matches!(what, Some(What::Claimed | What::PasswordSet));
    Shown {
        at: dates::instant(zone, event.at),
        who: event.who,
        what: what.map_or("something of a newer version", What::words),
        by: event.by,
        // of a password the digest of its hash, which says nothing to anybody
        subject: if is_password {
            String::new()
        } else {
            event.subject
        },
        network: event.network.unwrap_or_default(),
    }
}

//! Platforms from which people are launched into the course.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use crate::desk::lti::{
    Doing, OLD_KEY_SHOWN, forget_platform, make_key, platforms, published, register_platform,
};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::lti::{NamedBy, Platform};
use crate::web::sign_in::{Caller, own_to_choose};
use crate::web::{CoordinatorVisitor, Fields, Frame, Page, PageResult, PublicAddress, dates};

#[derive(Template)]
#[template(path = "coordinator/lti.html")]
struct PlatformsPage {
    frame: Frame,
    /// Where people find the course.
    address: String,
    platforms: Vec<Platform>,
    keys: Vec<KeyRow>,
    form: Filled,
}

/// A key of this server.
struct KeyRow {
    kid: String,
    made: String,
    /// Until when it is shown; empty for the one that signs.
    until: String,
}

/// `GET /course/lti`.
pub async fn page(visitor: CoordinatorVisitor, public: PublicAddress) -> PageResult<Response> {
    own_to_choose(&visitor)?;
    let typed = Typed::from([("named_by", NamedBy::Email.name())]);
    let page = filled(&visitor, public, (typed, Faults::default())).await?;
    Ok(page.into_response())
}

/// `POST /course/lti`: registers a platform.
pub async fn register(
    visitor: CoordinatorVisitor,
    public: PublicAddress,
    caller: Caller,
    Fields(typed): Fields,
) -> PageResult<Response> {
    own_to_choose(&visitor)?;
    let platform = match read(&typed) {
        Ok(platform) => platform,
        Err(faults) => {
            let page = filled(&visitor, public, (typed, faults)).await?;
            return Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY));
        }
    };
    let doing = doing(&visitor, &caller);
    register_platform(&visitor.state.people, &platform, &doing).await?;
    Ok(Redirect::to("/course/lti").into_response())
}

/// `POST /course/lti/remove`: nobody comes in from a deployment any more.
pub async fn remove(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    own_to_choose(&visitor)?;
    let which = (
        fields.need("issuer")?,
        fields.need("client")?,
        fields.need("deployment")?,
    );
    let doing = doing(&visitor, &caller);
    forget_platform(&visitor.state.people, which, &doing).await?;
    Ok(Redirect::to("/course/lti"))
}

/// `POST /course/lti/key`: another key signs from now on.
pub async fn another_key(visitor: CoordinatorVisitor, caller: Caller) -> PageResult<Redirect> {
    own_to_choose(&visitor)?;
    let doing = doing(&visitor, &caller);
    make_key(&visitor.state.people, &doing).await?;
    Ok(Redirect::to("/course/lti"))
}

/// The visitor, who does what is written down.
pub(super) fn doing(visitor: &CoordinatorVisitor, caller: &Caller) -> Doing {
    Doing {
        who: visitor.person.account(),
        network: caller.network.clone(),
        at: visitor.now(),
    }
}

fn form() -> Form {
    let named_by = NamedBy::ALL.map(|by| (by.name(), by.words()));
    Form::of(vec![
        Field::text("issuer", "Issuer")
            .hint("as the platform writes it, such as https://learn.example.edu")
            .longest(1_000)
            .needed()
            .wide(),
        Field::text("client", "Client id")
            .hint("what this server is called there")
            .longest(255)
            .needed(),
        Field::text("deployment", "Deployment id")
            .longest(255)
            .needed(),
        Field::text("authorize", "Address of its authentication requests")
            .longest(1_000)
            .needed()
            .wide(),
        Field::text("keys", "Address of its public keys")
            .hint("its JWKS")
            .longest(1_000)
            .needed()
            .wide(),
        Field::text("token", "Address of its tokens")
            .hint("for the roster and for grades: its OAuth 2 access token URL. Without it people are launched, and nothing else")
            .longest(1_000)
            .wide(),
        Field::text("audience", "Audience of requests for tokens")
            .hint("only if the platform names one that is not that address")
            .longest(1_000)
            .wide(),
        Field::pick("named_by", "By what it names people", &named_by)
            .hint("Take one that people cannot change themselves.")
            .needed(),
    ])
    .title("Register a platform")
    .enter("Register it")
}

fn read(typed: &Typed) -> Result<Platform, Faults> {
    let mut read = form().read(typed);
    let text = |name: &str| typed.text(name).to_owned();
    let platform = Platform {
        issuer: text("issuer"),
        client: text("client"),
        deployment: text("deployment"),
        authorize: text("authorize"),
        keys: text("keys"),
        token: text("token"),
        audience: text("audience"),
        named_by: NamedBy::from_name(typed.text("named_by")).unwrap_or_default(),
    };
    for (field, what) in platform.faults() {
        if !typed.text(field).is_empty() {
            read.fault(field, what);
        }
    }
    read.check()?;
    Ok(platform)
}

async fn filled(
    visitor: &CoordinatorVisitor,
    public: PublicAddress,
    (typed, faults): (Typed, Faults),
) -> PageResult<Page<PlatformsPage>> {
    let people = &visitor.state.people;
    let zone = people.look().await?.term.course.zone.clone();
    let (keys, _) = published(people, visitor.now()).await?;
    let until = |at: jiff::Timestamp| at.checked_add(OLD_KEY_SHOWN).unwrap_or(at);
    let keys = keys.into_iter().map(|key| KeyRow {
        made: dates::instant(&zone, key.made_at),
        until: key
            .retired_at
            .map(|at| dates::instant(&zone, until(at)))
            .unwrap_or_default(),
        kid: key.public.kid,
    });
    Ok(Page(PlatformsPage {
        frame: visitor.frame("Platforms"),
        address: public.0,
        keys: keys.collect(),
        platforms: platforms(people).await?,
        form: form().filled("/course/lti", typed, faults),
    }))
}

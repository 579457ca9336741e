//! Platforms from which people are launched into the course.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use crate::desk::accounts::By;
use crate::desk::lti::{forget_platform, platforms, register_platform};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::lti::{NamedBy, Platform};
use crate::web::sign_in::{Caller, own_to_choose};
use crate::web::{CoordinatorVisitor, Fields, Frame, Page, PageResult, PublicAddress};

#[derive(Template)]
#[template(path = "coordinator/lti.html")]
struct PlatformsPage {
    frame: Frame,
    /// Where people find the course.
    address: String,
    platforms: Vec<Platform>,
    form: Filled,
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
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let id = visitor.person.account();
    register_platform(&visitor.state.desk, &platform, (&id, by), visitor.now()).await?;
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
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let id = visitor.person.account();
    forget_platform(&visitor.state.desk, which, (&id, by), visitor.now()).await?;
    Ok(Redirect::to("/course/lti"))
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
    Ok(Page(PlatformsPage {
        frame: visitor.frame("Platforms"),
        address: public.0,
        platforms: platforms(&visitor.state.desk).await?,
        form: form().filled("/course/lti", typed, faults),
    }))
}

//! Everybody's own page of mail and calendar, and the calendar itself, for programs that know its address.

use askama::Template;
use axum::Router;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};

use super::sign_in::Caller;
use super::state::AppState;
use super::visitor::Visitor;
use super::{Fields, Frame, Page, PageError, PageResult, PublicAddress, QueryFields};
use crate::desk::accounts::{AccountError, Role};
use crate::desk::mail::{calendar_of, choose_own, opened_calendar, own_mail, set_calendar};
use crate::files::{CalendarOf, calendar};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::mail::is_address;

pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/mail", get(show).post(choose))
        .route("/mail/calendar", post(renew))
        .route("/calendar/{secret}", get(feed))
}

#[derive(Template)]
#[template(path = "mail.html")]
struct MailPage {
    frame: Frame,
    /// What can be chosen; none for those who get no mail of this kind.
    form: Option<Filled>,
    /// Of a student, as on the roster; empty if there is none.
    address: Option<String>,
    /// Whether the server has a mail server, and the course sends mail.
    sends: bool,
    /// The address of the calendar, if there is one.
    calendar: Option<String>,
}

/// `GET /mail`.
async fn show(
    visitor: Visitor,
    public: PublicAddress,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let own = own_mail(&visitor.state.desk, &visitor.person.account()).await?;
    let mut typed = Typed::from([("address", own.address)]);
    if own.wanted {
        typed.set("wanted", "yes");
    }
    let notice = match query.text("done") {
        "mail" => Some("Kept."),
        "calendar" => {
            Some("The calendar has a new address. One from before opens nothing any more.")
        }
        "ended" => Some("The calendar has no address any more."),
        _ => None,
    };
    Ok(
        page(&visitor, &public.0, (typed, Faults::default()), notice)
            .await?
            .into_response(),
    )
}

/// `POST /mail`.
async fn choose(
    visitor: Visitor,
    public: PublicAddress,
    Fields(typed): Fields,
) -> PageResult<Response> {
    let address = typed.text("address").to_owned();
    let is_assistant = matches!(visitor.person.role, Role::Assistant { .. });
    if is_assistant && !address.is_empty() && !is_address(&address) {
        let fault = "found something else, expected an address such as bo@example.edu";
        let faults = Faults::one("address", fault);
        let page = page(&visitor, &public.0, (typed, faults), None).await?;
        return Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY));
    }
    let wanted = typed.text("wanted") == "yes";
    let id = visitor.person.account();
    choose_own(&visitor.state.desk, &id, wanted, &address).await?;
    Ok(Redirect::to("/mail?done=mail").into_response())
}

/// `POST /mail/calendar`: a new address, or (`end`) none any more.
async fn renew(visitor: Visitor, fields: Fields) -> PageResult<Redirect> {
    let kept = fields.text("end") != "yes";
    let id = visitor.person.account();
    set_calendar(&visitor.state.desk, &id, kept, visitor.now()).await?;
    let done = if kept { "calendar" } else { "ended" };
    Ok(Redirect::to(&format!("/mail?done={done}")))
}

/// `GET /calendar/{secret}`: open to whoever knows it, and to nobody by a session.
async fn feed(
    State(state): State<AppState>,
    caller: Caller,
    PublicAddress(address): PublicAddress,
    Path(secret): Path<String>,
) -> PageResult<Response> {
    let secret = secret.strip_suffix(".ics").unwrap_or(&secret);
    let now = state.clock.now();
    let owner = match opened_calendar(&state.desk, secret, caller.from(), now).await {
        Err(AccountError::Wait(until)) => {
            let seconds = until.duration_since(now).as_secs().max(1);
            return Err(PageError::too_many(
                "There were too many addresses from here that open nothing. Wait a quarter of an hour, then try again.",
                seconds.unsigned_abs(),
            ));
        }
        owner => owner?,
    };
    let owner = owner.ok_or_else(PageError::not_found)?.0;
    let view = state.desk.view().await?;
    let whose = match &owner.role {
        Role::Student { .. } => CalendarOf::Student(&owner.login),
        Role::Assistant { sections } => CalendarOf::Staff(Some(sections)),
        Role::Coordinator | Role::Prep => CalendarOf::Staff(None),
    };
    let text = calendar(&view.term, &whose, &address, now);
    let kind = [(header::CONTENT_TYPE, "text/calendar; charset=utf-8")];
    Ok((kind, text).into_response())
}

fn form(role: &Role) -> Option<Form> {
    let fields = match role {
        Role::Student { .. } => vec![Field::tick(
            "wanted",
            "Mail when work comes back to me, and when results are out",
        )],
        Role::Assistant { .. } => vec![
            Field::text("address", "Your address")
                .hint("such as bo@example.edu; the staff list has none")
                .longest(254)
                .wide(),
            Field::tick(
                "wanted",
                "Mail on mornings when something of my sections waits",
            ),
        ],
        Role::Coordinator | Role::Prep => return None,
    };
    Some(Form::of(fields).enter("Keep this"))
}

async fn page(
    visitor: &Visitor,
    public: &str,
    (typed, faults): (Typed, Faults),
    notice: Option<&str>,
) -> PageResult<Page<MailPage>> {
    let (desk, id) = (&visitor.state.desk, visitor.person.account());
    let own = own_mail(desk, &id).await?;
    let secret = calendar_of(desk, &id).await?;
    let is_student = matches!(visitor.person.role, Role::Student { .. });
    let mut frame = visitor.frame("Mail and calendar");
    frame.notice = notice.map(str::to_owned);
    let form = form(&visitor.person.role);
    Ok(Page(MailPage {
        frame,
        form: form.map(|form| form.filled("/mail", typed, faults)),
        address: is_student.then_some(own.address),
        sends: visitor.state.mail && own.by_course,
        calendar: secret.map(|secret| format!("{public}/calendar/{secret}.ics")),
    }))
}

//! Claim slips to be printed and cut.

use askama::Template;
use axum::http::{HeaderMap, header};
use axum::response::IntoResponse;

use crate::course::Zone;
use crate::desk::accounts::{
    AccountError, By, IssuedCode, Kind, claimed, have_a_way_in, issue_claim_codes, people_called,
};
use crate::web::sign_in::Caller;
use crate::web::{AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, dates};

#[derive(Template)]
#[template(path = "coordinator/slips.html")]
pub(in crate::web) struct Slips {
    frame: Frame,
    slips: Vec<Slip>,
    address: String,
    until: String,
    /// Where to go on from here.
    back: &'static str,
}

struct Slip {
    name: String,
    login: String,
    code: String,
}

/// `POST /course/slips`: for those of a section, or of the staff, who have no password yet, or for one person. The
/// codes are on this page and nowhere else.
pub async fn print(
    visitor: CoordinatorVisitor,
    headers: HeaderMap,
    caller: Caller,
    fields: Fields,
) -> PageResult<impl IntoResponse> {
    let mut whose = fields.text("section").to_owned();
    let one = fields.text("login");
    let logins: Vec<String> = if !one.is_empty() {
        one.clone_into(&mut whose);
        vec![one.to_owned()]
    } else if fields.one("staff").is_some() {
        "staff".clone_into(&mut whose);
        let held = claimed(&visitor.state.people, Kind::Staff).await?;
        let view = visitor.view().await?;
        let logins = view.term.staff.iter().map(|s| s.login.clone());
        logins.filter(|login| !held.contains(login)).collect()
    } else {
        let held = claimed(&visitor.state.people, Kind::Student).await?;
        let view = visitor.view().await?;
        let students = view.term.enrolled_in_order();
        let students = students.filter(|s| s.section == whose);
        let ids = students.map(|s| s.id.to_string());
        ids.filter(|id| !held.contains(id)).collect()
    };
    if logins.is_empty() {
        return Err(PageError::unprocessable(
            "Everybody there has set a password already, or nobody is there, so no slip was made. For a lost password \
             make a slip for one person.",
        ));
    }
    let logins = may_let_in(&visitor, logins).await?;
    let now = visitor.now();
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let issued = match issue_claim_codes(&visitor.state.people, &logins, by, now).await {
        Ok(issued) => issued,
        Err(why @ AccountError::Logins(_)) => {
            return Err(PageError::unprocessable(format!(
                "No slip was made: {why}."
            )));
        }
        Err(other) => return Err(other.into()),
    };
    let zone = visitor.view().await?.term.course.zone.clone();
    let page = (&headers, &zone);
    Ok(slips_page(&visitor, page, "/course/roster", &whose, issued))
}

/// The page of codes that were made just now.
pub(in crate::web) fn slips_page(
    visitor: &CoordinatorVisitor,
    (headers, zone): (&HeaderMap, &Zone),
    back: &'static str,
    whose: &str,
    issued: Vec<IssuedCode>,
) -> Page<Slips> {
    let until = issued.iter().map(|i| i.expires_at).min();
    let slips = issued.into_iter().map(|issued| Slip {
        name: issued.person.name,
        login: issued.person.login,
        code: issued.code,
    });
    Page(Slips {
        frame: visitor.frame(format!("Slips for {whose}")),
        slips: slips.collect(),
        address: address(&visitor.state, headers),
        until: until.map(|at| dates::instant(zone, at)).unwrap_or_default(),
        back,
    })
}

/// Those whom this coordinator may give a way in: a slip opens every course that its owner is on. The first slip of a
/// student may come from any of their courses, since somebody has to give it; it is written down, and they are told.
pub(super) async fn may_let_in(
    visitor: &CoordinatorVisitor,
    logins: Vec<String>,
) -> PageResult<Vec<String>> {
    let Some(department) = &visitor.state.department else {
        return Ok(logins);
    };
    let known = have_a_way_in(&visitor.state.people, Kind::Student).await?;
    let mut others = Vec::new();
    for login in &logins {
        for person in people_called(&visitor.state.people, login).await? {
            let id = person.account();
            let is_first = id.kind == Kind::Student && !known.contains(&id.login);
            if !is_first && !department.may_let_in(&visitor.login, &id).await? {
                others.push(login.clone());
            }
        }
    }
    if others.is_empty() {
        return Ok(logins);
    }
    Err(PageError::unprocessable(format!(
        "No slip was made: found {} in courses that you do not coordinate, which a slip would open as well. Whoever runs the department can make one.",
        others.join(", ")
    )))
}

/// Where a slip's owner goes: the address this coordinator has come to.
fn address(state: &AppState, headers: &HeaderMap) -> String {
    let host = headers
        .get(header::HOST)
        .and_then(|host| host.to_str().ok());
    let scheme = if state.settings.secure_cookies {
        "https"
    } else {
        "http"
    };
    host.map_or_else(
        || "/claim".to_owned(),
        |host| format!("{scheme}://{host}{}", state.place.address("/claim")),
    )
}

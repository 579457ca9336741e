//! Students who are on the staff of another course, as whoever runs the department says: one person, one login.

use askama::Template;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};

use super::courses::Open;
use crate::desk::accounts::{By, issue_claim_codes};
use crate::desk::department::{Department, Joined, NotOne, Pair};
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::web::coordinator::{Slips, slips_page};
use crate::web::error::{PageError, PageResult};
use crate::web::fields::{Fields, QueryFields};
use crate::web::frame::{Frame, Page};
use crate::web::sign_in::Caller;
use crate::web::visitor::CoordinatorVisitor;

#[derive(Template)]
#[template(path = "department/people.html")]
pub(super) struct PeoplePage {
    frame: Frame,
    /// Whom to look at before they are made one.
    pair: Option<Pair>,
    joined: Vec<Joined>,
    /// Numbers that are a login of staff elsewhere.
    same: Vec<String>,
    form: Filled,
}

/// `GET /people`.
pub(super) async fn show(
    courses: Open,
    visitor: CoordinatorVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let mut frame = visitor.frame("One person, two roles");
    frame.notice = match query.text("said") {
        "joined" => Some("They are one person from now on, with one login.".into()),
        "parted" => Some("They are two people again. Each has to be given a code, or comes by the institution\u{2019}s sign-in.".into()),
        _ => None,
    };
    let filled = form().filled("/people", Typed::default(), Faults::default());
    let page = page(courses.department(), frame, None, filled).await?;
    Ok(Page(page).into_response())
}

/// `POST /people`: shows who they are; once somebody has looked, says that they are one person.
pub(super) async fn join(
    courses: Open,
    visitor: CoordinatorVisitor,
    caller: Caller,
    Fields(typed): Fields,
) -> PageResult<Response> {
    let department = courses.department();
    let read = form().read(&typed);
    let (number, login) = (typed.text("number").trim(), typed.text("login").trim());
    let has_looked = typed.text("sure") == "yes";
    let found = match read.check() {
        Err(faults) => Err(faults),
        Ok(()) if has_looked => {
            let by = By {
                login: &visitor.login,
                network: &caller.network,
            };
            let joined = department.join((number, login), by, visitor.now()).await?;
            joined.map_err(faults)
        }
        Ok(()) => department.pair(number, login).await?.map_err(faults),
    };
    let frame = visitor.frame("One person, two roles");
    match found {
        Ok(_) if has_looked => Ok(Redirect::to("/people?said=joined").into_response()),
        Ok(pair) => {
            let filled = form().filled("/people", typed, Faults::default());
            Ok(Page(page(department, frame, Some(pair), filled).await?).into_response())
        }
        Err(faults) => {
            let filled = form().filled("/people", typed, faults);
            let page = page(department, frame, None, filled).await?;
            Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

/// `POST /people/part`: they are two people.
pub(super) async fn part(
    courses: Open,
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let (login, now) = (fields.text("login"), visitor.now());
    match courses.department().part(login, by, now).await? {
        true => Ok(Redirect::to("/people?said=parted")),
        false => Err(nobody()),
    }
}

/// `POST /people/code`: a one-time code for somebody who is both.
pub(super) async fn code(
    courses: Open,
    visitor: CoordinatorVisitor,
    headers: HeaderMap,
    caller: Caller,
    fields: Fields,
) -> PageResult<Page<Slips>> {
    let login = fields.text("login");
    let joined = courses.department().joined().await?;
    if joined.iter().all(|one| one.login != login) {
        return Err(nobody());
    }
    let by = By {
        login: &visitor.login,
        network: &caller.network,
    };
    let logins = [login.to_owned()];
    let issued = issue_claim_codes(&visitor.state.people, &logins, by, visitor.now()).await?;
    let zone = visitor.state.people.look().await?.term.course.zone.clone();
    Ok(slips_page(
        &visitor,
        (&headers, &zone),
        "/people",
        login,
        issued,
    ))
}

fn nobody() -> PageError {
    PageError::unprocessable(
        "Found nobody of that login who is a student too, expected one of those on the page.",
    )
}

fn faults(why: NotOne) -> Faults {
    match why {
        NotOne::Number(what) => Faults::one("number", what),
        NotOne::Login(what) => Faults::one("login", what),
    }
}

fn form() -> Form {
    Form::of(vec![
        Field::code("number", "Student number")
            .hint("in the course in which they are a student")
            .longest(60)
            .needed(),
        Field::code("login", "Login of staff")
            .hint("in the course on whose staff they are; it may be the same text")
            .longest(60)
            .needed(),
    ])
    .title("A student who is on the staff of another course")
    .words("You see who they are before anything is said.")
    .enter("Look who they are")
}

async fn page(
    department: &Department,
    frame: Frame,
    pair: Option<Pair>,
    form: Filled,
) -> PageResult<PeoplePage> {
    Ok(PeoplePage {
        frame,
        pair,
        joined: department.joined().await?,
        same: department.same_texts().await?,
        form,
    })
}

//! The course at the institution's platform: which of its courses it is, and the roster as it stands there.

use std::collections::BTreeMap;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::lti::doing;
use super::platform_grades::look_again;
use super::roster::{Source, show_plan};
use crate::course::Student;
use crate::desk::lti::{
    PlatformCourse, PlatformError, courses_of, fetch, is_taken_for, leave_course, open_to,
    platforms, untaken,
};
use crate::form::{Faults, Field, Filled, Form, Typed, named};
use crate::ids::SectionName;
use crate::lti::incoming;
use crate::web::sign_in::Caller;
use crate::web::{CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields};
use crate::words::listed;

#[derive(Template)]
#[template(path = "coordinator/platform.html")]
struct PlatformPage {
    frame: Frame,
    /// Whether a platform is registered at all.
    registered: bool,
    /// Whether whoever looks registers platforms.
    registers: bool,
    taken: Vec<PlatformCourse>,
    open: Vec<PlatformCourse>,
    /// The code by which the first of these is open; empty without one.
    code: String,
    /// Fetches the members; none where no course of a platform gives them.
    members: Option<Filled>,
}

/// What the course is called where courses of platforms are kept: its key, nothing where it stands alone.
pub(super) fn course_key(visitor: &CoordinatorVisitor) -> &str {
    let key = visitor.state.place.course();
    key.map_or("", |key| key.as_str())
}

/// `GET /course/platform`.
pub async fn page(
    visitor: CoordinatorVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let mut frame = visitor.frame("The course at the platform");
    frame.notice = match query.text("done") {
        "taken" => Some("From now on that course is this one.".into()),
        "left" => Some("That course is this one no more. The roster stays as it is.".into()),
        _ => None,
    };
    let page = filled(&visitor, frame, (None, Faults::default())).await?;
    Ok(page.into_response())
}

async fn filled(
    visitor: &CoordinatorVisitor,
    frame: Frame,
    (typed, faults): (Option<Typed>, Faults),
) -> PageResult<Page<PlatformPage>> {
    let people = &visitor.state.people;
    let taken = courses_of(people, course_key(visitor)).await?;
    let view = visitor.view().await?;
    let sections = view.term.sections();
    let typed = typed.unwrap_or_else(|| {
        let first = sections.first().copied().unwrap_or("A");
        Typed::from([("section", first)])
    });
    let gives = taken.iter().any(|one| one.context.gives_members());
    let members = gives.then(|| form(&sections).filled("/course/platform/members", typed, faults));
    Ok(Page(PlatformPage {
        frame,
        registered: !platforms(people).await?.is_empty(),
        registers: visitor.state.place.course().is_none(),
        open: open_to(people, &visitor.session.account).await?,
        code: String::new(),
        taken,
        members,
    }))
}

fn form(sections: &[&str]) -> Form {
    Form::of(vec![
        Field::code("section", "Section of students who are new")
            .hint("unless the platform has them in a group: that is their section then")
            .suggest(named(sections)),
    ])
    .title("Roster from the platform")
    .words("Its learners are laid beside the roster. You see what would change, and nobody leaves without a tick.")
    .enter("Fetch the members")
}

/// `POST /course/platform/take`: a course of the platform is this one.
pub async fn take(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let place = (fields.need("context")?, course_key(&visitor));
    let doing = doing(&visitor, &caller);
    let (code, now) = (fields.text("code"), doing.at.as_second());
    let offered = visitor.state.launches.offered(code, now);
    let by_code = offered.as_deref() == Some(place.0);
    match is_taken_for(&visitor.state.people, place, by_code, &doing).await? {
        true => {
            visitor.state.launches.used_up(code);
            look_again(&visitor).await?;
            Ok(Redirect::to("/course/platform?done=taken"))
        }
        false => Err(PageError::unprocessable(
            "Found a course of the platform that is another course here by now, or that you were not launched from as one who teaches it. Open this server from that course of the platform, and look again.",
        )),
    }
}

/// `POST /course/platform/code`: shows the course of the platform that a code is for.
pub async fn by_code(visitor: CoordinatorVisitor, fields: Fields) -> PageResult<Response> {
    let (code, now) = (fields.text("code"), visitor.now().as_second());
    let name = visitor.state.launches.offered(code, now);
    let open = match name {
        Some(name) => untaken(&visitor.state.people, &name).await?,
        None => None,
    };
    let Some(open) = open else {
        return Err(PageError::unprocessable(
            "Found no code that holds, expected one of the last quarter of an hour, of a course that is no course here yet: open this server from the platform again.",
        ));
    };
    let frame = visitor.frame("The course at the platform");
    let mut page = filled(&visitor, frame, (None, Faults::default())).await?;
    page.0.open = vec![open];
    page.0.code = code.to_owned();
    Ok(page.into_response())
}

/// `POST /course/platform/leave`: a course of the platform is this one no more.
pub async fn leave(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let place = (fields.need("context")?, course_key(&visitor));
    let doing = doing(&visitor, &caller);
    match leave_course(&visitor.state.people, place, &doing).await? {
        true => {
            look_again(&visitor).await?;
            Ok(Redirect::to("/course/platform?done=left"))
        }
        false => Err(not_ours()),
    }
}

/// `POST /course/platform/members`: what the roster of the platform would change; nothing is changed yet.
pub async fn members(visitor: CoordinatorVisitor, Fields(typed): Fields) -> PageResult<Response> {
    let section = match SectionName::parse(typed.text("section")) {
        Ok(section) => section,
        Err(what) => {
            let frame = visitor.frame("The course at the platform");
            let faults = Faults::one("section", what);
            let page = filled(&visitor, frame, (Some(typed), faults)).await?;
            return Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY));
        }
    };
    let mut taken = courses_of(&visitor.state.people, course_key(&visitor)).await?;
    taken.retain(|one| one.context.gives_members());
    if taken.is_empty() {
        return Err(not_ours());
    }
    let services = (&*visitor.state.people, &visitor.state.services);
    let (mut students, mut not_taken, mut unnamed, mut names) =
        (BTreeMap::new(), Vec::new(), 0, Vec::new());
    for context in &taken {
        let fetched = fetch(services, context, visitor.now()).await;
        let fetched = fetched.map_err(not_fetched)?;
        let view = visitor.view().await?;
        let own = incoming(
            &view.term,
            (&fetched.members, &fetched.groups),
            (fetched.named_by, &fetched.linked),
            &section,
        );
        let by_id = own.students.into_iter().map(|(_, s)| (s.id.clone(), s));
        students.extend(by_id);
        not_taken.extend(own.not_taken);
        unnamed += fetched.unnamed;
        names.push(context.context.title.clone());
    }
    look_again(&visitor).await?;
    let students: Vec<Student> = students.into_values().collect();
    let source = Source {
        name: &listed(&names),
        place: "at the platform",
        not_taken,
        unnamed,
        remark: None,
    };
    show_plan(&visitor, source, (&students, &[])).await
}

fn not_ours() -> PageError {
    PageError::unprocessable(
        "Found a course of the platform that is not this one, expected one that is: look at the page again.",
    )
}

fn not_fetched(why: PlatformError) -> PageError {
    if let PlatformError::Store(why) = why {
        return why.into();
    }
    tracing::warn!(error = %why, "members were not fetched");
    PageError::new(
        StatusCode::BAD_GATEWAY,
        format!("The members were not fetched, and nothing was changed: {why}."),
    )
}

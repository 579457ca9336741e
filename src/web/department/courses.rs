//! The courses of whoever is signed in, and of whoever runs the department: begun, copied, closed, put by.

use std::sync::Arc;

use askama::Template;
use axum::Router;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};

use super::{Courses, earlier, one_person};
use crate::course::{Course, StaffMember, StaffRole, Standing, Zone};
use crate::desk::accounts::{Person, Role};
use crate::desk::department::{DepartmentError, Lists};
use crate::files::shipped_glassware;
use crate::form::{Faults, Field, Filled, Form, Typed};
use crate::ids::CourseKey;
use crate::language::{Language, Message, message};
use crate::term::{CopyPlan, Term};
use crate::web::error::{PageError, PageResult};
use crate::web::fields::{Fields, QueryFields};
use crate::web::frame::{Frame, Page};
use crate::web::state::AppState;
use crate::web::visitor::{CoordinatorVisitor, Visitor};
use crate::words::counted;

pub fn routes(courses: Arc<Courses>) -> Router<AppState> {
    let own = Router::new()
        .route("/", get(start))
        .route("/courses", get(list).post(begin))
        .route("/courses/{key}", get(look).post(set))
        .route("/courses/{key}/earlier", post(earlier::choose))
        .route("/people", get(one_person::show).post(one_person::join))
        .route("/people/part", post(one_person::part))
        .route("/people/code", post(one_person::code));
    own.layer(axum::Extension(courses))
}

pub(super) type Open = axum::Extension<Arc<Courses>>;

#[derive(Template)]
#[template(path = "department/courses.html")]
struct CoursesPage {
    frame: Frame,
    own: Vec<Row>,
    /// Of whoever runs the department: all courses, and the form that begins one.
    department: Option<Whole>,
}

struct Whole {
    courses: Vec<Row>,
    form: Filled,
}

struct Row {
    key: String,
    title: String,
    /// What the person is there, or who is on it.
    words: String,
    is_closed: bool,
}

#[derive(Template)]
#[template(path = "department/course.html")]
pub(super) struct CoursePage {
    frame: Frame,
    key: String,
    standing: Standing,
    people: String,
    coordinators: String,
    /// Which courses count as its earlier terms; none where there is no other.
    earlier: Option<Filled>,
}

/// `GET /`: the one course of whoever has one, or the list.
async fn start(courses: Open, visitor: Visitor) -> PageResult<Redirect> {
    let runs = visitor.is_coordinator();
    let own = courses
        .department()
        .courses_of(&visitor.session.account)
        .await?;
    Ok(match own.as_slice() {
        [one] if !runs => Redirect::to(&format!("/c/{}/", one.key)),
        _ => Redirect::to("/courses"),
    })
}

/// `GET /courses`.
async fn list(courses: Open, visitor: Visitor) -> PageResult<Response> {
    let page = page(&courses, &visitor, Typed::default(), Faults::default()).await?;
    Ok(Page(page).into_response())
}

/// `POST /courses`: begins one.
async fn begin(
    courses: Open,
    visitor: CoordinatorVisitor,
    Fields(typed): Fields,
) -> PageResult<Response> {
    let begun = match read(&courses, &visitor, &typed).await? {
        Err(faults) => Err(faults),
        Ok((key, term, coordinator)) => {
            let who = (visitor.login.as_str(), visitor.now());
            let begun = courses
                .department()
                .begin(&key, term, coordinator, who)
                .await;
            match begun {
                Ok(()) => Ok(key),
                Err(DepartmentError::Found {
                    place,
                    found,
                    expected,
                }) => Err(Faults::one(
                    &place,
                    format!("found {found}, expected {expected}"),
                )),
                Err(DepartmentError::Store(why)) => return Err(why.into()),
                Err(other) => return Err(PageError::internal(other)),
            }
        }
    };
    match begun {
        Ok(key) => Ok(Redirect::to(&format!("/courses/{key}")).into_response()),
        Err(faults) => {
            let page = page(&courses, &visitor, typed, faults).await?;
            Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

/// `GET /courses/{key}`: where it stands, and what can be done with it.
async fn look(
    courses: Open,
    visitor: CoordinatorVisitor,
    Path(key): Path<CourseKey>,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let mut page = course_page(&courses, &visitor, &key, None).await?;
    if query.text("said") == "earlier" {
        page.frame = page.frame.saying(earlier::SAID);
    }
    Ok(Page(page))
}

/// The page of a course; `refused` is what was typed about its earlier terms, with what is wrong.
pub(super) async fn course_page(
    courses: &Courses,
    visitor: &CoordinatorVisitor,
    key: &CourseKey,
    refused: Option<(Typed, Faults)>,
) -> PageResult<CoursePage> {
    let department = courses.department();
    let all = department.courses().await?;
    let found = all.iter().find(|one| one.0 == *key);
    let (_, lists, standing) = found.ok_or_else(PageError::not_found)?;
    let coordinators = lists.staff.iter();
    let coordinators = coordinators.filter(|one| one.role == StaffRole::Coordinator);
    let coordinators: Vec<String> = coordinators
        .map(|one| format!("{} ({})", one.name, one.login))
        .collect();
    Ok(CoursePage {
        frame: visitor.frame(lists.title(key)),
        people: people(lists),
        coordinators: coordinators.join(", "),
        key: key.to_string(),
        standing: *standing,
        earlier: earlier::filled(department, key, &all, refused).await?,
    })
}

/// `POST /courses/{key}`: closes it, opens it again or puts it by.
async fn set(
    courses: Open,
    visitor: CoordinatorVisitor,
    Path(key): Path<CourseKey>,
    fields: Fields,
) -> PageResult<Response> {
    let department = courses.department();
    let held = department.standing(&key).await?;
    let held = held.ok_or_else(PageError::not_found)?;
    let who = (visitor.login.as_str(), visitor.now());
    let wanted = Standing::from_name(fields.text("standing"));
    match wanted {
        Some(wanted @ (Standing::Open | Standing::Closed)) => {
            if wanted != held {
                department.set_standing(&key, wanted, who).await?;
                courses.put_aside(&key);
            }
            Ok(Redirect::to(&format!("/courses/{key}")).into_response())
        }
        Some(Standing::Archived) if held == Standing::Closed => {
            courses.let_go(&key).await?;
            let archived = department.archive(&key, who).await;
            archived.map_err(PageError::internal)?;
            Ok(Redirect::to("/courses").into_response())
        }
        Some(Standing::Archived) => Err(PageError::unprocessable(
            "Found an open course, expected one that is closed: close it first, so that nobody is in the middle of something.",
        )),
        None => Err(PageError::unprocessable(
            "Found nothing to do, expected open, closed or archived.",
        )),
    }
}

async fn page(
    courses: &Courses,
    visitor: &Visitor,
    typed: Typed,
    faults: Faults,
) -> PageResult<CoursesPage> {
    let department = courses.department();
    let own = department.courses_of(&visitor.session.account).await?;
    let own = own.iter().map(|one| {
        let words = visitor.language().say(&role(&one.person));
        row(&one.key, &one.lists, one.standing, words)
    });
    let own = own.collect();
    let whole = match visitor.is_coordinator() {
        false => None,
        true => {
            let all = department.courses().await?;
            let zone = visitor.state.people.look().await?.term.course.zone.clone();
            let rows = all
                .iter()
                .map(|(key, lists, standing)| row(key, lists, *standing, people(lists)));
            let mut typed = typed;
            if typed.text("time_zone").is_empty() {
                typed.set("time_zone", zone.name().to_owned());
            }
            Some(Whole {
                courses: rows.collect(),
                form: form(&all).filled("/courses", typed, faults),
            })
        }
    };
    Ok(CoursesPage {
        frame: visitor.frame(visitor.language().text("courses.title")),
        own,
        department: whole,
    })
}

fn row(key: &CourseKey, lists: &Lists, standing: Standing, words: String) -> Row {
    Row {
        key: key.to_string(),
        title: lists.title(key),
        words,
        is_closed: standing != Standing::Open,
    }
}

fn role(person: &Person) -> Message {
    match &person.role {
        Role::Student { section } => message!("courses.student", section = section.as_str()),
        Role::Assistant { sections } => {
            message!("courses.assistant", sections = sections.join(", "))
        }
        Role::Coordinator => message!("courses.coordinator"),
        Role::Prep => message!("courses.prep"),
    }
}

fn people(lists: &Lists) -> String {
    format!(
        "{}, {} of staff",
        counted(lists.enrolled().count(), "student", "students"),
        lists.staff.len()
    )
}

fn form(courses: &[(CourseKey, Arc<Lists>, Standing)]) -> Form {
    let from = courses
        .iter()
        .map(|(key, lists, _)| (key.to_string(), lists.title(key)));
    Form::of(vec![
        Field::code("key", "Key")
            .hint("names it in addresses and files: lower-case letters, digits and hyphens, such as analysis-1-spring-2027")
            .longest(60)
            .needed()
            .wide(),
        Field::text("title", "Title").hint("of a copy only where it is to be another").longest(120),
        Field::text("term", "Term").hint("such as Spring 2027").longest(60).needed(),
        Field::code("time_zone", "Time zone").hint("in which its dates are").needed(),
        Field::choice("from", "Goes on from", "nothing: it begins empty", from.collect())
            .hint("takes over experiments, procedures and marking on other dates, coordinators and prep room; no students, assistants, lots, unknowns and hand-ins"),
        Field::day("first_day", "First day").hint("of a copy: the first experiment opens then"),
        Field::code("login", "Login of the coordinator").needed(),
        Field::text("name", "Name of the coordinator").needed(),
    ])
    .title("Begin a course")
    .enter("Begin it")
}

type Begun = (CourseKey, Term, StaffMember);

async fn read(
    courses: &Courses,
    visitor: &CoordinatorVisitor,
    typed: &Typed,
) -> PageResult<Result<Begun, Faults>> {
    let department = courses.department();
    let all = department.courses().await?;
    let mut read = form(&all).read(typed);
    let key = CourseKey::parse(typed.text("key"));
    let key = read.keep("key", key);
    let zone = Zone::new(typed.text("time_zone"));
    let zone = read.keep("time_zone", zone);
    let from = typed.text("from");
    let from = all.iter().find(|(key, _, _)| *key == from);
    let title = typed.text("title").trim().to_owned();
    if from.is_none() && title.is_empty() {
        read.fault("title", "found nothing, expected the name of the course");
    }
    let first_day = read.day("first_day");
    if from.is_some() && first_day.is_none() && typed.text("first_day").is_empty() {
        read.fault(
            "first_day",
            "found nothing, expected the day on which the first experiment opens",
        );
    }
    let login = typed.text("login").to_owned();
    let people = visitor.state.people.look().await?;
    let is_student = |login: &str| {
        let mut students = people.term.students.iter();
        students.any(|one| one.id.eq_ignore_ascii_case(login))
    };
    if is_student(&login) {
        read.fault(
            "login",
            format!("found {login}, which is a student\u{2019}s number, expected the login of a member of staff"),
        );
    }
    let (Some(key), Some(zone), Ok(())) = (key, zone, read.check()) else {
        return Ok(Err(read.into_faults()));
    };
    let coordinator = StaffMember {
        login,
        name: typed.text("name").to_owned(),
        role: StaffRole::Coordinator,
        sections: Vec::new(),
    };
    let term_name = typed.text("term").to_owned();
    let Some((from, _, _)) = from else {
        let course = Course {
            title,
            term: term_name,
            zone,
            language: Language::default(),
        };
        return Ok(Ok((
            key,
            Term::new(course, shipped_glassware()),
            coordinator,
        )));
    };
    let desk = department.desk(from).await?;
    let desk = desk.ok_or_else(PageError::not_found)?;
    let image = desk.look().await?;
    let days = first_day.and_then(|day| image.term.days_to(day));
    let mut copy = image.term.copied(&CopyPlan {
        term: term_name,
        days: days.unwrap_or_default(),
        lots: false,
        unknowns: false,
    });
    copy.course.zone = zone;
    if !title.is_empty() {
        copy.course.title = title;
    }
    // sections are the students', who stay behind
    copy.staff = image
        .term
        .staff
        .iter()
        .filter(|one| one.role != StaffRole::Assistant)
        .cloned()
        .collect();
    drop(image);
    desk.close().await;
    Ok(Ok((key, copy, coordinator)))
}

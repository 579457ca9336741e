//! Which courses count as earlier terms of one, as whoever runs the department says.

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::courses::{Open, course_page};
use crate::course::Standing;
use crate::desk::department::{Department, Lists};
use crate::form::{Faults, Field, Filled, Form, Kind, Typed};
use crate::ids::CourseKey;
use crate::web::error::{PageError, PageResult};
use crate::web::fields::Fields;
use crate::web::frame::Page;
use crate::web::visitor::CoordinatorVisitor;

/// What is said once it is done.
pub(super) const SAID: &str = "What counts as an earlier term of this course is chosen.";

/// A course with its lists and where it stands.
type Listed = (CourseKey, Arc<Lists>, Standing);

/// Every course that can count as an earlier term of one, with how it is called.
type Others = Vec<(CourseKey, String)>;

/// The form, with what is chosen or what was typed; none where there is no other course.
pub(super) async fn filled(
    department: &Department,
    key: &CourseKey,
    all: &[Listed],
    refused: Option<(Typed, Faults)>,
) -> PageResult<Option<Filled>> {
    let Some(form) = form(&others(department, key, all).await?) else {
        return Ok(None);
    };
    let (typed, faults) = match refused {
        Some(refused) => refused,
        None => {
            let chosen = department.earlier_terms(key).await?;
            let chosen = chosen.iter().map(|one| ("earlier[]", one.key.to_string()));
            (chosen.collect(), Faults::default())
        }
    };
    let action = format!("/courses/{key}/earlier");
    Ok(Some(form.filled(action, typed, faults)))
}

/// `POST /courses/{key}/earlier`: chooses them.
pub(super) async fn choose(
    courses: Open,
    visitor: CoordinatorVisitor,
    Path(key): Path<CourseKey>,
    Fields(typed): Fields,
) -> PageResult<Response> {
    let department = courses.department();
    let all = department.courses().await?;
    if all.iter().all(|one| one.0 != key) {
        return Err(PageError::not_found());
    }
    match read(&others(department, &key, &all).await?, &typed) {
        Ok(earlier) => {
            let who = (visitor.login.as_str(), visitor.now());
            department.set_earlier_terms(&key, earlier, who).await?;
            let done = format!("/courses/{key}?said=earlier");
            Ok(Redirect::to(&done).into_response())
        }
        Err(faults) => {
            let page = course_page(&courses, &visitor, &key, Some((typed, faults))).await?;
            Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

/// Those that are served, then those that are put by.
async fn others(department: &Department, key: &CourseKey, all: &[Listed]) -> PageResult<Others> {
    let served = all.iter().filter(|one| one.0 != *key);
    let mut others: Others = served
        .map(|(key, lists, _)| (key.clone(), lists.title(key)))
        .collect();
    for course in department.all_put_by().await? {
        let stands = match course.lists {
            Ok(_) => "put by",
            Err(why) => why,
        };
        let title = format!("{} ({stands})", course.title());
        others.push((course.key, title));
    }
    Ok(others)
}

fn form(others: &Others) -> Option<Form> {
    let options: Vec<(String, String)> = others
        .iter()
        .map(|(key, title)| (key.to_string(), title.clone()))
        .collect();
    let field = Field::new("earlier", "Earlier terms", Kind::Several(options.clone()))
        .hint("open courses, closed ones and those that are put by; none is looked at unless it is ticked");
    let form = Form::of(vec![field])
        .title("Earlier terms to compare with")
        .words("Staff of this course are shown which hand-ins share readings, beyond chance, with one by the same procedure in a course that is ticked here. Whose that was, only they are told who are staff there too. No mark follows from it, and students see nothing of it.")
        .enter("Choose these");
    (!options.is_empty()).then_some(form)
}

fn read(others: &Others, typed: &Typed) -> Result<BTreeSet<CourseKey>, Faults> {
    let mut earlier = BTreeSet::new();
    for named in typed.list("earlier[]") {
        let course = others.iter().find(|one| one.0 == *named);
        let Some((course, _)) = course else {
            let what = format!(
                "found \u{201c}{named}\u{201d}, expected another course of this department"
            );
            return Err(Faults::one("earlier", what));
        };
        earlier.insert(course.clone());
    }
    Ok(earlier)
}

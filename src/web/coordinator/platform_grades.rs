//! Grades that go back to the platform: of each whether it was sent, waits or was refused, and why.

use askama::Template;
use axum::response::{IntoResponse, Redirect, Response};

use super::lti::doing;
use super::outbox::{Count, counts, tag};
use super::platform::course_key;
use crate::course::Zone;
use crate::desk::lti::courses_of;
use crate::desk::lti::grades::{
    ListedGrade, compare_anew, counted, go_back, listed, try_now, want_grades,
};
use crate::desk::outgoing::Place;
use crate::store::SendState;
use crate::term::Term;
use crate::web::sign_in::Caller;
use crate::web::{
    CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};
use crate::words;

/// So many grades are shown.
const SHOWN: usize = 600;

#[derive(Template)]
#[template(path = "coordinator/platform-grades.html")]
struct GradesPage {
    frame: Frame,
    wanted: bool,
    /// Courses of platforms that take them, by title.
    takers: Vec<String>,
    counts: Vec<Count>,
    rows: Vec<Row>,
    /// So many more there are.
    more: usize,
    /// Whether something waits or was refused.
    pending: bool,
}

struct Row {
    id: i64,
    who: String,
    number: String,
    experiment: String,
    /// What the platform is to show.
    points: String,
    state: &'static str,
    tag: &'static str,
    /// When it was sent, or is tried next.
    when: String,
    why: String,
    /// What the platform has by now, where that is another.
    has: String,
    /// Whether it can be tried at once.
    waits: bool,
}

/// `GET /course/platform/grades`; `?state=` only of one state.
pub async fn page(
    visitor: CoordinatorVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let place = place(&visitor);
    let takers = courses_of(place.people, place.course).await?;
    let takers = takers.into_iter().filter(|one| one.context.takes_grades());
    let takers: Vec<String> = takers.map(|one| one.context.title).collect();
    let all = listed(place, visitor.now()).await?;
    let state = SendState::from_name(query.text("state"));
    let view = visitor.view().await?;
    let there = counted(&all);
    let pending = [SendState::Waiting, SendState::Refused]
        .iter()
        .any(|of| there.contains_key(of));
    let mut own = all;
    own.retain(|one| state.is_none_or(|state| state == one.grade.state));
    let more = own.len().saturating_sub(SHOWN);
    own.truncate(SHOWN);
    let rows = own.into_iter().map(|one| row(&view.term, one));
    let rows = rows.collect();
    let mut frame = visitor.frame("Grades at the platform");
    frame.notice = match query.text("done") {
        "on" => Some(
            "Grades go to the platform from now on, those that are out already as well.".into(),
        ),
        "off" => Some("Grades go to the platform no more. What it has stays there.".into()),
        "again" => {
            let n = query.text("n").parse::<u64>().unwrap_or_default();
            let what = words::counted(n, "grade is", "grades are");
            Some(format!("{what} tried within half a minute."))
        }
        _ => None,
    };
    Ok(Page(GradesPage {
        frame,
        wanted: go_back(place.desk).await?,
        takers,
        counts: counts(|of| there.get(&of).copied().unwrap_or_default(), state),
        rows,
        more,
        pending,
    })
    .into_response())
}

/// `POST /course/platform/grades`: on or off.
pub async fn turn(
    visitor: CoordinatorVisitor,
    caller: Caller,
    fields: Fields,
) -> PageResult<Redirect> {
    let place = place(&visitor);
    let wanted = match fields.text("wanted") {
        "yes" => true,
        "no" => false,
        _ => {
            return Err(PageError::unprocessable(
                "Found neither yes nor no, expected one of them.",
            ));
        }
    };
    let takers = courses_of(place.people, place.course).await?;
    if wanted && !takers.iter().any(|one| one.context.takes_grades()) {
        return Err(PageError::unprocessable(
            "Found no course of a platform that takes grades from this server, expected one: say first which course it is, and have the platform give this server its Assignment and Grade services.",
        ));
    }
    want_grades(place.desk, wanted, &doing(&visitor, &caller)).await?;
    Ok(Redirect::to(match wanted {
        true => "/course/platform/grades?done=on",
        false => "/course/platform/grades?done=off",
    }))
}

/// `POST /course/platform/grades/again`: one grade, or all that wait or were refused.
pub async fn again(visitor: CoordinatorVisitor, fields: Fields) -> PageResult<Redirect> {
    let id =
        match fields.text("id") {
            "" => None,
            id => Some(id.parse().map_err(|_| {
                PageError::unprocessable("Found no grade of this page, expected one.")
            })?),
        };
    let tried = try_now(&visitor.state.desk, id, visitor.now()).await?;
    Ok(Redirect::to(&format!(
        "/course/platform/grades?done=again&n={tried}"
    )))
}

/// Where the course of the visitor and its people are.
fn place(visitor: &CoordinatorVisitor) -> Place<'_> {
    Place {
        desk: &visitor.state.desk,
        people: &visitor.state.people,
        course: course_key(visitor),
    }
}

/// Has grades compared anew, since it is another course of a platform they go to.
pub(super) async fn look_again(visitor: &CoordinatorVisitor) -> PageResult<()> {
    Ok(compare_anew(&visitor.state.desk).await?)
}

fn row(term: &Term, one: ListedGrade) -> Row {
    let ListedGrade { grade, who } = one;
    let wanted = &grade.wanted;
    let zone: &Zone = &term.course.zone;
    let student = who.as_ref().and_then(|id| term.student(id));
    let experiment = term.experiment(&wanted.experiment);
    let of = |points: &Option<String>| match points {
        Some(points) => format!("{points} of {}", wanted.possible),
        None => "none any more".to_owned(),
    };
    let has = grade
        .sent_at
        .filter(|_| grade.state != SendState::Sent && grade.sent_points != wanted.points);
    Row {
        id: grade.id,
        who: student.map_or_else(|| "somebody taken out".to_owned(), ToString::to_string),
        number: who.map(|id| id.to_string()).unwrap_or_default(),
        experiment: experiment.map_or_else(
            || wanted.experiment.clone(),
            |one| one.procedure.title.clone(),
        ),
        points: of(&wanted.points),
        state: grade.state.words(),
        tag: tag(grade.state),
        when: match (grade.state, grade.sent_at) {
            (SendState::Sent, Some(at)) => dates::instant(zone, at),
            (SendState::Waiting, _) if !grade.why.is_empty() => {
                format!("next try {}", dates::instant(zone, grade.next_at))
            }
            _ => String::new(),
        },
        has: has
            .map(|at| {
                let points = of(&grade.sent_points);
                format!("there it is {points}, since {}", dates::instant(zone, at))
            })
            .unwrap_or_default(),
        waits: matches!(grade.state, SendState::Waiting | SendState::Refused),
        why: grade.why,
    }
}

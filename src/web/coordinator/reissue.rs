//! Another bottle for one student; the one before stays on record.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::experiment::find;
use super::form::{Form, done};
use super::preview::{Asked, Said, Wanted, hidden};
use crate::change::Change;
use crate::course::Student;
use crate::desk::{self, Image, PrepareError, TypedReissue};
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::web::{
    AppState, CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, dates,
};

/// Fields of the form.
const FIELDS: [&str; 3] = ["student", "unknown", "reason"];

#[derive(Template)]
#[template(path = "coordinator/reissue.html")]
struct ReissuePage {
    frame: Frame,
    form: Form,
    key: ExperimentKey,
    title: String,
    /// Those who have a bottle, with its code.
    students: Vec<(Student, String)>,
    codes: Vec<String>,
    rows: Vec<Row>,
}

/// A bottle given in place of another.
struct Row {
    student: String,
    id: String,
    before: String,
    after: String,
    reason: String,
    who: String,
}

/// `GET /course/experiments/{key}/reissue`; `?student=` fills the form in.
pub async fn page(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<Response> {
    let form = Form::filled(&[("student", query.0.text("student"))]);
    let page = reissue(&state, &visitor, &key, form, done(&query)).await?;
    Ok(page.into_response())
}

async fn reissue(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    form: Form,
    notice: Option<String>,
) -> PageResult<Page<ReissuePage>> {
    let view = state.desk.view().await?;
    let term = &view.term;
    let title = find(term, key)?.procedure.title.clone();
    let mut frame = visitor.frame(format!("Another bottle: {title}"));
    frame.notice = notice;
    let bottle = |student: &Student| {
        let code = term.issued.get(&Slot::new(key, &student.id))?;
        Some((student.clone(), code.to_string()))
    };
    let codes = term
        .unknowns
        .get(key)
        .into_iter()
        .flat_map(|all| all.keys());
    Ok(Page(ReissuePage {
        frame,
        form,
        key: key.to_owned(),
        title,
        students: term.enrolled().filter_map(bottle).collect(),
        codes: codes.map(ToString::to_string).collect(),
        rows: rows(&view, key),
    }))
}

fn rows(view: &Image, key: &ExperimentKey) -> Vec<Row> {
    let term = &view.term;
    let of = |student: &Student| {
        let all = term.reissued.get(&Slot::new(key, &student.id));
        let all = all.map_or(&[][..], Vec::as_slice);
        let row = |one: &crate::term::Reissue| Row {
            student: student.to_string(),
            id: student.id.to_string(),
            before: one.instead_of.to_string(),
            after: one.unknown.to_string(),
            reason: one.reason.clone(),
            who: format!("{}, {}", one.by, dates::instant(&term.course.zone, one.at)),
        };
        all.iter().map(row).collect::<Vec<_>>()
    };
    term.students.iter().flat_map(of).collect()
}

fn typed(fields: &Fields) -> TypedReissue {
    let [student, unknown, reason] = FIELDS.map(|name| fields.text(name).to_owned());
    TypedReissue {
        student,
        unknown,
        reason,
    }
}

pub async fn enter(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    find(&state.desk.view().await?.term, &key)?;
    let who = (visitor.login.as_str(), state.clock.now());
    let typed = typed(&fields);
    let made = desk::arrange(&state.desk, who, |term| {
        desk::reissue_changes(term, &key, &typed, who)
    });
    answer(&state, &visitor, &key, fields, made.await).await
}

pub async fn preview(
    State(state): State<AppState>,
    Path(key): Path<ExperimentKey>,
    visitor: CoordinatorVisitor,
    fields: Fields,
) -> PageResult<Response> {
    let (changes, said) = {
        let view = state.desk.view().await?;
        find(&view.term, &key)?;
        let who = (visitor.login.as_str(), state.clock.now());
        let changes = desk::reissue_changes(&view.term, &key, &typed(&fields), who);
        let said = changes.as_ref().map(|c| said(&view, c)).unwrap_or_default();
        (changes, said)
    };
    let changes = match changes {
        Ok(changes) => changes,
        Err(why) => return answer(&state, &visitor, &key, fields, Err(why)).await,
    };
    // a bottle that was drawn here is the one that is given
    let drawn = changes.iter().find_map(|change| match change {
        Change::Reissue { reissue, .. } => Some(reissue.unknown.to_string()),
        _ => None,
    });
    let mut hidden = hidden(&fields, &["student", "reason"]);
    hidden.extend(drawn.map(|code| ("unknown".to_owned(), code)));
    let action = format!("/course/experiments/{key}/reissue");
    let asked = Asked {
        wanted: Wanted::Changes(changes),
        hidden,
        reason: None,
        back: action.clone(),
        action,
        said: Said {
            warnings: Vec::new(),
            sentences: said,
        },
    };
    match asked.answer(&state, &visitor).await? {
        Ok(page) => Ok(page),
        Err(why) => answer(&state, &visitor, &key, fields, Err(why)).await,
    }
}

/// What becomes of readings that are in already.
fn said(view: &Image, changes: &[Change]) -> Vec<String> {
    let of = |change: &Change| {
        let Change::Reissue { slot, reissue } = change else {
            return None;
        };
        let hand_in = view.term.hand_in_of(slot)?;
        Some(match hand_in.unknown_written() {
            Some(code) => format!(
                "What is handed in names the bottle {code} and goes on being marked against it."
            ),
            None => format!(
                "What is handed in names no bottle, so that it is marked against {} from now on.",
                reissue.unknown
            ),
        })
    };
    let none = || vec!["Nothing is handed in yet: no mark is touched.".to_owned()];
    let said: Vec<String> = changes.iter().filter_map(of).collect();
    if said.is_empty() { none() } else { said }
}

async fn answer(
    state: &AppState,
    visitor: &CoordinatorVisitor,
    key: &ExperimentKey,
    fields: Fields,
    made: Result<usize, PrepareError>,
) -> PageResult<Response> {
    match made {
        Ok(_) => Err(PageError::see_other(format!(
            "/course/experiments/{key}/reissue?done=reissued"
        ))),
        Err(why) => {
            let form = Form::refused(fields, why)?;
            let page = reissue(state, visitor, key, form, None).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}

//! Points by hand for many students at once.

use std::collections::BTreeMap;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;

use super::attempt::parse_points;
use super::filter::with_query;
use super::list::sections;
use super::{address, in_path};
use crate::course::{Experiment, Student};
use crate::desk::{self, Image};
use crate::ids::{ExperimentKey, StudentId};
use crate::measure::plain;
use crate::term::Slot;
use crate::web::at::ExperimentAt;
use crate::web::{AssistantVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields};
use crate::words::counted;

/// Most rows of a page; where a visitor's sections hold more, one section is shown at a time.
const MOST_ROWS: usize = 120;

#[derive(Template)]
#[template(path = "assistant/grid.html")]
struct GridPage {
    frame: Frame,
    title: String,
    path: String,
    most: String,
    section: String,
    sections: Vec<String>,
    rows: Vec<Row>,
    faults: Vec<(String, String, String)>,
    saved: usize,
}

struct Row {
    id: String,
    name: String,
    section: String,
    /// Of the submission; none if nothing was handed in.
    address: Option<String>,
    /// What is held, to tell a change by.
    was: String,
    typed: String,
    fault: Option<String>,
}

/// What somebody typed for a student, and what the page held when they did.
struct Typed {
    was: String,
    typed: String,
}

pub async fn page(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let mut page = grid(&view, &visitor, &key, query.text("section"))?;
    page.frame.notice = match query.text("saved") {
        "" => None,
        "0" => Some("Nothing was changed, so nothing was kept.".into()),
        count => count
            .parse::<usize>()
            .ok()
            .map(|n| format!("Points of {} kept.", counted(n, "student", "students"))),
    };
    Ok(Page(page))
}

/// `POST /points/{experiment}`: keeps what is sound and shows the rest again.
pub async fn save(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    fields: Fields,
) -> PageResult<Response> {
    let section = fields.text("section").to_owned();
    let typed = typed(&fields);
    let view = visitor.view().await?;
    let page = grid(&view, &visitor, &key, &section)?;
    let (points, mut faults) = changed(&page.rows, &typed);
    drop(view);
    let who = (visitor.login.as_str(), visitor.now());
    let refused = desk::give_points_to(&visitor.state.desk, &key, &points, who)
        .await
        .map_err(|why| match why {
            desk::ReviewError::Store(why) => why.into(),
            _ => PageError::not_found(),
        })?;
    let saved = points.len().saturating_sub(refused.len());
    faults.extend(
        refused
            .into_iter()
            .map(|(id, why)| (id.to_string(), why.to_string())),
    );
    if faults.is_empty() {
        let count = saved.to_string();
        let query = form_urlencoded::Serializer::new(String::new())
            .extend_pairs([("section", section.as_str()), ("saved", &count)])
            .finish();
        let path = format!("/points/{}", in_path(&key));
        return Ok(Redirect::to(&with_query(&path, &query)).into_response());
    }
    let view = visitor.view().await?;
    let mut page = grid(&view, &visitor, &key, &section)?;
    page.saved = saved;
    for row in &mut page.rows {
        if let Some(fault) = faults.remove(&row.id) {
            row.typed = typed.get(&row.id).map_or("", |t| &t.typed).to_owned();
            let name = format!("{} ({})", row.name, row.id);
            page.faults.push((row.id.clone(), name, fault.clone()));
            row.fault = Some(fault);
        }
    }
    Ok(Page(page).with_status(StatusCode::UNPROCESSABLE_ENTITY))
}

/// The grid as it is held.
fn grid(
    view: &Image,
    visitor: &AssistantVisitor,
    key: &ExperimentKey,
    section: &str,
) -> PageResult<GridPage> {
    let experiment = view.term.experiment(key).ok_or_else(PageError::not_found)?;
    let marking = &experiment.procedure.marking;
    let most = marking.by_hand.ok_or_else(PageError::not_found)?;
    let sections = sections(view, visitor);
    let seen = |student: &&Student| visitor.sees(&student.section);
    let many = view.term.enrolled().filter(seen).count() > MOST_ROWS;
    let section = match sections.iter().find(|one| *one == section) {
        Some(one) => one.clone(),
        None if many => sections.first().cloned().unwrap_or_default(),
        None => String::new(),
    };
    let mut students: Vec<&Student> = view
        .term
        .enrolled_in_order()
        .filter(seen)
        .filter(|student| section.is_empty() || student.section == section)
        .collect();
    students.sort_by_key(|s| &s.section);
    Ok(GridPage {
        frame: visitor.frame("Points by hand"),
        title: experiment.procedure.title.clone(),
        path: format!("/points/{}", in_path(key)),
        most: plain(most),
        section,
        sections,
        rows: students.iter().map(|s| row(view, experiment, s)).collect(),
        faults: Vec::new(),
        saved: 0,
    })
}

fn row(view: &Image, experiment: &Experiment, student: &Student) -> Row {
    let slot = Slot::new(&experiment.key, &student.id);
    let held = view.term.by_hand.get(&slot).map(|points| plain(*points));
    let was = held.unwrap_or_default();
    Row {
        id: student.id.to_string(),
        name: student.to_string(),
        section: student.section.to_string(),
        address: view.judged.contains_key(&slot).then(|| address(&slot)),
        typed: was.clone(),
        was,
        fault: None,
    }
}

fn typed(fields: &Fields) -> BTreeMap<String, Typed> {
    let all = fields.all("points-");
    all.filter_map(|(name, text)| {
        let id = name.strip_prefix("points-")?.to_owned();
        let was = fields.text(&format!("was-{id}")).to_owned();
        let typed = text.trim().to_owned();
        Some((id, Typed { was, typed }))
    })
    .collect()
}

/// Points by student; none where they are taken back.
type GivenPoints = Vec<(StudentId, Option<Decimal>)>;

/// What was changed on the page and can be read, and what is wrong with the rest, by student.
fn changed(
    rows: &[Row],
    typed: &BTreeMap<String, Typed>,
) -> (GivenPoints, BTreeMap<String, String>) {
    let (mut points, mut faults) = (Vec::new(), BTreeMap::new());
    for row in rows {
        let Some(typed) = typed.get(&row.id).filter(|t| t.typed != t.was) else {
            continue;
        };
        let fault = if row.was != typed.was && row.was != typed.typed {
            Err(match row.was.as_str() {
                "" => "somebody took the points back since you opened the page; save once more to give them".to_owned(),
                now => format!(
                    "somebody gave {now} points since you opened the page; save once more to replace them"
                ),
            })
        } else if typed.typed.is_empty() {
            Ok(None)
        } else {
            parse_points(&typed.typed).map(Some)
        };
        match fault {
            Ok(number) => points.push((StudentId::new(row.id.as_str()), number)),
            Err(why) => {
                faults.insert(row.id.clone(), why);
            }
        }
    }
    (points, faults)
}

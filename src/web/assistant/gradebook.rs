//! The gradebook on screen: a person, and everything that person handed in, on one line.

use std::cmp::Reverse;

use askama::Template;
use axum::response::IntoResponse;
use rust_decimal::Decimal;

use super::list::sections;
use super::{address, in_path};
use crate::course::Student;
use crate::desk::Image;
use crate::measure::to_decimals;
use crate::term::{Slot, Status, plain_letters};
use crate::web::{AssistantVisitor, Frame, Page, PageResult, QueryFields};

/// Most people on a page; of more, one section at a time.
const MOST_PEOPLE: usize = 120;

#[derive(Template)]
#[template(path = "assistant/gradebook.html")]
struct GradebookPage {
    frame: Frame,
    find: String,
    section: String,
    sort: String,
    sections: Vec<String>,
    /// Key and title.
    experiments: Vec<(String, String)>,
    people: Vec<PersonLine>,
    /// How many were asked for.
    count: usize,
    /// A column each: median of those handed in.
    medians: Vec<String>,
    exports: bool,
}

/// One student.
struct PersonLine {
    name: String,
    id: String,
    section: String,
    left: bool,
    cells: Vec<Cell>,
    total: String,
}

/// One experiment of one student.
struct Cell {
    key: String,
    /// Where the work is; none if nothing was handed in.
    href: Option<String>,
    points: String,
    /// What still waits for somebody.
    waits: Option<&'static str>,
}

/// `GET /gradebook`: students of the visitor's sections, by name, id or e-mail (`find`), by `section`, in the order
/// `sort` asks for: of people, or most points first in `total` or an experiment.
pub async fn page(
    visitor: AssistantVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let (find, sort) = (query.text("find"), query.text("sort"));
    let own = sections(&view, &visitor);
    let mut section = query.text("section").to_owned();
    let in_sight = |student: &&Student| visitor.sees(&student.section);
    let all = view.term.in_order();
    let seen: Vec<&Student> = all.into_iter().filter(in_sight).collect();
    // nobody reads thousands of lines: a large course opens at its first section
    if seen.len() > MOST_PEOPLE && find.is_empty() && section.is_empty() {
        section = own.first().cloned().unwrap_or_default();
    }
    let mut students: Vec<&Student> = seen
        .into_iter()
        .filter(|student| section.is_empty() || student.section == section)
        .filter(|student| is_found(student, find))
        // who has left is found by name, and stands on no list
        .filter(|student| student.is_enrolled() || !find.is_empty())
        .collect();
    let points = |student: &Student, key: &str| match key {
        "total" => total(&view, student),
        key => {
            let experiment = view.term.experiments.iter().find(|one| one.key == key)?;
            points(&view, &Slot::new(&experiment.key, &student.id))
        }
    };
    if !sort.is_empty() {
        students.sort_by_cached_key(|student| Reverse(points(student, sort)));
    }
    let count = students.len();
    students.truncate(MOST_PEOPLE);
    let keys = view.term.experiments.iter().map(|one| one.key.as_str());
    let medians = keys.chain(["total"]).map(|key| {
        let column = students.iter().filter_map(|student| points(student, key));
        median(column.collect())
    });
    Ok(Page(GradebookPage {
        frame: visitor.frame("Gradebook"),
        medians: medians.collect(),
        people: students.iter().map(|one| line(&view, one)).collect(),
        experiments: view
            .term
            .experiments
            .iter()
            .map(|one| (one.key.to_string(), one.procedure.title.clone()))
            .collect(),
        find: find.to_owned(),
        sort: sort.to_owned(),
        sections: own,
        exports: visitor.is_coordinator(),
        section,
        count,
    }))
}

/// Whether every word asked for begins a part of the name, the id or the e-mail, accents and case aside.
fn is_found(student: &Student, find: &str) -> bool {
    let (given, family) = (&student.given_name, &student.family_name);
    let about = plain_letters(&format!(
        "{given} {family} {} {}",
        student.id, student.email
    ));
    let asked = plain_letters(find);
    let begins = |word: &str| about.split_whitespace().any(|part| part.starts_with(word));
    asked.split_whitespace().all(begins)
}

fn line(view: &Image, student: &Student) -> PersonLine {
    let cell = |key: &crate::ids::ExperimentKey| {
        let slot = Slot::new(key, &student.id);
        let judged = view.judged.get(&slot);
        Cell {
            key: key.to_string(),
            href: judged.map(|_| address(&slot)),
            points: written(points(view, &slot)),
            waits: judged.and_then(|judged| match judged.status {
                Status::ToReview => Some("to review"),
                Status::Returned => Some("returned"),
                Status::Clear | Status::Settled => None,
            }),
        }
    };
    let experiments = view.term.experiments.iter();
    PersonLine {
        name: student.to_string(),
        id: student.id.to_string(),
        section: student.section.to_string(),
        left: !student.is_enrolled(),
        cells: experiments.map(|one| cell(&one.key)).collect(),
        total: written(total(view, student)),
    }
}

fn points(view: &Image, slot: &Slot) -> Option<Decimal> {
    Some(view.judged.get(slot)?.evaluation.marks.total)
}

/// None where nothing was handed in.
fn total(view: &Image, student: &Student) -> Option<Decimal> {
    let experiments = view.term.experiments.iter();
    let each = experiments.filter_map(|one| points(view, &Slot::new(&one.key, &student.id)));
    each.reduce(|sum, points| sum.saturating_add(points))
}

fn median(mut values: Vec<Decimal>) -> String {
    values.sort_unstable();
    let above = values.len() / 2;
    let below = values.len().saturating_sub(1) / 2;
    let middle = values.get(below).zip(values.get(above));
    let middle = middle.map(|(a, b)| a.saturating_add(*b) / Decimal::TWO);
    written(middle)
}

fn written(points: Option<Decimal>) -> String {
    points.map_or_else(String::new, |points| to_decimals(points, 2).to_string())
}

impl GradebookPage {
    /// The same page in another order.
    fn sorted(&self, by: &str) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (name, value) in [
            ("find", self.find.as_str()),
            ("section", &self.section),
            ("sort", by),
        ] {
            if !value.is_empty() {
                query.append_pair(name, value);
            }
        }
        format!("/gradebook?{}", query.finish())
    }

    fn grid(&self, key: &str) -> String {
        format!("/review?experiment={}&status=all", in_path(key))
    }
}

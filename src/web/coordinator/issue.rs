//! Who gets which bottle: dealt out at random, and lists to take to the laboratory.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::IntoResponse;

use crate::changes::IssueForm;
use crate::course::Student;
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::term::Slot;
use crate::web::at::ExperimentAt;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::parts::{Parts, from_to};
use crate::web::{CoordinatorVisitor, Frame, Page, PageError, PageResult, QueryFields};
use crate::words::counted;

pub const ISSUE: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/issue",
    |visit| {
        let mut seed = [0_u8; 32];
        getrandom::fill(&mut seed).map_err(PageError::internal)?;
        Ok(Box::new(IssueForm {
            experiment: visit.key()?.clone(),
            seed,
        }))
    },
    page,
)
.says("issued", |n| {
    let students = counted(n, "student was", "students were");
    format!("{students} given a bottle.")
});

#[derive(Template)]
#[template(path = "coordinator/issue.html")]
struct IssuePage {
    frame: Frame,
    form: Filled,
    key: ExperimentKey,
    title: String,
    counts: Vec<(String, usize)>,
    without: Vec<Student>,
    total: usize,
    sections: Vec<String>,
}

#[derive(Template)]
#[template(path = "coordinator/issue-list.html")]
struct ListPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    sections: Vec<(String, Vec<Given>)>,
    parts: Parts,
}

/// Most students on a page, unless a section has more.
const MOST_STUDENTS: usize = 600;

/// A student on the list.
struct Given {
    id: String,
    name: String,
    bottle: Option<String>,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let key = &experiment.key;
        let codes = term.unknowns.get(key).into_iter().flat_map(|u| u.keys());
        let mut counts: BTreeMap<&str, usize> = codes.map(|code| (code.as_str(), 0)).collect();
        let mut without = Vec::new();
        for student in term.enrolled_in_order() {
            match term.issued.get(&Slot::new(key, &student.id)) {
                Some(code) => {
                    let count = counts.entry(code).or_default();
                    *count = count.saturating_add(1);
                }
                None => without.push(student.clone()),
            }
        }
        let title = &experiment.procedure.title;
        let mut frame = visit.frame(format!("Issue: {title}"));
        frame.notice = notice(&visit.query, &[&ISSUE]);
        Ok(Page(IssuePage {
            frame,
            form: ISSUE.filled(visit, term, refused.as_ref())?,
            key: key.clone(),
            title: title.clone(),
            counts: counts
                .into_iter()
                .map(|(code, n)| (code.to_owned(), n))
                .collect(),
            without,
            total: term.enrolled().count(),
            sections: term.sections().into_iter().map(str::to_owned).collect(),
        })
        .into_response())
    })
}

/// `GET /course/experiments/{key}/issue/list`: to be printed, a page per section; `?section=` for one.
pub async fn list(
    visitor: CoordinatorVisitor,
    key: ExperimentAt,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let wanted = query.0.text("section");
    let of = |section: &str| {
        let given = term.enrolled_of(section).into_iter().map(|student| Given {
            id: student.id.to_string(),
            name: student.to_string(),
            bottle: term
                .issued
                .get(&Slot::new(&key, &student.id))
                .map(ToString::to_string),
        });
        (section.to_owned(), given.collect())
    };
    let sections = term.sections().into_iter();
    let sections = sections.filter(|section| wanted.is_empty() || *section == wanted);
    let mut sections: Vec<(String, Vec<Given>)> = sections.map(of).collect();
    let parts = Parts::cut(
        &mut sections,
        MOST_STUDENTS,
        &query.0,
        |(_, students)| students.len(),
        |first, last| from_to(&first.0, &last.0),
    );
    Ok(Page(ListPage {
        frame: visitor.frame(format!("Issue list: {}", experiment.procedure.title)),
        title: experiment.procedure.title.clone(),
        sections,
        parts,
        key: key.into_key(),
    }))
}

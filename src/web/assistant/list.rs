//! What waits for an assistant.

use askama::Template;
use axum::response::IntoResponse;
use rust_decimal::Decimal;

use super::accept;
use super::address;
use super::causes::{Cause, causes};
use super::filter::{Filter, Standing, with_query};
use super::progress::{ProgressRow, progress};
use super::shortlist::{Entry, short_list};
use super::timeline::{Undo, notice, status_tag, undo_of_query};
use crate::desk::Image;
use crate::judge::FlagCode;
use crate::measure::{plain, to_figures};
use crate::web::digits::{SectionDigits, section_digits};
use crate::web::proving::{LiveLine, live_lines};
use crate::web::{AssistantVisitor, Fields, Frame, Page, PageResult, QueryFields};

/// Most lines of a page; a longer list is asked for in parts.
const MOST_LINES: usize = 100;

#[derive(Template)]
#[template(path = "assistant/list.html")]
struct ListPage {
    frame: Frame,
    /// How many wait in all of the visitor's sections.
    waiting: usize,
    /// The first of the list, to begin with.
    first: Option<String>,
    progress: Vec<ProgressRow>,
    digits: Vec<SectionDigits>,
    filter: Filter,
    experiments: Vec<(String, String)>,
    sections: Vec<String>,
    causes: Vec<Cause>,
    live: Vec<LiveLine>,
    /// Only a coordinator can settle a cause.
    settles_causes: bool,
    /// Whether there may be earlier terms.
    in_department: bool,
    lines: Vec<Line>,
    count: usize,
    /// What has just been decided.
    undo: Option<Undo>,
}

/// One submission on the page.
struct Line {
    address: String,
    name: String,
    id: String,
    section: String,
    experiment: String,
    status: (&'static str, &'static str),
    error: Option<String>,
    total: String,
    possible: String,
    flags: Vec<(&'static str, String)>,
}

pub async fn page(
    visitor: AssistantVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let filter = Filter::of(&query);
    let list = short_list(&view, &visitor, &filter);
    let waiting = short_list(&view, &visitor, &Filter::default()).len();
    let query_of_lines = filter.query();
    let line = |entry: &Entry| line(entry, &query_of_lines);
    let mut frame = visitor.frame("Review");
    frame.notice = accept::notice(&query).or_else(|| notice(&view, &visitor, &query));
    let begins = list
        .first()
        .filter(|_| filter.standing == Standing::ToReview);
    let first = begins.map(|entry| with_query(&address(entry.slot), &query_of_lines));
    Ok(Page(ListPage {
        frame,
        waiting,
        first,
        progress: progress(&view, &visitor, &filter),
        digits: digits(&view, &visitor),
        experiments: experiments(&view),
        sections: sections(&view, &visitor),
        live: live_lines(&visitor, &view).await?,
        causes: match filter.standing {
            Standing::ToReview => causes(&view, &visitor, &filter),
            _ => Vec::new(),
        },
        settles_causes: visitor.is_coordinator(),
        in_department: visitor.state.department.is_some(),
        lines: list.iter().take(MOST_LINES).map(line).collect(),
        count: list.len(),
        undo: undo_of_query(&view, &visitor, &query),
        filter,
    }))
}

/// Sections of the visitor, in order.
pub fn sections(view: &Image, visitor: &AssistantVisitor) -> Vec<String> {
    let all = view.term.sections().into_iter();
    all.filter(|section| visitor.sees(section))
        .map(str::to_owned)
        .collect()
}

/// The section that a query names, or else the first of these.
pub fn section_asked_for(sections: &[String], query: &Fields) -> String {
    match query.text("section") {
        "" => sections.first().cloned().unwrap_or_default(),
        one => one.to_owned(),
    }
}

fn experiments(view: &Image) -> Vec<(String, String)> {
    let all = view.term.experiments.iter();
    all.map(|one| (one.key.to_string(), one.procedure.title.clone()))
        .collect()
}

fn digits(view: &Image, visitor: &AssistantVisitor) -> Vec<SectionDigits> {
    let experiments = view.term.experiments.iter();
    experiments
        .flat_map(|one| section_digits(view, one, |section| visitor.sees(section)))
        .collect()
}

fn line(entry: &Entry, query: &str) -> Line {
    let evaluation = &entry.judged.evaluation;
    let error = evaluation.relative_error_percent;
    Line {
        address: with_query(&address(entry.slot), query),
        name: entry.student.to_string(),
        id: entry.student.id.to_string(),
        section: entry.student.section.to_string(),
        experiment: entry.experiment.procedure.title.clone(),
        status: status_tag(entry.judged.status),
        error: error.map(|error| signed(to_figures(error, 2))),
        total: evaluation.marks.total.to_string(),
        possible: evaluation.marks.possible.to_string(),
        flags: entry
            .asked
            .map(|note| ("asked for another look", shortened(note)))
            .into_iter()
            .chain(
                evaluation
                    .flags
                    .iter()
                    .map(|flag| (flag.code.words(), flag.evidence.clone())),
            )
            .collect(),
    }
}

/// The beginning of a note.
fn shortened(note: &str) -> String {
    match note.char_indices().nth(120) {
        Some((end, _)) => format!("{}\u{2026}", &note[..end]),
        None => note.to_owned(),
    }
}

impl ListPage {
    /// The heading of the list.
    fn what(&self) -> String {
        let noun = if self.count == 1 {
            "submission"
        } else {
            "submissions"
        };
        match self.filter.standing {
            Standing::ToReview if !self.filter.narrows() => {
                "What waits, most consequential first".into()
            }
            Standing::All => format!("{} {noun} handed in", self.count),
            standing => format!("{} {noun} {}", self.count, standing.words()),
        }
    }
}

/// With its sign, such as `+1.7`.
fn signed(value: Decimal) -> String {
    let sign = if value > Decimal::ZERO { "+" } else { "" };
    format!("{sign}{}", plain(value)).replace('-', "\u{2212}")
}

//! What is due and what is done.

use askama::Template;
use axum::response::IntoResponse;
use jiff::Timestamp;

use crate::desk::Image;
use crate::ids::{ExperimentKey, StudentId};
use crate::language::Language;
use crate::term::{Side, Slot, Status};
use crate::web::{Frame, Page, PageResult, StudentVisitor};

#[derive(Template)]
#[template(path = "student/home.html")]
struct Home {
    frame: Frame,
    name: String,
    section: String,
    due: Vec<Row>,
    done: Vec<Row>,
}

/// One experiment on the list.
struct Row {
    key: ExperimentKey,
    title: String,
    due: String,
    state: State_,
    receipt: Option<i64>,
    bottle: Option<String>,
    note: bool,
}

/// Where the student stands with an experiment.
#[derive(Clone, Copy, PartialEq, Eq)]
enum State_ {
    NotOpen,
    Due,
    Overdue,
    Returned,
    HandedIn,
    Released,
}

impl State_ {
    /// The key of its words.
    fn key(self) -> &'static str {
        match self {
            Self::NotOpen => "home.state.not-open",
            Self::Due => "home.state.due",
            Self::Overdue => "home.state.overdue",
            Self::Returned => "home.state.returned",
            Self::HandedIn => "home.state.handed-in",
            Self::Released => "home.state.released",
        }
    }

    fn tag(self) -> &'static str {
        match self {
            Self::NotOpen | Self::HandedIn => "tag",
            Self::Due => "tag tag-open",
            Self::Overdue => "tag tag-late",
            Self::Returned => "tag tag-review",
            Self::Released => "tag tag-ok",
        }
    }

    fn is_done(self) -> bool {
        matches!(self, Self::HandedIn | Self::Released)
    }
}

pub async fn page(visitor: StudentVisitor) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let language = visitor.language();
    let rows = rows(&view, &visitor.id, visitor.now(), language);
    let (done, due) = rows.into_iter().partition(|row| row.state.is_done());
    let student = view.term.student(&visitor.id);
    Ok(Page(Home {
        frame: visitor.frame(language.text("home.title")),
        name: student.map(|s| s.given_name.clone()).unwrap_or_default(),
        section: visitor.section.clone(),
        due,
        done,
    }))
}

fn rows(image: &Image, student: &StudentId, now: Timestamp, language: Language) -> Vec<Row> {
    let term = &image.term;
    let zone = &term.course.zone;
    let experiments = term.experiments.iter().map(|experiment| {
        let slot = Slot::new(&experiment.key, student);
        let revisions = term.handed_in_by(&slot).map(|(_, revisions)| revisions);
        let after = |local| zone.instant(local).is_some_and(|at| now >= at);
        let returned = image
            .judged
            .get(&slot)
            .is_some_and(|j| j.status == Status::Returned);
        let own_dates = term.dates_for(experiment, student);
        let released = image.is_released_to(&slot);
        let state = match revisions {
            Some(_) if released => State_::Released,
            Some(_) if returned => State_::Returned,
            Some(_) => State_::HandedIn,
            None if released => State_::Released,
            None if !after(own_dates.opens) => State_::NotOpen,
            None if after(own_dates.due) => State_::Overdue,
            None => State_::Due,
        };
        let date = if state == State_::NotOpen {
            own_dates.opens
        } else {
            own_dates.due
        };
        let word = if state == State_::NotOpen {
            "home.opens"
        } else {
            "home.due"
        };
        Row {
            key: experiment.key.clone(),
            title: experiment.procedure.title_in(language).to_owned(),
            due: language.tell(word, &[("date", &language.date(date))]),
            state,
            receipt: term
                .submissions
                .get(&slot)
                .and_then(|r| r.last())
                .and_then(|r| r.receipt),
            bottle: term.issued.get(&slot).map(ToString::to_string),
            note: term
                .notes_of(&slot)
                .last()
                .is_some_and(|note| note.from == Side::Staff),
        }
    });
    experiments.collect()
}

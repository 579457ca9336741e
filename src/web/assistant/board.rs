//! A section while it stands at its benches: who has begun, who is at which trial, whose trials agree, who has a hand up.
//! All of it is from what students type, and nothing from a true value.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::time::Duration;

use askama::Template;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Redirect, Response};
use futures_util::stream;
use jiff::Timestamp;

use super::list::{section_asked_for, sections};
use super::{address, in_path};
use crate::course::{Experiment, Student, Zone};
use crate::desk::{Image, View, take_hand_down};
use crate::ids::StudentId;
use crate::store::{BenchDraft, DraftStamp, StoreError, draft_stamp, drafts_in};
use crate::submission::TrialLabel;
use crate::term::Slot;
use crate::web::at::{ExperimentAt, SlotAt};
use crate::web::proving::{LiveLine, live_lines_of};
use crate::web::student::draft::{Progress, entry_of};
use crate::web::student::entry::title;
use crate::web::student::worth::Standing;
use crate::web::{AssistantVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields};
use crate::words::{counted, listed};

/// How often a board looks whether something is new.
const LOOK: Duration = Duration::from_millis(300);
/// It is drawn anew after so many looks in any case: it says how long hands are up.
const LOOKS: u32 = 60;
/// After so many drawings a browser asks again, and is let in again or not.
const DRAWINGS: u32 = 400;
/// Longer than this nobody works at a bench; what is older was left.
pub(super) const AT_BENCH: jiff::SignedDuration = jiff::SignedDuration::from_hours(4);

#[derive(Template)]
#[template(path = "assistant/board.html")]
struct BoardPage {
    frame: Frame,
    title: String,
    key: String,
    section: String,
    sections: Vec<String>,
    board: Board,
}

/// What is drawn again and again.
#[derive(Template)]
#[template(path = "assistant/board_live.html")]
struct Board {
    csrf: String,
    key: String,
    section: String,
    /// Those who have a hand up, longest first.
    hands: Vec<Hand>,
    /// So many are at this, with the word for it.
    counts: Vec<(usize, &'static str, &'static str)>,
    benches: Vec<Bench>,
    /// What all results so far say of lots and bottles.
    live: Vec<LiveLine>,
    /// When it was drawn.
    at: String,
}

struct Hand {
    student: String,
    name: String,
    place: String,
    minutes: String,
}

/// One student at work.
struct Bench {
    name: String,
    /// Number on the burette, as the student says it.
    place: String,
    stage: Stage,
    words: String,
    hand: bool,
    /// Where what was handed in, or kept, is to be seen.
    address: Option<String>,
}

/// How far somebody is, for the eye.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    NotBegun,
    AtWork,
    Apart,
    Agree,
    HandedIn,
}

impl Stage {
    const ALL: [Self; 5] = [
        Self::NotBegun,
        Self::AtWork,
        Self::Apart,
        Self::Agree,
        Self::HandedIn,
    ];

    /// Class of its card, and what it is called.
    fn names(self) -> (&'static str, &'static str) {
        match self {
            Self::NotBegun => ("not-begun", "not begun"),
            Self::AtWork => ("at-work", "at work"),
            Self::Apart => ("apart", "trials apart"),
            Self::Agree => ("agree", "trials agree"),
            Self::HandedIn => ("handed-in", "handed in"),
        }
    }

    fn class(self) -> &'static str {
        self.names().0
    }
}

/// `GET /board/{experiment}?section=A`: without a section, the first of the visitor's.
pub async fn page(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let view = visitor.view().await?;
    let experiment = key.of(&view.term)?;
    let sections = sections(&view, &visitor);
    let section = section_asked_for(&sections, &query);
    let board = drawn(&visitor, &view, experiment, &section).await?;
    let title = experiment.procedure.title.clone();
    Ok(Page(BoardPage {
        frame: visitor.frame(format!("Section {section} at the bench")),
        title,
        key: key.to_string(),
        section,
        sections,
        board,
    })
    .into_response())
}

/// `GET /board/{experiment}/live?section=A`: the same drawn anew whenever something is new, as server-sent events.
pub async fn live(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    QueryFields(query): QueryFields,
) -> PageResult<Response> {
    let section = query.text("section").to_owned();
    let view = visitor.view().await?;
    of_section(&view, &visitor, &section)?;
    let watching = Watching {
        visitor,
        key,
        section,
        seen: None,
        drawings: 0,
    };
    let events = stream::unfold(watching, |mut watching| async {
        let drawn = watching.next().await?;
        Some((Ok::<_, Infallible>(Event::default().data(drawn)), watching))
    });
    Ok(Sse::new(events)
        .keep_alive(KeepAlive::default())
        .into_response())
}

/// `POST /board/{experiment}/of/{student}/hand`: somebody has come, the hand is taken down.
pub async fn hand(
    visitor: AssistantVisitor,
    SlotAt(slot): SlotAt,
    fields: Fields,
) -> PageResult<Response> {
    let view = visitor.view().await?;
    let student = view.term.student(&slot.student);
    let student = student.filter(|student| visitor.sees(&student.section));
    let section = student.ok_or_else(PageError::not_found)?.section.clone();
    drop(fields);
    take_hand_down(&visitor.state.desk, &slot).await?;
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("section", &section)
        .finish();
    Ok(Redirect::to(&format!("/board/{}?{query}", in_path(&slot.experiment))).into_response())
}

/// A board that somebody looks at.
struct Watching {
    visitor: AssistantVisitor,
    key: ExperimentAt,
    section: String,
    /// The newest change and draft that were drawn.
    seen: Option<(i64, DraftStamp)>,
    drawings: u32,
}

impl Watching {
    /// The board, once something is new; none where it cannot be drawn any more, so that the browser asks again.
    async fn next(&mut self) -> Option<String> {
        for look in 0..LOOKS {
            let newest = self.newest().await.ok()?;
            if self.seen != Some(newest) {
                self.seen = Some(newest);
                break;
            }
            if look.saturating_add(1) < LOOKS {
                tokio::time::sleep(LOOK).await;
            }
        }
        self.drawings = self.drawings.saturating_add(1);
        if self.drawings > DRAWINGS {
            return None;
        }
        let view = self.visitor.view().await.ok()?;
        let experiment = self.key.of(&view.term).ok()?;
        let board = drawn(&self.visitor, &view, experiment, &self.section).await;
        // a line of an event ends with it, and anybody can type one
        board
            .ok()?
            .render()
            .ok()
            .map(|drawn| drawn.replace('\r', " "))
    }

    async fn newest(&self) -> Result<(i64, DraftStamp), StoreError> {
        let desk = &self.visitor.state.desk;
        let image = desk.look().await?;
        let stamp = draft_stamp(&mut *desk.store().read().await?).await?;
        Ok((image.newest(), stamp))
    }
}

/// The students of a section that a visitor may see, in the order of lists.
fn of_section<'v>(
    view: &'v Image,
    visitor: &AssistantVisitor,
    section: &str,
) -> PageResult<Vec<&'v Student>> {
    let enrolled = view.term.in_order().into_iter();
    let students: Vec<&Student> = enrolled
        .filter(|one| one.is_enrolled() && one.section.as_str() == section)
        .collect();
    match visitor.sees(section) && !students.is_empty() {
        true => Ok(students),
        false => Err(PageError::not_found()),
    }
}

async fn drawn(
    visitor: &AssistantVisitor,
    view: &View,
    experiment: &Experiment,
    section: &str,
) -> PageResult<Board> {
    let students = of_section(view, visitor, section)?;
    let mut reader = visitor.state.store().read().await?;
    let drafts = drafts_in(&mut reader, &experiment.key).await?;
    drop(reader);
    let (now, zone) = (visitor.now(), &view.term.course.zone);
    let mut hands = Vec::new();
    let mut benches = Vec::new();
    for student in students {
        let draft = current(view, experiment, &student.id, &drafts);
        let place = draft.map(place_of).unwrap_or_default();
        let hand_at = draft.and_then(|draft| draft.hand_at);
        let hand_at = hand_at.filter(|at| now.duration_since(*at) < AT_BENCH);
        if let Some(at) = hand_at {
            hands.push((at, student, place.clone()));
        }
        let bench = Bench {
            name: student.to_string(),
            place,
            hand: hand_at.is_some(),
            ..bench(view, experiment, student, draft, (zone, now))
        };
        benches.push(bench);
    }
    hands.sort_by_key(|(at, ..)| *at);
    let hands = hands.into_iter().map(|(at, student, place)| Hand {
        student: in_path(&student.id),
        name: student.to_string(),
        place,
        minutes: match now.duration_since(at).as_mins() {
            ..1 => "just now".to_owned(),
            minutes => format!("for {} min", minutes),
        },
    });
    let count = |stage: Stage| benches.iter().filter(|one| one.stage == stage).count();
    let counts = Stage::ALL.into_iter().map(|stage| {
        let (class, words) = stage.names();
        (count(stage), class, words)
    });
    Ok(Board {
        csrf: visitor.session.token.form_token(),
        key: experiment.key.to_string(),
        section: section.to_owned(),
        hands: hands.collect(),
        counts: counts.filter(|(n, ..)| *n > 0).collect(),
        at: clock(zone, now),
        live: live_lines_of(visitor, view, experiment).await?,
        benches,
    })
}

/// A student's draft, if nothing was handed in after it.
pub(super) fn current<'d>(
    view: &Image,
    experiment: &Experiment,
    student: &StudentId,
    drafts: &'d BTreeMap<StudentId, BenchDraft>,
) -> Option<&'d BenchDraft> {
    let draft = drafts.get(student)?;
    let slot = Slot::new(&experiment.key, student);
    let held = view.term.submissions.get(&slot).map_or(0, Vec::len);
    let seen = draft.fields.iter().find(|(name, _)| name == "seen");
    let seen = seen.and_then(|(_, seen)| seen.parse::<usize>().ok());
    (seen.unwrap_or(0) >= held).then_some(draft)
}

fn place_of(draft: &BenchDraft) -> String {
    let place = draft.fields.iter().find(|(name, _)| name == "instrument");
    place.map(|(_, place)| place.clone()).unwrap_or_default()
}

/// How far one student is. A correction that is being typed does not take back that something was handed in.
fn bench(
    view: &Image,
    experiment: &Experiment,
    student: &Student,
    draft: Option<&BenchDraft>,
    (zone, now): (&Zone, Timestamp),
) -> Bench {
    let slot = Slot::new(&experiment.key, &student.id);
    let procedure = &experiment.procedure;
    let (stage, words, address) = match view.term.handed_in_by(&slot) {
        Some((_, revisions)) => {
            let at = revisions.last().and_then(|last| last.submitted_at);
            let at = at.map_or(String::new(), |at| match zone.local(at).date() {
                day if day == zone.local(now).date() => format!("at {}", clock(zone, at)),
                day => format!("on {}", day.strftime("%-d %b")),
            });
            let address = view.judged.get(&slot).map(|_| address(&slot));
            (Stage::HandedIn, at, address)
        }
        None => {
            let entry = draft.and_then(|draft| entry_of(procedure, draft).ok());
            match entry.filter(|entry| !entry.is_empty()) {
                None => (Stage::NotBegun, String::new(), None),
                Some(entry) => {
                    let (stage, words) = at_work(&Progress::of(procedure, &entry));
                    (stage, words, Some(super::drafts::address(&slot)))
                }
            }
        }
    };
    Bench {
        name: String::new(),
        place: String::new(),
        stage,
        words,
        hand: false,
        address,
    }
}

fn at_work(progress: &Progress) -> (Stage, String) {
    let is_numbered = |row: &&TrialLabel| row.number().is_some();
    let done = progress.finished.iter().filter(is_numbered).count();
    let doing = progress
        .in_hand
        .map(|row| format!("at {}", title(row).to_lowercase()));
    let done_words = counted(done, "trial done", "trials done");
    let (stage, how) = match &progress.standing {
        Standing::Apart => (Stage::Apart, Some("far apart".to_owned())),
        Standing::NoneAgree => (Stage::AtWork, Some("no two agree".to_owned())),
        Standing::Open => (Stage::AtWork, None),
        Standing::Agree { trials, enough } => {
            let numbers: Vec<String> = trials.iter().map(u32::to_string).collect();
            let words = format!("{} agree", listed(&numbers));
            match enough {
                true => (Stage::Agree, Some(words)),
                false => (Stage::AtWork, Some(words)),
            }
        }
    };
    let parts = [Some(done_words).filter(|_| done > 0), how, doing];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let words = match parts.is_empty() {
        true => listed(
            &progress
                .finished
                .iter()
                .map(|row| title(*row))
                .collect::<Vec<_>>(),
        ),
        false => parts.join(", "),
    };
    (stage, words)
}

/// The time of day.
pub(super) fn clock(zone: &Zone, at: Timestamp) -> String {
    zone.local(at).strftime("%H:%M").to_string()
}

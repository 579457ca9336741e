//! A student hands in, or corrects what was handed in.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use jiff::{SignedDuration, Timestamp};
use tokio::sync::{OwnedMutexGuard, oneshot};

use super::writer::{Draft, Shared, Writer, make};
use super::{Desk, Image};
use crate::changes::{Change, HandInMade, HandedIn, Made};
use crate::ids::StudentId;
use crate::judge::{Question, refusals};
use crate::language::{Arg, Message, message};
use crate::store::{Store, StoreError, by_request_key, entry};
use crate::submission::HandIn;
use crate::term::{Revision, Slot, Term};

/// Most hand-ins of one student, of all experiments together, within [`WITHIN`].
pub const MOST_HAND_INS: usize = 30;
pub const WITHIN: SignedDuration = SignedDuration::from_mins(10);

/// A request to hand in.
#[derive(Clone, Debug)]
pub struct HandInRequest {
    pub slot: Slot,
    /// What is handed in.
    pub hand_in: Arc<HandIn>,
    /// Names the request: a repeat under the same key gets the same receipt.
    pub key: String,
    /// How many revisions the student had before them when they wrote this.
    pub seen_revisions: usize,
    /// Why it corrects the one before; empty for the first.
    pub reason: String,
    pub at: Timestamp,
}

/// Proof that a hand-in is on disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Receipt {
    pub number: i64,
    /// Whether an earlier request of the same key had already brought it.
    pub repeated: bool,
}

/// Why a hand-in was not accepted. Nothing typed is lost: the form comes back filled.
#[derive(Debug, thiserror::Error)]
pub enum HandInError {
    /// The experiment does not exist or the student is not on the roster.
    #[error("found no experiment \u{201c}{0}\u{201d} for you, expected one of your course")]
    NotFound(String),
    /// It has not opened.
    #[error("this experiment opens on {0}; until then nothing can be handed in")]
    NotOpen(jiff::civil::DateTime),
    #[error(
        "the results of this experiment are released; speak to your assistant about a correction"
    )]
    Released,
    /// Another revision was handed in meanwhile.
    #[error(
        "you have handed in another version since you opened this form (there are {found} now, {seen} when you opened it); look at it before you replace it"
    )]
    Stale {
        found: usize,
        /// Revisions the form knew of.
        seen: usize,
    },
    /// A correction without a reason.
    #[error("found no reason, expected a sentence that says why you correct what you handed in")]
    NoReason,
    /// Nothing to hand in.
    #[error(
        "found no titration, expected at least one, or an answer of your own to readings your bench group has handed in"
    )]
    Empty,
    /// More hand-ins than people make.
    #[error(
        "that is {MOST_HAND_INS} hand-ins in {} minutes, more than is taken; wait {}, then hand in again", WITHIN.as_mins(), minutes(*.wait)
    )]
    TooOften {
        /// Seconds until the next is taken.
        wait: u64,
    },
    /// The key was used for something else.
    #[error("this form was already used to hand in something else; open the experiment again")]
    KeyReused,
    /// Readings that cannot be.
    #[error("found readings that cannot be: {}", .0.iter().map(|q| q.text.to_string()).collect::<Vec<_>>().join("; "))]
    Refused(Vec<Question>),
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl HandInError {
    /// As its student reads it.
    pub fn words(&self) -> Message {
        match self {
            Self::NotFound(key) => message!("refused.not-found", key = key),
            Self::NotOpen(at) => message!("refused.not-open", date = *at),
            Self::Released => message!("refused.released"),
            Self::Stale { .. } => message!("refused.stale"),
            Self::NoReason => message!("refused.no-reason"),
            Self::Empty => message!("refused.empty"),
            Self::TooOften { wait } => message!(
                "refused.too-often",
                most = MOST_HAND_INS,
                minutes = message!("count.minute", n = WITHIN.as_mins()),
                wait = message!("count.minute", n = wait.div_ceil(60).max(1)),
            ),
            Self::KeyReused => message!("refused.key-reused"),
            Self::Refused(questions) => {
                let readings = questions.iter().map(|one| Arg::from(&one.text));
                message!(
                    "refused.readings",
                    readings = readings.collect::<Vec<Arg>>()
                )
            }
            Self::Store(why) => Message::verbatim(why.to_string()),
        }
    }
}

/// A hand-in as it was kept.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredSubmission {
    pub slot: Slot,
    /// Which revision, from 1.
    pub number: u32,
    pub revision: Revision,
    /// When the server kept it.
    pub recorded_at: Timestamp,
}

/// The hand-in of that receipt, if it is `student`'s.
pub async fn submission(
    desk: &Desk,
    student: &StudentId,
    receipt: i64,
) -> Result<Option<StoredSubmission>, StoreError> {
    let kept = entry(&mut *desk.store().read().await?, receipt).await?;
    let Some((Change::HandIn(kept), made)) = kept else {
        return Ok(None);
    };
    if kept.slot.student != *student {
        return Ok(None);
    }
    let view = desk.view().await?;
    let revisions = view.term.submissions.get(&kept.slot).into_iter().flatten();
    let up_to = revisions.take_while(|one| one.receipt.is_none_or(|number| number <= receipt));
    Ok(Some(StoredSubmission {
        number: u32::try_from(up_to.count()).unwrap_or(u32::MAX),
        slot: kept.slot,
        revision: Revision {
            receipt: Some(receipt),
            ..kept.body.revision
        },
        recorded_at: made.at,
    }))
}

/// Hand-ins that wait for the writer. It takes up to [`MOST_AT_ONCE`] of them in one write.
#[derive(Default)]
pub(super) struct Queue(Mutex<VecDeque<Waiting>>);

struct Waiting {
    request: HandInRequest,
    answer: oneshot::Sender<Result<i64, HandInError>>,
}

const MOST_AT_ONCE: usize = 64;

impl Queue {
    fn add(&self, waiting: Waiting) {
        let mut queue = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        queue.push_back(waiting);
    }

    fn take(&self) -> Vec<Waiting> {
        let mut queue = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let n = queue.len().min(MOST_AT_ONCE);
        queue.drain(..n).collect()
    }
}

/// Hands in. When this returns a receipt, it is on disk.
pub async fn hand_in(desk: &Desk, request: HandInRequest) -> Result<Receipt, HandInError> {
    let (key, slot) = (request.key.clone(), request.slot.clone());
    let hand_in = Arc::clone(&request.hand_in);
    if let Some(receipt) = earlier(desk, &key, &slot, &hand_in).await? {
        return Ok(receipt);
    }
    let (answer, mut answered) = oneshot::channel();
    desk.queue.add(Waiting { request, answer });
    let answer = loop {
        tokio::select! {
            biased;
            answer = &mut answered => break answer,
            writer = Arc::clone(&desk.writer).lock_owned() => {
                let (store, shared) = (desk.store.clone(), Arc::clone(&desk.shared));
                let queue = Arc::clone(&desk.queue);
                // whoever asked first may be gone before it is done: the others wait for it
                tokio::spawn(async move { take_in(writer, &store, &shared, &queue).await });
            }
        }
    };
    let answer = answer.map_err(|_| StoreError::broken_off("nobody took it"))?;
    match answer {
        Ok(number) => Ok(Receipt {
            number,
            repeated: false,
        }),
        // the same request may have come in twice at once, and the other one was first
        Err(why) => match earlier(desk, &key, &slot, &hand_in).await? {
            Some(receipt) => Ok(receipt),
            None => Err(why),
        },
    }
}

/// Writes what waits in one go, each alone if that fails, and answers everybody.
async fn take_in(
    mut writer: OwnedMutexGuard<Writer>,
    store: &Store,
    shared: &Shared,
    queue: &Queue,
) {
    let (requests, answers): (Vec<_>, Vec<_>) = queue
        .take()
        .into_iter()
        .map(|waiting| (waiting.request, waiting.answer))
        .unzip();
    if requests.is_empty() {
        return;
    }
    let numbers = match write(&mut writer, store, shared, requests.clone()).await {
        // each alone would wait as long
        Err(why) if why.is_away() => {
            let away = |_: &HandInRequest| Err(StoreError::Away.into());
            requests.iter().map(away).collect()
        }
        Err(why) if requests.len() > 1 => {
            tracing::warn!(error = %why, "hand-ins are written one by one");
            let mut numbers = Vec::new();
            for request in requests {
                let one = write(&mut writer, store, shared, vec![request]).await;
                numbers.extend(one.unwrap_or_else(|why| vec![Err(why.into())]));
            }
            numbers
        }
        one_or_all => one_or_all.unwrap_or_else(|why| vec![Err(why.into())]),
    };
    drop(writer);
    for (number, answer) in numbers.into_iter().zip(answers) {
        // who is gone will send again, under the same key
        let _gone = answer.send(number);
    }
}

/// Takes hand-ins in order, each as if it came alone after those before, and writes them in one transaction: the number of
/// the receipt of each.
async fn write(
    writer: &mut Writer,
    store: &Store,
    shared: &Shared,
    requests: Vec<HandInRequest>,
) -> Result<Vec<Result<i64, HandInError>>, StoreError> {
    let transaction = writer.begin(store, shared).await?;
    let plan = move |draft: &mut Draft| {
        let take = |request: HandInRequest| {
            let made = checked(&draft.image, &request)?;
            Ok(draft.add(made.into(), &request.slot.student, request.at))
        };
        requests.into_iter().map(take).collect()
    };
    let (numbers, _) = make(writer, shared, transaction, plan).await?;
    Ok(numbers)
}

/// What is handed in, if it is taken.
fn checked(image: &Image, request: &HandInRequest) -> Result<HandInMade, HandInError> {
    if !image.is_founded() {
        return Err(StoreError::NoCourse.into());
    }
    let HandInRequest {
        slot,
        hand_in,
        seen_revisions,
        at,
        ..
    } = request;
    let term = &image.term;
    let not_found = || HandInError::NotFound(slot.experiment.to_string());
    let experiment = term.experiment(&slot.experiment).ok_or_else(not_found)?;
    let student = term.student(&slot.student).filter(|s| s.is_enrolled());
    let dates = term.dates_of(experiment, student.ok_or_else(not_found)?);
    let opens = term.course.zone.instant(dates.opens);
    if opens.is_some_and(|opens| *at < opens) {
        return Err(HandInError::NotOpen(dates.opens));
    }
    if image.is_released_to(slot) {
        return Err(HandInError::Released);
    }
    let held = term.submissions.get(slot).map_or(0, Vec::len);
    if held != *seen_revisions {
        return Err(HandInError::Stale {
            found: held,
            seen: *seen_revisions,
        });
    }
    let reason = request.reason.trim();
    if held > 0 && reason.is_empty() {
        return Err(HandInError::NoReason);
    }
    if hand_in.titrations.is_empty() && !is_answer_to_mates(term, slot, hand_in) {
        return Err(HandInError::Empty);
    }
    if let Some(wait) = too_often(term, &slot.student, *at) {
        return Err(HandInError::TooOften { wait });
    }
    let rows = hand_in.titrations.iter().enumerate();
    let refused: Vec<Question> = rows
        .flat_map(|(row, t)| refusals(&experiment.procedure, row, t))
        .collect();
    if !refused.is_empty() {
        return Err(HandInError::Refused(refused));
    }
    let reason = if held > 0 {
        reason.to_owned()
    } else {
        String::new()
    };
    Ok(HandInMade {
        slot: slot.clone(),
        body: HandedIn {
            revision: Revision {
                hand_in: Arc::clone(hand_in),
                submitted_at: Some(*at),
                reason,
                receipt: None,
            },
            key: Some(request.key.clone()),
        },
    })
}

/// An answer of the student's own to readings a bench mate has handed in.
fn is_answer_to_mates(term: &Term, slot: &Slot, hand_in: &HandIn) -> bool {
    let read_by_mate = term
        .handed_in_by(slot)
        .is_some_and(|(reader, _)| reader != slot);
    read_by_mate && hand_in.reported.is_some()
}

/// Seconds a student has to wait before another hand-in is taken; none if it is taken now.
fn too_often(term: &Term, student: &StudentId, at: Timestamp) -> Option<u64> {
    let own = term.experiments.iter().filter_map(|experiment| {
        let slot = Slot::new(&experiment.key, student);
        term.submissions.get(&slot)
    });
    let mut recent: Vec<SignedDuration> = own
        .flatten()
        .filter_map(|revision| Some(at.duration_since(revision.submitted_at?)))
        .filter(|ago| !ago.is_negative() && *ago < WITHIN)
        .collect();
    recent.sort_unstable();
    // when this one is past, one less than the most are within
    let last = recent.get(MOST_HAND_INS.saturating_sub(1))?;
    let left = WITHIN.saturating_sub(*last).as_secs();
    Some(u64::try_from(left).unwrap_or(0).saturating_add(1))
}

/// A wait in whole minutes.
fn minutes(seconds: u64) -> String {
    match seconds.div_ceil(60) {
        0 | 1 => "a minute".to_owned(),
        many => format!("{many} minutes"),
    }
}

/// The receipt of an earlier request under the same key.
async fn earlier(
    desk: &Desk,
    key: &str,
    slot: &Slot,
    hand_in: &HandIn,
) -> Result<Option<Receipt>, HandInError> {
    let known = by_request_key(&mut *desk.store().read().await?, key).await?;
    let Some((Change::HandIn(known), Made { seq: number, .. })) = known else {
        return Ok(None);
    };
    if known.slot != *slot || *known.body.revision.hand_in != *hand_in {
        return Err(HandInError::KeyReused);
    }
    Ok(Some(Receipt {
        number,
        repeated: true,
    }))
}

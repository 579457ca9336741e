//! Use cases: what people do to a course. Each is one transaction over the store and the pure core.
//!
//! The database is the record. [`Desk`] holds its image in memory, judged: pages read the image, and every change is
//! written to disk, with the judgements it alters, before the image is seen with it.

pub mod accounts;
mod folder;
pub mod forms;
mod hand_in;
pub mod passwords;
mod people;
mod prepare;
mod recompute;
mod review;
pub mod sessions;
mod telling;
mod texts;

use std::collections::BTreeMap;

use jiff::Timestamp;
use tokio::sync::{RwLock, RwLockReadGuard};

pub use folder::{BringError, Brought, bring_in, bring_in_term, grade, output_files};
pub use forms::{PrepareError, deal, open_reviews, release};
pub use hand_in::{HandInError, HandInRequest, MOST_HAND_INS, Receipt, WITHIN, hand_in};
pub use people::{RosterPlan, apply_roster, plan_roster, staff_among};
pub use prepare::{new_course, open_key};
pub use recompute::{Difference, recompute, verify};
pub use review::{ReviewError, decide, give_points, give_points_to, take_back};
pub use telling::{MOST_UNANSWERED, NoteError, leave_note};
pub use texts::FileTexts;

use crate::change::{Change, Reach};
use crate::ids::{ExperimentKey, SectionName};
use crate::store::{
    SqliteConnection, Store, StoreError, Stored, Transaction, ValueVersion, Written, first_release,
    judgement_history, last_event, load_stored, lot_history, save_judged, unknown_history,
    write_changes,
};
use crate::term::{Correction, Judged, Preview, Slot, Term, corrections};

/// A course at work.
pub struct Desk {
    store: Store,
    image: RwLock<Option<Image>>,
}

/// The course in memory, as it is on disk.
#[derive(Debug)]
pub struct Image {
    pub term: Term,
    /// Everything handed in, judged.
    pub judged: BTreeMap<Slot, Judged>,
    /// Number of the newest event it knows of.
    last_event: i64,
}

/// The image while it is being read.
pub type View<'a> = RwLockReadGuard<'a, Image>;

impl Desk {
    /// Takes up the course of a database; it may hold none yet.
    pub async fn open(store: Store) -> Result<Self, StoreError> {
        let image = Self::load(&mut *store.read().await?).await?;
        Ok(Self {
            store,
            image: RwLock::new(image),
        })
    }

    pub fn store(&self) -> &Store {
        &self.store
    }

    pub async fn close(self) {
        self.store.close().await;
    }

    /// The course as it stands.
    pub async fn view(&self) -> Result<View<'_>, StoreError> {
        let newest = last_event(&mut *self.store.read().await?).await?;
        let current =
            |image: &Option<Image>| image.as_ref().is_some_and(|i| i.last_event >= newest);
        let mut image = self.image.read().await;
        if !current(&image) {
            // another process has written: a folder was imported on the command line, say
            drop(image);
            let mut stale = self.image.write().await;
            if !current(&stale) {
                *stale = Self::load(&mut *self.store.read().await?).await?;
            }
            image = stale.downgrade();
        }
        RwLockReadGuard::try_map(image, Option::as_ref).map_err(|_| StoreError::NoCourse)
    }

    /// Makes changes, as done by `login` at `at`: written with the judgements they alter, then seen. All or nothing.
    pub async fn apply(
        &self,
        changes: Vec<Change>,
        login: &str,
        at: Timestamp,
    ) -> Result<Written, StoreError> {
        self.apply_if(login, at, |_| Ok::<_, StoreError>(changes))
            .await
            .map(|written| written.unwrap_or_default())
    }

    /// Decides on changes with nobody else at the desk, then makes them. None if `decide` asks for no change.
    pub async fn apply_if<E: From<StoreError> + Send>(
        &self,
        login: &str,
        at: Timestamp,
        decide: impl FnOnce(Option<&Image>) -> Result<Vec<Change>, E> + Send,
    ) -> Result<Option<Written>, E> {
        let (mut decide, mut refused) = (Some(decide), None);
        let mut once = |image: Option<&Image>| match decide.take().map(|decide| decide(image)) {
            Some(Ok(changes)) => changes,
            Some(Err(why)) => {
                refused = Some(why);
                Vec::new()
            }
            None => Vec::new(),
        };
        let written = self.decide_and_make(login, at, &mut once).await;
        match refused {
            Some(why) => Err(why),
            None => Ok(written?),
        }
    }

    async fn decide_and_make(
        &self,
        login: &str,
        at: Timestamp,
        decide: &mut (dyn FnMut(Option<&Image>) -> Vec<Change> + Send),
    ) -> Result<Option<Written>, StoreError> {
        let mut image = self.image.write().await;
        let mut transaction = self.store.write().await?;
        let known = image.as_ref().map_or(-1, |image| image.last_event);
        if last_event(&mut transaction).await? > known {
            *image = Self::load(&mut transaction).await?;
        }
        let changes = decide(image.as_ref());
        if changes.is_empty() {
            transaction.abandon().await?;
            return Ok(None);
        }
        let done = Self::make(transaction, &mut image, &changes, login, at).await;
        if done.is_err() {
            // the image may be ahead of the disk: none is taken up again at the next look
            *image = None;
        }
        done.map(Some)
    }

    async fn make(
        mut transaction: Transaction,
        image: &mut Option<Image>,
        changes: &[Change],
        login: &str,
        at: Timestamp,
    ) -> Result<Written, StoreError> {
        let written = write_changes(&mut transaction, changes, login, at).await?;
        let mut reaches: Vec<Reach> = changes.iter().map(Change::reach).collect();
        match image.as_mut() {
            Some(image) => {
                changes
                    .iter()
                    .for_each(|change| image.term.apply(change.clone()));
                number_receipts(&mut image.term, changes, &written);
                image.last_event = last_event(&mut transaction).await?;
            }
            None => {
                // the first changes found the course: the image is what they leave on disk
                *image = Self::load(&mut transaction).await?;
                reaches = vec![Reach::All];
            }
        }
        // the first coordinator comes before there is a course
        let altered = image
            .as_ref()
            .map(|image| image.judge_again(&reaches))
            .unwrap_or_default();
        save_judged(&mut transaction, &altered, at).await?;
        transaction.commit().await?;
        if let Some(image) = image {
            for (slot, judged) in altered {
                match judged {
                    Some(judged) => image.judged.insert(slot, judged),
                    None => image.judged.remove(&slot),
                };
            }
        }
        Ok(written)
    }

    /// Every value the lots ever had, in order of lot and version.
    pub async fn lot_history(&self) -> Result<Vec<ValueVersion>, StoreError> {
        lot_history(&mut *self.store.read().await?).await
    }

    /// Every value the unknowns of an experiment ever had, in order of code and version. They are true values.
    pub async fn unknown_history(
        &self,
        experiment: &ExperimentKey,
    ) -> Result<Vec<ValueVersion>, StoreError> {
        unknown_history(&mut *self.store.read().await?, experiment).await
    }

    /// Corrections of the values a submission rests on, since its results were first released: what its student hears.
    pub async fn corrections(&self, slot: &Slot) -> Result<Vec<Correction>, StoreError> {
        let section = {
            let view = self.view().await?;
            let student = view.term.student(&slot.student);
            student.map_or_else(|| SectionName::new(""), |s| s.section.clone())
        };
        let mut connection = self.store.read().await?;
        let released = first_release(&mut connection, &slot.experiment, &section).await?;
        let Some(since) = released else {
            return Ok(Vec::new());
        };
        let history = judgement_history(&mut connection, slot).await?;
        Ok(corrections(&history, since))
    }

    async fn load(connection: &mut SqliteConnection) -> Result<Option<Image>, StoreError> {
        match load_stored(connection, &FileTexts).await {
            Ok(Stored {
                term,
                judgements,
                last_event,
            }) => {
                let mut judged = judgements.judged;
                for slot in &judgements.unreadable {
                    tracing::warn!(
                        experiment = %slot.experiment,
                        student = %slot.student,
                        "a stored judgement does not decode and is made anew"
                    );
                }
                judged.extend(term.judge_some(judgements.unreadable));
                Ok(Some(Image {
                    term,
                    judged,
                    last_event,
                }))
            }
            Err(StoreError::NoCourse) => Ok(None),
            Err(other) => Err(other),
        }
    }
}

impl Image {
    /// Judgements in course order, then in the order of people.
    pub fn in_course_order(&self) -> Vec<(Slot, Judged)> {
        let term = &self.term;
        let experiments = term.experiments.iter();
        let students = term.in_order();
        let slots = experiments.flat_map(|e| students.iter().map(|s| Slot::new(&e.key, &s.id)));
        slots
            .filter_map(|slot| {
                self.judged
                    .get(&slot)
                    .map(|one| (slot.clone(), one.clone()))
            })
            .collect()
    }

    /// Judgements within reach that now differ from those held; none where nothing is left to judge.
    fn judge_again(&self, reaches: &[Reach]) -> BTreeMap<Slot, Option<Judged>> {
        let mut fresh = self.term.judge_within(reaches);
        fresh.retain(|slot, fresh| fresh.as_ref() != self.judged.get(slot));
        fresh
    }

    /// What changes would come to; nothing is changed.
    pub fn preview(&self, changes: &[Change]) -> Preview {
        self.term.preview(&self.judged, changes)
    }

    /// Whether every section of the course has the results of an experiment. Whether a student has them is another
    /// question: [`Image::is_released_to`].
    pub fn is_released(&self, experiment: &ExperimentKey) -> bool {
        let sections = self.term.sections();
        let released = self.term.released.get(experiment);
        released.is_some_and(|release| match sections.is_empty() {
            true => release.everyone.is_some(),
            false => sections.iter().all(|section| release.of(section).is_some()),
        })
    }

    /// Whether the results are out for a student. Until they are, nothing that depends on the truth is shown to them.
    pub fn is_released_to(&self, slot: &Slot) -> bool {
        let student = self.term.student(&slot.student);
        student.is_some_and(|s| {
            self.term
                .released_to(&slot.experiment, &s.section)
                .is_some()
        })
    }
}

/// Receipts are numbered by the database; the image learns them after the write.
fn number_receipts(term: &mut Term, changes: &[Change], written: &Written) {
    let mut latest: BTreeMap<&Slot, Vec<i64>> = BTreeMap::new();
    for (change, receipt) in changes.iter().zip(&written.receipts) {
        if let (Change::HandIn { slot, .. }, Some(receipt)) = (change, receipt) {
            latest.entry(slot).or_default().push(*receipt);
        }
    }
    for (slot, receipts) in latest {
        if let Some(revisions) = term.submissions.get_mut(slot) {
            for (revision, receipt) in revisions.iter_mut().rev().zip(receipts.iter().rev()) {
                revision.receipt = Some(*receipt);
            }
        }
    }
}

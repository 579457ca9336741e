//! Use cases: what people do to a course. Each is one transaction over the store and the pure core.
//!
//! The database is the record. [`Desk`] holds its image in memory, judged: pages read the image, and every change is
//! written to disk, with the judgements it alters, before the image is seen with it.

pub mod accounts;
mod entered_row;
mod folder;
pub mod forms;
mod hand_in;
mod history;
mod import;
pub mod passwords;
mod people;
mod person;
mod prepare;
mod recompute;
mod review;
mod saved;
pub mod sessions;
mod telling;
mod texts;

use std::collections::BTreeMap;

use jiff::Timestamp;
use tokio::sync::{RwLock, RwLockReadGuard, RwLockWriteGuard};

pub use entered_row::{RowRead, enter_row, read_row};
pub use folder::{BringError, Brought, bring_in, bring_in_term, grade, grade_term, output_files};
pub use forms::PrepareError;
pub use hand_in::{
    HandInError, HandInRequest, MOST_HAND_INS, Receipt, StoredSubmission, WITHIN, hand_in,
    submission,
};
pub use history::ValueVersion;
pub use import::{ImportPlan, plan_import};
pub use people::{RosterPlan, apply_roster, plan_roster, remember_columns, remembered_columns};
pub use prepare::{new_course, open_key, release};
pub use recompute::{Difference, recompute, verify};
pub use review::{ReviewError, decide, give_points, give_points_to, take_back};
pub use saved::lost_of_roster;
pub use telling::{MOST_UNANSWERED, NoteError, leave_note};
pub use texts::FileTexts;

use crate::changes::{Change, Made, Reach};
use crate::ids::ExperimentKey;
use crate::store::{
    SqliteConnection, Store, StoreError, Stored, Transaction, load_stored, newest, write_changes,
};
use crate::term::{Judged, Preview, Slot, Term};

/// A course at work.
pub struct Desk {
    store: Store,
    /// None: to be read again.
    image: RwLock<Option<Image>>,
}

/// The course in memory, as it is on disk.
#[derive(Debug)]
pub struct Image {
    pub term: Term,
    /// Everything handed in, judged.
    pub judged: BTreeMap<Slot, Judged>,
    /// Whether anybody has named the course yet.
    founded: bool,
    /// Number of the newest change it knows of.
    newest: i64,
}

/// The image while it is being read.
pub type View<'a> = RwLockReadGuard<'a, Image>;

impl Desk {
    /// Takes up the course of a database; it may hold none yet.
    pub async fn open(store: Store) -> Result<Self, StoreError> {
        let image = Image::load(&mut *store.read().await?).await?;
        Ok(Self {
            store,
            image: RwLock::new(Some(image)),
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
        let image = self.look().await?;
        RwLockReadGuard::try_map(image, |image| image.founded.then_some(image))
            .map_err(|_| StoreError::NoCourse)
    }

    /// What is in the database, be it no course yet.
    pub async fn look(&self) -> Result<View<'_>, StoreError> {
        let newest = newest(&mut *self.store.read().await?).await?;
        let current = |image: &Option<Image>| image.as_ref().is_some_and(|i| i.newest >= newest);
        let mut image = self.image.read().await;
        if !current(&image) {
            // another process has written: a folder was imported on the command line, say
            drop(image);
            let mut stale = self.image.write().await;
            if !current(&stale) {
                *stale = Some(Image::load(&mut *self.store.read().await?).await?);
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
    ) -> Result<Vec<Made>, StoreError> {
        self.apply_if(login, at, |_| Ok(changes)).await
    }

    /// Decides on changes with nobody else at the desk, then makes them; says where each stands.
    pub async fn apply_if<E: From<StoreError>>(
        &self,
        login: &str,
        at: Timestamp,
        decide: impl FnOnce(Option<&Image>) -> Result<Vec<Change>, E>,
    ) -> Result<Vec<Made>, E> {
        let turn = self.turn().await?;
        match decide(turn.image.as_ref().filter(|image| image.founded)) {
            Ok(changes) if !changes.is_empty() => Ok(turn.make(&changes, login, at).await?),
            none_or_refused => {
                turn.transaction.abandon().await?;
                none_or_refused.map(|_| Vec::new())
            }
        }
    }

    /// Waits for whoever is at the desk, and follows what another process has written.
    async fn turn(&self) -> Result<Turn<'_>, StoreError> {
        let mut image = self.image.write().await;
        let mut transaction = self.store.write().await?;
        let newest = newest(&mut transaction).await?;
        if image.as_ref().is_none_or(|image| image.newest < newest) {
            *image = Some(Image::load(&mut transaction).await?);
        }
        Ok(Turn { image, transaction })
    }
}

/// Somebody at the desk, with nobody beside them.
struct Turn<'a> {
    image: RwLockWriteGuard<'a, Option<Image>>,
    transaction: Transaction,
}

impl Turn<'_> {
    async fn make(
        mut self,
        changes: &[Change],
        login: &str,
        at: Timestamp,
    ) -> Result<Vec<Made>, StoreError> {
        // the image is ahead of the disk until the commit: after a fault it is read again at the next look
        let Some(mut image) = self.image.take() else {
            return Err(StoreError::NoCourse);
        };
        let made: Vec<Made> = (image.newest.saturating_add(1)..)
            .take(changes.len())
            .map(|seq| Made {
                seq,
                at,
                by: login.to_owned(),
            })
            .collect();
        for (change, made) in changes.iter().zip(&made) {
            image.apply(change, made);
        }
        let reaches: Vec<Reach> = changes.iter().map(Change::reach).collect();
        let altered = image.judge_again(&reaches);
        write_changes(&mut self.transaction, changes, &made, &altered).await?;
        self.transaction.commit().await?;
        for (slot, judged) in altered {
            match judged {
                Some(judged) => image.judged.insert(slot, judged),
                None => image.judged.remove(&slot),
            };
        }
        *self.image = Some(image);
        Ok(made)
    }
}

impl Image {
    /// Reads what is in the database. What this program cannot read of its judgements it makes anew.
    async fn load(connection: &mut SqliteConnection) -> Result<Self, StoreError> {
        let Stored {
            term,
            founded,
            mut judged,
            newest,
        } = load_stored(connection, &FileTexts).await?;
        let handed_in = term.submissions.keys();
        let unread = handed_in.filter(|slot| !judged.contains_key(*slot));
        let unread: Vec<Slot> = unread.cloned().collect();
        let fresh = term.judge_again(&judged, unread).into_iter();
        judged.extend(fresh.filter_map(|(slot, one)| Some((slot, one?))));
        Ok(Self {
            term,
            judged,
            founded,
            newest,
        })
    }

    fn apply(&mut self, change: &Change, made: &Made) {
        self.term.apply(change, Some(made));
        self.founded |= matches!(change, Change::Course(_));
        self.newest = made.seq;
    }

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
        let slots = self.term.within_reach(reaches);
        let mut fresh = self.term.judge_again(&self.judged, slots);
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

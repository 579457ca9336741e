//! Use cases: what people do to a course. Each is one transaction over the store and the pure core.
//!
//! The database is the record. [`Desk`] holds its image in memory, judged: pages read the image, and every change is
//! written to disk, with the judgements it alters, before the image is seen with it.

pub mod accounts;
pub mod campus;
pub mod department;
mod drafts;
mod entered_row;
pub mod evidence;
mod folder;
pub mod forms;
mod hand_in;
mod history;
mod image;
mod import;
#[cfg(feature = "postgres")]
mod keep_up;
pub mod lti;
pub mod mail;
mod noted;
mod on_behalf;
pub mod outgoing;
pub mod passwords;
mod people;
mod person;
mod prepare;
mod recompute;
mod retention;
mod review;
mod saved;
pub mod second_step;
pub mod sessions;
mod spare;
mod telling;
mod texts;
mod throttle;
mod waits;
mod writer;

use std::sync::Arc;
use std::sync::atomic::Ordering;

use jiff::Timestamp;
use tokio::sync::Mutex;

pub use drafts::{DraftKept, TypedAtBench, keep_typed, take_hand_down};
pub use entered_row::{RowRead, enter_row, read_row};
pub use folder::{BringError, Brought, bring_in, bring_in_term, grade, grade_term, output_files};
pub use forms::PrepareError;
pub use hand_in::{
    HandInError, HandInRequest, MOST_HAND_INS, Receipt, StoredSubmission, WITHIN, hand_in,
    submission,
};
pub use history::ValueVersion;
pub use import::{ImportPlan, plan_import};
pub use on_behalf::{OnBehalf, OnBehalfError, hand_in_for};
pub use people::{RosterPlan, apply_roster, plan_roster, remember_columns, remembered_columns};
pub use prepare::{new_course, open_key, release};
pub use recompute::{Difference, recompute, verify};
pub use retention::{RetireError, Retirement, go_on, retirable, retire};
pub use review::{ReviewError, accept_all, decide, give_points, give_points_to, take_back};
pub use saved::lost_of_roster;
pub use telling::{MOST_UNANSWERED, NoteError, leave_note};
pub use texts::FileTexts;

use crate::changes::{Change, Made};
use crate::store::{Store, StoreError, newest};
use crate::term::Preview;
use hand_in::Queue;
pub use image::Image;
use spare::Spare;
use writer::{Draft, Shared, Writer, make};

/// A course at work. Readers take the image as it is; a change makes the next one beside it, and whoever changes waits for
/// nobody but the one who changes before.
pub struct Desk {
    store: Store,
    shared: Arc<Shared>,
    writer: Arc<Mutex<Writer>>,
    queue: Arc<Queue>,
    spare: Arc<Spare>,
    #[cfg(feature = "postgres")]
    #[expect(dead_code, reason = "it ends when it is dropped")]
    kept_up: Option<keep_up::KeptUp>,
}

/// The course as somebody found it.
pub type View = Arc<Image>;

/// The image, with whatever another process has written.
async fn look(store: &Store, shared: &Shared, writer: &Mutex<Writer>) -> Result<View, StoreError> {
    let newest = newest(&mut *store.read().await?).await?;
    if shared.knows(newest) {
        return Ok(shared.image());
    }
    // a folder was imported on the command line, say, or there is a second server
    let mut writer = writer.lock().await;
    if !shared.knows(newest) {
        let mut reader = store.read().await?;
        writer.follow(shared, &mut reader).await?;
    }
    Ok(shared.image())
}

impl Desk {
    /// Takes up the course of a database; it may hold none yet.
    pub async fn open(store: Store) -> Result<Self, StoreError> {
        // what is written from now on by another server is heard of
        #[cfg(feature = "postgres")]
        let written = store.written().await;
        let image = Image::load(&mut *store.read().await?).await?;
        let (shared, writer) = (Arc::new(Shared::of(image)), Arc::default());
        Ok(Self {
            #[cfg(feature = "postgres")]
            kept_up: written.map(|written| keep_up::start((&store, &shared, &writer), written)),
            store,
            shared,
            writer,
            queue: Arc::default(),
            spare: Arc::default(),
        })
    }

    /// From now on the course can be read and not changed, or changed again. What is noted of who reads it goes on being
    /// noted.
    pub fn set_closed(&self, closed: bool) {
        self.shared.closed.store(closed, Ordering::Release);
    }

    pub fn is_closed(&self) -> bool {
        self.shared.closed.load(Ordering::Acquire)
    }

    pub fn store(&self) -> &Store {
        &self.store
    }

    pub async fn close(self) {
        self.spare.write_out(&self.store).await;
        self.store.close().await;
    }

    /// The course as it stands.
    pub async fn view(&self) -> Result<View, StoreError> {
        let image = self.look().await?;
        image
            .is_founded()
            .then_some(image)
            .ok_or(StoreError::NoCourse)
    }

    /// What is in the database, be it no course yet.
    pub async fn look(&self) -> Result<View, StoreError> {
        look(&self.store, &self.shared, &self.writer).await
    }

    /// The course as it is held in memory, without a look at the database.
    pub fn as_it_is(&self) -> View {
        self.shared.image()
    }

    /// What changes would come to, told from the course as somebody found it; nothing is changed.
    pub async fn preview(&self, image: &View, changes: &[Change]) -> Result<Preview, StoreError> {
        let mut book = self.writer.lock().await.lent();
        let (image, changes) = (Arc::clone(image), changes.to_vec());
        // whole classes are judged: not on a thread that serves pages
        let tried = tokio::task::spawn_blocking(move || {
            let preview = image.preview(&mut book, &changes);
            (preview, book)
        });
        let (preview, book) = tried.await.map_err(StoreError::broken_off)?;
        self.writer.lock().await.take_up(book);
        Ok(preview)
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

    /// Decides on changes with nobody else changing anything, then makes them; says where each stands.
    pub async fn apply_if<E: From<StoreError>>(
        &self,
        login: &str,
        at: Timestamp,
        decide: impl FnOnce(Option<&Image>) -> Result<Vec<Change>, E>,
    ) -> Result<Vec<Made>, E> {
        let mut writer = Arc::clone(&self.writer).lock_owned().await;
        let transaction = writer.begin(&self.store, &self.shared).await?;
        let image = self.shared.image();
        let changes = match decide(Some(&*image).filter(|image| image.is_founded())) {
            Ok(changes) if !changes.is_empty() => changes,
            none_or_refused => {
                transaction.abandon().await?;
                return none_or_refused.map(|_| Vec::new());
            }
        };
        drop(image);
        let (login, shared) = (login.to_owned(), Arc::clone(&self.shared));
        // whoever asked may be gone before it is done: it is done all the same
        let made = tokio::spawn(async move {
            let plan = move |draft: &mut Draft| draft.add_all(changes, &login, at);
            let ((), made) = make(&mut writer, &shared, transaction, plan).await?;
            Ok(made)
        });
        let made = made.await.map_err(StoreError::broken_off)?;
        Ok(made?)
    }
}

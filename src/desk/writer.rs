//! The one writer: makes the next image beside the one that readers have, writes it down, then puts it in its place.
//!
//! The next begins as a copy, which shares with the other whatever is not changed.

use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::{Arc, PoisonError, RwLock};

use jiff::Timestamp;

use super::{FileTexts, Image};
use crate::changes::{Change, Made, Reach};
use crate::store::{
    Connection, Since, Store, StoreError, Transaction, Writing, changes_since, newest,
    write_changes,
};
use crate::term::ClassBook;

/// What readers have.
pub(super) struct Shared {
    image: RwLock<Arc<Image>>,
    /// The newest change that this process has written or is about to write: of a newer one it knows nothing.
    newest: AtomicI64,
    /// Whether nothing may be changed.
    pub closed: AtomicBool,
}

/// What only the writer has.
#[derive(Default)]
pub(super) struct Writer {
    /// What the classes show, as of the newest change.
    book: ClassBook,
}

/// The next image in the making.
pub(super) struct Draft {
    pub image: Image,
    changes: Vec<Change>,
    made: Vec<Made>,
    reaches: Vec<Reach>,
}

impl Draft {
    /// Makes a change; returns its number.
    pub fn add(&mut self, change: Change, login: &str, at: Timestamp) -> i64 {
        let seq = self.follow(&change, login, at);
        self.changes.push(change);
        seq
    }

    /// Makes changes, in order.
    pub fn add_all(&mut self, changes: Vec<Change>, login: &str, at: Timestamp) {
        self.made.reserve_exact(changes.len());
        for change in &changes {
            self.follow(change, login, at);
        }
        match self.changes.is_empty() {
            // a whole course of them is not moved one by one
            true => self.changes = changes,
            false => self.changes.extend(changes),
        }
    }

    fn follow(&mut self, change: &Change, login: &str, at: Timestamp) -> i64 {
        let seq = self.image.newest().saturating_add(1);
        let by = login.to_owned();
        let made = Made { seq, at, by };
        self.reaches.push(change.reach(&self.image.term));
        self.image.apply(change, &made);
        self.made.push(made);
        seq
    }
}

impl Shared {
    pub fn of(image: Image) -> Self {
        Self {
            newest: AtomicI64::new(image.newest()),
            closed: AtomicBool::new(false),
            image: RwLock::new(Arc::new(image)),
        }
    }

    pub fn image(&self) -> Arc<Image> {
        // what is in it was whole before it was put there
        Arc::clone(&self.image.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Whether a change of that number is no other process's.
    pub fn knows(&self, seq: i64) -> bool {
        seq <= self.newest.load(Ordering::Acquire)
    }

    fn put(&self, image: Image) {
        self.newest.store(image.newest(), Ordering::Release);
        let image = Arc::new(image);
        let mut held = self.image.write().unwrap_or_else(PoisonError::into_inner);
        let before = std::mem::replace(&mut *held, image);
        drop(held);
        // what it alone had may be much, such as audits: no page waits while it is let go of
        tokio::task::spawn_blocking(move || drop(before));
    }
}

impl Writer {
    /// What it knows of the classes, for whoever tries a change.
    pub fn lent(&self) -> ClassBook {
        self.book.lent()
    }

    pub fn take_up(&mut self, lent: ClassBook) {
        self.book.take_up(lent);
    }

    /// Begins a write, and follows what another process has written.
    pub async fn begin(
        &mut self,
        store: &Store,
        shared: &Shared,
    ) -> Result<Transaction, StoreError> {
        if shared.closed.load(Ordering::Acquire) {
            return Err(StoreError::Closed);
        }
        let mut transaction = store.write().await?;
        if !shared.knows(newest(&mut transaction).await?) {
            self.follow(shared, &mut transaction).await?;
        }
        Ok(transaction)
    }

    /// Takes up what another process has written: change by change where they are few, or the course as a whole.
    pub async fn follow(
        &mut self,
        shared: &Shared,
        connection: &mut Connection,
    ) -> Result<(), StoreError> {
        let current = shared.image();
        if let Some(since) = changes_since(connection, current.newest()).await? {
            let book = std::mem::take(&mut self.book);
            let taken_up = move || take_up_since(&current, book, since);
            let taken_up = tokio::task::spawn_blocking(taken_up).await;
            if let Some((image, book)) = taken_up.map_err(StoreError::broken_off)? {
                self.book = book;
                shared.put(image);
                return Ok(());
            }
        }
        *self = Self::default();
        shared.put(Image::load(connection).await?);
        Ok(())
    }
}

/// Makes what a plan adds to a draft of the next image: judged with no lock that a reader takes and on no thread that
/// serves them, written, then seen.
pub(super) async fn make<T: Send + 'static>(
    writer: &mut Writer,
    shared: &Shared,
    mut transaction: Transaction,
    plan: impl FnOnce(&mut Draft) -> T + Send + 'static,
) -> Result<(T, Vec<Made>), StoreError> {
    let current = shared.image();
    let mut book = std::mem::take(&mut writer.book);
    let judged = tokio::task::spawn_blocking(move || {
        let mut draft = Draft {
            image: Image::clone(&current),
            changes: Vec::new(),
            made: Vec::new(),
            reaches: Vec::new(),
        };
        let planned = plan(&mut draft);
        let audits = current.standing_audits(&draft.reaches);
        drop(current);
        let Draft {
            mut image,
            changes,
            made,
            reaches,
        } = draft;
        let mut judged = image.term.judge_reached(&image.judged, &mut book, &reaches);
        judged.retain(|slot, fresh| fresh.as_ref() != image.judged.get(slot));
        image.replace(judged.clone());
        let image = image.with_audits(audits);
        let writing = Writing {
            changes,
            made,
            judged,
        };
        (planned, image, book, Arc::new(writing))
    });
    let (planned, image, book, writing) = judged.await.map_err(StoreError::broken_off)?;
    if writing.changes.is_empty() {
        writer.book = book;
        transaction.abandon().await?;
        return Ok((planned, Vec::new()));
    }
    let before = shared.newest.swap(image.newest(), Ordering::AcqRel);
    let written = async {
        write_changes(&mut transaction, &writing).await?;
        transaction.commit().await
    };
    if let Err(why) = written.await {
        shared.newest.store(before, Ordering::Release);
        return Err(why);
    }
    writer.book = book;
    shared.put(image);
    Ok((planned, writing.made.clone()))
}

/// The next image as another process made it, with what it shows of the classes; none where a text is not readable. What
/// was judged there counts; judging it here as well keeps the book.
fn take_up_since(current: &Image, mut book: ClassBook, since: Since) -> Option<(Image, ClassBook)> {
    let mut image = current.clone();
    let mut reaches = Vec::new();
    for (mut change, made) in since.changes {
        change.revive(&image.term, &FileTexts).ok()?;
        reaches.push(change.reach(&image.term));
        image.apply(&change, &made);
    }
    let audits = current.standing_audits(&reaches);
    image.term.judge_reached(&image.judged, &mut book, &reaches);
    image.replace(since.judged);
    Some((image.with_audits(audits), book))
}

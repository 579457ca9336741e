//! The database: the only place that names sqlx. A file of SQLite, or a schema of a PostgreSQL database.
//!
//! One writer, any number of readers. A write is a [`Transaction`], which waits for the one before it to end; one that is
//! dropped without [`Transaction::commit`] takes its connection with it, so nothing half done can survive.

pub mod accounts;
mod batch;
mod check;
#[cfg(feature = "postgres")]
mod copied;
mod dialect;
mod drafts;
mod error;
mod journal;
mod judgements;
pub mod lti;
pub mod mail;
mod migrations;
mod people;
#[cfg(feature = "postgres")]
pub mod postgres;
mod retention;
mod sending;
mod shelf;
mod sql;
mod sqlite;

use std::ops::{Deref, DerefMut};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use sqlx::sqlite::{SqliteConnectOptions, SqlitePool, SqlitePoolOptions};
use tokio::sync::{Mutex, OwnedMutexGuard};

use accounts::Accounts;
pub use accounts::newest_event;
pub use check::{first_difference, first_missing};
pub use drafts::{BenchDraft, DraftStamp, draft_of, draft_stamp, drafts_in, keep_draft};
pub use error::StoreError;
pub use journal::{
    Since, Stored, Writing, by_request_key, changes_since, entries, entry, hash, head, load_stored,
    newest, newest_of, write_changes,
};
pub use judgements::judgement_history;
use lti::{Contexts, Grades, Keys};
use mail::Mails;
pub use people::student_keys;
pub use retention::{last_of, texts_in_the_journal};
pub use sending::SendState;
pub use shelf::{Archived, Shelf};
pub use sql::Connection;
pub use sqlite::remove_database;

#[derive(Clone)]
pub struct Store {
    place: Place,
    writer: Arc<Mutex<Option<Connection>>>,
}

/// Where a course stands.
#[derive(Clone)]
enum Place {
    /// In a file, or (without readers) in one that passes.
    Sqlite {
        readers: Option<SqlitePool>,
        options: Box<SqliteConnectOptions>,
    },
    #[cfg(feature = "postgres")]
    Postgres(postgres::Schema),
}

/// A write in progress. Dropped without a commit, it never happened.
pub struct Transaction {
    writer: OwnedMutexGuard<Option<Connection>>,
    ended: bool,
}

/// A connection to read with.
pub enum Reader {
    /// From a pool of readers.
    Pooled(Connection),
    /// The writer's own, where nobody else can see the database.
    Writer(OwnedMutexGuard<Option<Connection>>),
}

impl Store {
    /// Opens a database file, made if it is not there, and brings it up to date.
    pub async fn open(file: &Path) -> Result<Self, StoreError> {
        if !file.exists() {
            sqlite::make_private(file)?;
        }
        Self::opened(file, true).await
    }

    /// Opens a file; where it is to be brought up to date, a copy from before is kept if it may be anybody's (`is_kept`).
    async fn opened(file: &Path, is_kept: bool) -> Result<Self, StoreError> {
        let options = sqlite::options(
            SqliteConnectOptions::new()
                .filename(file)
                .create_if_missing(true),
        );
        let writer = sqlite::connect(&options, is_kept.then_some(file)).await?;
        let readers = SqlitePoolOptions::new()
            .max_connections(4)
            .acquire_timeout(Duration::from_secs(10))
            .connect_lazy_with(options.clone().read_only(true));
        Ok(Self {
            place: Place::Sqlite {
                readers: Some(readers),
                options: Box::new(options),
            },
            writer: Arc::new(Mutex::new(Some(Connection::Sqlite(writer)))),
        })
    }

    /// A database of nobody else's, gone when it is dropped: in memory as long as it is small, beyond that in a file without
    /// a name in the system's folder for such.
    pub async fn passing() -> Result<Self, StoreError> {
        let options = SqliteConnectOptions::new()
            .filename("")
            .create_if_missing(true);
        let options = sqlite::options(options);
        let writer = sqlite::connect(&options, None).await?;
        Ok(Self {
            place: Place::Sqlite {
                readers: None,
                options: Box::new(options),
            },
            writer: Arc::new(Mutex::new(Some(Connection::Sqlite(writer)))),
        })
    }

    /// A connection to read with.
    pub async fn read(&self) -> Result<Reader, StoreError> {
        match &self.place {
            Place::Sqlite {
                readers: Some(pool),
                ..
            } => Ok(Reader::Pooled(Connection::Pooled(pool.acquire().await?))),
            Place::Sqlite { readers: None, .. } => Ok(Reader::Writer(self.writer().await?)),
            #[cfg(feature = "postgres")]
            Place::Postgres(schema) => {
                let reader = schema.reader().await?;
                Ok(Reader::Pooled(Connection::Postgres(reader)))
            }
        }
    }

    /// Begins a write; waits for the one before to end.
    pub async fn write(&self) -> Result<Transaction, StoreError> {
        let mut writer = self.writer().await?;
        if let Some(connection) = writer.as_mut() {
            connection.begin_write().await?;
        }
        Ok(Transaction {
            writer,
            ended: false,
        })
    }

    /// Whether every page of the file can be read. A server of PostgreSQL looks after its own.
    pub async fn check_pages(&self) -> Result<(), StoreError> {
        let mut reader = self.read().await?;
        match reader.sqlite() {
            Some(connection) => sqlite::check_pages(connection).await,
            None => Ok(()),
        }
    }

    /// Copies the database as it stands into a new file, while it is in use, and checks the copy. A copy that fails leaves
    /// nothing.
    pub async fn backup(&self, to: &Path) -> Result<(), StoreError> {
        #[cfg(feature = "postgres")]
        if let Place::Postgres(_) = &self.place {
            // what stands there already is somebody's, and stays
            sqlite::make_private(to)?;
            let copied = self.written_to(to).await;
            if copied.is_err() {
                remove_database(to);
            }
            return copied;
        }
        let mut reader = self.read().await?;
        match reader.sqlite() {
            Some(connection) => sqlite::backup(connection, to).await,
            None => Ok(()),
        }
    }

    /// Copies a course of another engine into an empty file, row by row, and checks the copy.
    #[cfg(feature = "postgres")]
    async fn written_to(&self, to: &Path) -> Result<(), StoreError> {
        let copy = Self::open(to).await?;
        copied::copy(self, &copy).await?;
        let difference = first_difference(&mut *copy.read().await?).await?;
        copy.close().await;
        match difference {
            Some(what) => Err(StoreError::damaged("backup", what)),
            None => Ok(()),
        }
    }

    /// Empties the log of the database into it, in which what was taken out still stands.
    pub async fn empty_log(&self) -> Result<(), StoreError> {
        let mut writer = self.writer().await?;
        let Some(connection) = writer.as_mut() else {
            return Ok(());
        };
        let emptied = connection.empty_log().await;
        if connection.is_shared() {
            writer.take();
        }
        emptied
    }

    /// Closes every connection, so that the write-ahead log is folded into the file.
    pub async fn close(self) {
        if let Place::Sqlite {
            readers: Some(pool),
            ..
        } = &self.place
        {
            pool.close().await;
        }
        if let Some(connection) = self.writer.lock().await.take() {
            // nothing is pending: a commit has already reached the disk
            connection.close().await;
        }
    }

    async fn writer(&self) -> Result<OwnedMutexGuard<Option<Connection>>, StoreError> {
        let mut writer = Arc::clone(&self.writer).lock_owned().await;
        if writer.as_ref().is_some_and(Connection::is_shared) {
            // left by a write that did not come to be: it is closed or goes back, and may be dead
            writer.take();
        }
        if writer.is_none() {
            *writer = Some(match &self.place {
                Place::Sqlite { options, .. } => sqlite::reconnect(options).await?,
                #[cfg(feature = "postgres")]
                Place::Postgres(schema) => Connection::Postgres(schema.writer().await?),
            });
        }
        Ok(writer)
    }
}

impl Transaction {
    /// Ends the write; when this returns, it is on disk.
    pub async fn commit(mut self) -> Result<(), StoreError> {
        self.end_write("COMMIT").await?;
        self.ended = true;
        Ok(())
    }

    /// Ends a write that turned out to be none.
    pub async fn abandon(mut self) -> Result<(), StoreError> {
        self.end_write("ROLLBACK").await?;
        self.ended = true;
        Ok(())
    }
}

impl Drop for Transaction {
    fn drop(&mut self) {
        let is_shared = self.writer.as_ref().is_some_and(Connection::is_shared);
        if !self.ended || is_shared {
            // after a failed write the connection cannot be trusted: closing it rolls back, the next write reopens
            self.writer.take();
        }
    }
}

/// What the tables beside the journal hold, each in its own words; of a write as of a reader.
impl Connection {
    pub fn accounts(&mut self) -> Accounts<'_> {
        Accounts(self)
    }

    pub fn mails(&mut self) -> Mails<'_> {
        Mails(self)
    }

    pub fn contexts(&mut self) -> Contexts<'_> {
        Contexts(self)
    }

    pub fn grades(&mut self) -> Grades<'_> {
        Grades(self)
    }

    pub fn keys(&mut self) -> Keys<'_> {
        Keys(self)
    }
}

impl Deref for Transaction {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        self.writer
            .as_ref()
            .expect("a transaction holds its connection until it is dropped")
    }
}

impl DerefMut for Transaction {
    fn deref_mut(&mut self) -> &mut Connection {
        self.writer
            .as_mut()
            .expect("a transaction holds its connection until it is dropped")
    }
}

impl Deref for Reader {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        match self {
            Self::Pooled(connection) => connection,
            Self::Writer(writer) => writer.as_ref().expect("a reader's connection is open"),
        }
    }
}

impl DerefMut for Reader {
    fn deref_mut(&mut self) -> &mut Connection {
        match self {
            Self::Pooled(connection) => connection,
            Self::Writer(writer) => writer.as_mut().expect("a reader's connection is open"),
        }
    }
}

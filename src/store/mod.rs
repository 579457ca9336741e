//! The database: the only place that names sqlx.
//!
//! One writer, any number of readers. A write is a [`Transaction`] begun with `BEGIN IMMEDIATE`; one that is dropped
//! without [`Transaction::commit`] takes its connection with it, so nothing half done can survive.

pub mod accounts;
mod batch;
mod check;
mod drafts;
mod journal;
mod judgements;
pub mod lti;
pub mod mail;
mod people;
mod retention;

use std::ops::{Deref, DerefMut};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use sqlx::migrate::MigrateError;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use sqlx::{ConnectOptions, Connection};

/// A connection to the database, within a write or to read with.
pub use sqlx::SqliteConnection;
use tokio::sync::{Mutex, OwnedMutexGuard};

use accounts::Accounts;
pub use accounts::newest_event;
pub use check::{first_difference, first_missing};
pub use drafts::{BenchDraft, DraftStamp, draft_of, draft_stamp, drafts_in, keep_draft};
pub use journal::{
    Stored, Writing, by_request_key, entries, entry, hash, head, load_stored, newest, write_changes,
};
pub use judgements::judgement_history;
use lti::{Contexts, Grades, Keys};
use mail::Mails;
pub use people::student_keys;
pub use retention::{last_of, texts_in_the_journal};

/// Oldest SQLite that is safe here: earlier ones can corrupt a database when the write-ahead log is reset.
const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

#[derive(Clone)]
pub struct Store {
    readers: Option<SqlitePool>,
    writer: Arc<Mutex<Option<SqliteConnection>>>,
    options: SqliteConnectOptions,
}

/// Why the database did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// sqlx or SQLite said no.
    #[error("database: {0}")]
    Database(#[from] sqlx::Error),
    /// A migration could not be applied.
    #[error("database migration: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// The library is older than is safe.
    #[error("found SQLite {found}, expected {}.{}.{} or newer", OLDEST_SQLITE.0, OLDEST_SQLITE.1, OLDEST_SQLITE.2)]
    OldSqlite { found: String },
    /// A stored value that does not decode.
    #[error("database, {place}: {what}")]
    Damaged {
        /// Table, column and row.
        place: String,
        /// What was found and what was expected.
        what: String,
    },
    /// A program that came later has written it.
    #[error(
        "found a database of a newer Concordant (step {found} of its tables), expected step {known} at most: run the newer program, or go back to a copy made before"
    )]
    Newer { found: i64, known: i64 },
    /// The file itself is damaged.
    #[error(
        "found a damaged database file ({0}), expected a sound one: keep it as it is for whoever looks into it, remove its -wal and -shm files from their place beside it, and put the newest copy that `concordant verify` finds sound in its place"
    )]
    Unsound(String),
    /// A file could not be made.
    #[error("cannot make {file}: {why}")]
    Unwritten { file: String, why: std::io::Error },
    /// What was under way did not come to its end.
    #[error("broken off: {0}")]
    BrokenOff(String),
    /// The course is closed: it can be read and not changed.
    #[error(
        "found a closed course, expected an open one: open it again before anything in it is changed"
    )]
    Closed,
    /// The database holds no course yet.
    #[error(
        "found no course in the database, expected one: import a course folder or create a course first"
    )]
    NoCourse,
}

impl StoreError {
    pub(crate) fn broken_off(why: impl ToString) -> Self {
        Self::BrokenOff(why.to_string())
    }

    /// A stored value that does not decode.
    pub(crate) fn damaged(place: impl Into<String>, what: impl ToString) -> Self {
        Self::Damaged {
            place: place.into(),
            what: what.to_string(),
        }
    }
}

impl StoreError {
    /// Whether nothing could be kept because the disk is full or does not take it.
    pub fn is_of_disk(&self) -> bool {
        let Self::Database(why) = self else {
            return false;
        };
        let code = why.as_database_error().and_then(|why| why.code());
        let code = code.and_then(|code| code.parse::<u32>().ok());
        // the lowest byte says what it is, the rest which of them: SQLITE_IOERR, SQLITE_FULL
        code.is_some_and(|code| [10, 13].contains(&(code & 0xff)))
    }
}

/// A write in progress. Dropped without a commit, it never happened.
pub struct Transaction {
    writer: OwnedMutexGuard<Option<SqliteConnection>>,
    ended: bool,
}

/// A connection to read with.
pub enum Reader {
    /// From the pool of readers.
    Pooled(sqlx::pool::PoolConnection<sqlx::Sqlite>),
    /// The writer's own, where the database is in memory.
    Writer(OwnedMutexGuard<Option<SqliteConnection>>),
}

impl Store {
    /// Opens a database file, made if it is not there, and brings it up to date.
    pub async fn open(file: &Path) -> Result<Self, StoreError> {
        if !file.exists() {
            make_private(file)?;
        }
        let options = options(
            SqliteConnectOptions::new()
                .filename(file)
                .create_if_missing(true),
        );
        let writer = Self::connect(&options, Some(file)).await?;
        let readers = SqlitePoolOptions::new()
            .max_connections(4)
            .acquire_timeout(Duration::from_secs(10))
            .connect_lazy_with(options.clone().read_only(true));
        Ok(Self {
            readers: Some(readers),
            writer: Arc::new(Mutex::new(Some(writer))),
            options,
        })
    }

    /// A database in memory, gone when it is dropped.
    pub async fn in_memory() -> Result<Self, StoreError> {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let name = format!(
            "sqlite:file:memory-{}?mode=memory",
            COUNT.fetch_add(1, Ordering::Relaxed)
        );
        let options = options(SqliteConnectOptions::from_str(&name)?);
        let writer = Self::connect(&options, None).await?;
        Ok(Self {
            readers: None,
            writer: Arc::new(Mutex::new(Some(writer))),
            options,
        })
    }

    /// A connection to read with.
    pub async fn read(&self) -> Result<Reader, StoreError> {
        match &self.readers {
            Some(pool) => Ok(Reader::Pooled(pool.acquire().await?)),
            None => Ok(Reader::Writer(self.writer().await?)),
        }
    }

    /// Begins a write; waits for the one before to end.
    pub async fn write(&self) -> Result<Transaction, StoreError> {
        let mut writer = self.writer().await?;
        if let Some(connection) = writer.as_mut() {
            sqlx::query("BEGIN IMMEDIATE").execute(connection).await?;
        }
        Ok(Transaction {
            writer,
            ended: false,
        })
    }

    /// Whether every page of the file can be read.
    pub async fn check_pages(&self) -> Result<(), StoreError> {
        let mut reader = self.read().await?;
        let found = sqlx::query_scalar("PRAGMA quick_check(1)");
        let found: Result<String, _> = found.fetch_one(&mut *reader).await;
        match found {
            Ok(found) if found == "ok" => Ok(()),
            Ok(found) => Err(StoreError::Unsound(found)),
            Err(why) => Err(StoreError::Unsound(why.to_string())),
        }
    }

    /// Copies the database as it stands into a new file, while it is in use, and checks the copy. A copy that fails leaves
    /// nothing.
    pub async fn backup(&self, to: &Path) -> Result<(), StoreError> {
        make_private(to)?;
        let copied = self.copy_into(to).await;
        if copied.is_err() {
            remove_database(to);
        }
        copied
    }

    async fn copy_into(&self, to: &Path) -> Result<(), StoreError> {
        let mut reader = self.read().await?;
        vacuum_into(&mut reader, to).await?;
        drop(reader);
        let mut copy = SqliteConnectOptions::new()
            .filename(to)
            .read_only(true)
            .connect()
            .await?;
        let difference = first_difference(&mut copy).await?;
        copy.close().await?;
        match difference {
            Some(what) => Err(StoreError::damaged("backup", what)),
            None => Ok(()),
        }
    }

    /// Closes every connection, so that the write-ahead log is folded into the file.
    pub async fn close(self) {
        if let Some(pool) = &self.readers {
            pool.close().await;
        }
        if let Some(connection) = self.writer.lock().await.take() {
            // nothing is pending: a commit has already reached the disk
            let _closed = connection.close().await;
        }
    }

    async fn writer(&self) -> Result<OwnedMutexGuard<Option<SqliteConnection>>, StoreError> {
        let mut writer = Arc::clone(&self.writer).lock_owned().await;
        if writer.is_none() {
            *writer = Some(self.options.connect().await?);
        }
        Ok(writer)
    }

    async fn connect(
        options: &SqliteConnectOptions,
        file: Option<&Path>,
    ) -> Result<SqliteConnection, StoreError> {
        let mut connection = options.connect().await?;
        let found: String = sqlx::query_scalar("SELECT sqlite_version()")
            .fetch_one(&mut connection)
            .await?;
        let mut numbers = found.split('.').map(|n| n.parse::<u32>().unwrap_or(0));
        let mut next = || numbers.next().unwrap_or(0);
        if (next(), next(), next()) < OLDEST_SQLITE {
            return Err(StoreError::OldSqlite { found });
        }
        let migrations = sqlx::migrate!();
        let known = migrations.iter().map(|one| one.version).max();
        let known = known.unwrap_or_default();
        let held = step_of(&mut connection).await?;
        if let (Some(file), Some(held)) = (file, held)
            && held < known
        {
            keep_before(&mut connection, file, held).await?;
        }
        match migrations.run(&mut connection).await {
            Ok(()) => Ok(connection),
            Err(MigrateError::VersionMissing(found)) => Err(StoreError::Newer { found, known }),
            Err(why) => Err(why.into()),
        }
    }
}

/// The newest migration of a database; none if it is a new one.
async fn step_of(connection: &mut SqliteConnection) -> Result<Option<i64>, StoreError> {
    let made = sqlx::query_scalar(
        "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = '_sqlx_migrations'",
    );
    let made: i64 = made.fetch_one(&mut *connection).await?;
    if made == 0 {
        return Ok(None);
    }
    let held = sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations");
    Ok(held.fetch_one(connection).await?)
}

/// Copies a database as it is before its tables are changed, beside it.
async fn keep_before(
    connection: &mut SqliteConnection,
    file: &Path,
    held: i64,
) -> Result<(), StoreError> {
    let mut name = file.as_os_str().to_owned();
    name.push(format!(".step-{held}"));
    let copy = PathBuf::from(&name);
    if copy.exists() {
        // of a change that was broken off: it is the older one that counts
        return Ok(());
    }
    // it has its name once it is whole: whoever makes it may be killed
    name.push(".partial");
    let partial = Path::new(&name);
    remove_database(partial);
    make_private(partial)?;
    let copied = vacuum_into(connection, partial).await.and_then(|()| {
        std::fs::rename(partial, &copy).map_err(|why| StoreError::Unwritten {
            file: copy.display().to_string(),
            why,
        })
    });
    if copied.is_err() {
        remove_database(partial);
    }
    copied
}

async fn vacuum_into(connection: &mut SqliteConnection, to: &Path) -> Result<(), StoreError> {
    let target = to.to_string_lossy().into_owned();
    let copying = sqlx::query("VACUUM INTO ?").bind(target);
    copying.execute(connection).await?;
    Ok(())
}

/// Makes an empty file that only its owner can read, which SQLite takes as a database that is still empty; its log and
/// index get the same rights.
fn make_private(file: &Path) -> Result<(), StoreError> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    match options.open(file) {
        Ok(_) => Ok(()),
        Err(why) => Err(StoreError::Unwritten {
            file: file.display().to_string(),
            why,
        }),
    }
}

/// Takes a copy away that did not come to be, with what SQLite put beside it.
pub fn remove_database(file: &Path) {
    for end in ["", "-journal", "-wal", "-shm"] {
        let mut name = file.as_os_str().to_owned();
        name.push(end);
        // it may not be there
        let _removed = std::fs::remove_file(Path::new(&name));
    }
}

/// Durable on commit, keys enforced, triggers that even a REPLACE fires, nothing left in pages that are free again.
fn options(base: SqliteConnectOptions) -> SqliteConnectOptions {
    base.journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .pragma("recursive_triggers", "ON")
        // what is taken out is written over
        .pragma("secure_delete", "ON")
        .disable_statement_logging()
}

impl Transaction {
    /// Ends the write; when this returns, it is on disk.
    pub async fn commit(mut self) -> Result<(), StoreError> {
        sqlx::query("COMMIT").execute(&mut *self).await?;
        self.ended = true;
        Ok(())
    }

    /// Ends a write that turned out to be none.
    pub async fn abandon(mut self) -> Result<(), StoreError> {
        sqlx::query("ROLLBACK").execute(&mut *self).await?;
        self.ended = true;
        Ok(())
    }
}

impl Drop for Transaction {
    fn drop(&mut self) {
        if !self.ended {
            // after a failed write the connection cannot be trusted: closing it rolls back, the next write reopens
            self.writer.take();
        }
    }
}

impl Transaction {
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

impl Reader {
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
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        self.writer
            .as_ref()
            .expect("a transaction holds its connection until it is dropped")
    }
}

impl DerefMut for Transaction {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        self.writer
            .as_mut()
            .expect("a transaction holds its connection until it is dropped")
    }
}

impl Deref for Reader {
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        match self {
            Self::Pooled(connection) => connection,
            Self::Writer(writer) => writer.as_ref().expect("a reader's connection is open"),
        }
    }
}

impl DerefMut for Reader {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        match self {
            Self::Pooled(connection) => connection,
            Self::Writer(writer) => writer.as_mut().expect("a reader's connection is open"),
        }
    }
}

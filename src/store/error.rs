//! Why the database did not do what was asked.

use super::sqlite::OLDEST_SQLITE;

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
    /// The database cannot be reached, as somebody else was told who asked at the same time.
    #[error("database: found no answer, expected one")]
    Away,
    /// The address of a database, where the program knows of files alone.
    #[error(
        "found the address of a PostgreSQL database, expected a file: this program was built without it (cargo build --release --features postgres builds one with it)"
    )]
    NotBuilt,
    /// A server of PostgreSQL on which nothing can be built.
    #[error("database: found {found}, expected {expected}")]
    Unsuitable {
        found: String,
        expected: &'static str,
    },
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
        // those of the other engine have five characters, which no number of SQLite's has
        #[cfg(feature = "postgres")]
        if let Some(code) = code.as_deref().filter(|code| code.len() == 5) {
            return super::postgres::is_of_disk(code);
        }
        let code = code.and_then(|code| code.parse::<u32>().ok());
        // the lowest byte says what it is, the rest which of them: SQLITE_IOERR, SQLITE_FULL
        code.is_some_and(|code| [10, 13].contains(&(code & 0xff)))
    }

    /// Whether the database could not be reached, so that nothing was read or kept: it can be tried again.
    pub fn is_away(&self) -> bool {
        match self {
            Self::Away => true,
            #[cfg(feature = "postgres")]
            Self::Database(why) => super::postgres::is_away(why),
            _ => false,
        }
    }
}

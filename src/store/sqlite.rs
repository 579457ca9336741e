//! Files of SQLite: how they are opened, brought up to date and copied.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use sqlx::migrate::MigrateError;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqliteSynchronous};
use sqlx::{ConnectOptions, Row as _};

use super::sql::Connection;
use super::{StoreError, first_difference, migrations};

/// Oldest SQLite that is safe here: earlier ones can corrupt a database when the write-ahead log is reset.
pub(super) const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

pub(super) async fn connect(
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
    let migrations = migrations::of_sqlite();
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

/// Opens a connection to a database that is up to date.
pub(super) async fn reconnect(options: &SqliteConnectOptions) -> Result<Connection, StoreError> {
    Ok(Connection::Sqlite(options.connect().await?))
}

/// Whether every page of the file can be read.
pub(super) async fn check_pages(connection: &mut SqliteConnection) -> Result<(), StoreError> {
    let found = sqlx::query_scalar("PRAGMA quick_check(1)");
    let found: Result<String, _> = found.fetch_one(connection).await;
    match found {
        Ok(found) if found == "ok" => Ok(()),
        Ok(found) => Err(StoreError::Unsound(found)),
        Err(why) => Err(StoreError::Unsound(why.to_string())),
    }
}

/// Copies a file into a new one and checks the copy. A copy that fails leaves nothing.
pub(super) async fn backup(connection: &mut SqliteConnection, to: &Path) -> Result<(), StoreError> {
    make_private(to)?;
    let copied = copy_into(connection, to).await;
    if copied.is_err() {
        remove_database(to);
    }
    copied
}

async fn copy_into(connection: &mut SqliteConnection, to: &Path) -> Result<(), StoreError> {
    vacuum_into(connection, to).await?;
    let copy = SqliteConnectOptions::new()
        .filename(to)
        .read_only(true)
        .connect()
        .await?;
    let mut copy = Connection::Sqlite(copy);
    let difference = first_difference(&mut copy).await?;
    copy.close().await;
    match difference {
        Some(what) => Err(StoreError::damaged("backup", what)),
        None => Ok(()),
    }
}

/// What is wrong with the file itself.
pub(super) async fn unsound(
    connection: &mut SqliteConnection,
) -> Result<Option<String>, StoreError> {
    let sound: String = sqlx::query_scalar("PRAGMA integrity_check")
        .fetch_one(&mut *connection)
        .await?;
    let strays = sqlx::query("PRAGMA foreign_key_check")
        .fetch_all(connection)
        .await?
        .len();
    let what =
        format!("found \u{201c}{sound}\u{201d} and {strays} stray rows, expected a sound file");
    Ok((sound != "ok" || strays > 0).then_some(what))
}

/// Tables, indexes, triggers and views with the text that made them.
/// The two tables that an existing tool for replicating SQLite (`seed-data/kit/litestream.yml`) puts beside ours are left
/// out, as it makes them and no otherwise.
pub(super) async fn made_of(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<String, String>, StoreError> {
    let rows = sqlx::query(
        "SELECT type || ' ' || name AS name, coalesce(sql, '') AS sql FROM sqlite_master
         WHERE coalesce(sql, '') NOT IN ('CREATE TABLE _litestream_seq (id INTEGER PRIMARY KEY, seq INTEGER)',
                                         'CREATE TABLE _litestream_lock (id INTEGER)')",
    );
    let mut made = BTreeMap::new();
    for row in rows.fetch_all(connection).await? {
        made.insert(row.try_get("name")?, row.try_get("sql")?);
    }
    Ok(made)
}

/// Empties the log of a database into it, in which what was taken out still stands.
pub(super) async fn empty_log(connection: &mut SqliteConnection) -> Result<(), StoreError> {
    let emptied = sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)");
    emptied.execute(connection).await?;
    Ok(())
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

pub(super) async fn vacuum_into(
    connection: &mut SqliteConnection,
    to: &Path,
) -> Result<(), StoreError> {
    let target = to.to_string_lossy().into_owned();
    let copying = sqlx::query("VACUUM INTO ?").bind(target);
    copying.execute(connection).await?;
    Ok(())
}

/// Makes an empty file that only its owner can read, which SQLite takes as a database that is still empty; its log and
/// index get the same rights.
pub(super) fn make_private(file: &Path) -> Result<(), StoreError> {
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
pub(super) fn options(base: SqliteConnectOptions) -> SqliteConnectOptions {
    base.journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .pragma("recursive_triggers", "ON")
        // what is taken out is written over
        .pragma("secure_delete", "ON")
        .disable_statement_logging()
}

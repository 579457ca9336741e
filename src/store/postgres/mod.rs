//! Courses in a database of PostgreSQL: a schema for each, with the tables that a file has.
//!
//! All courses of a server share two pools of connections, one to read with and one to write with, so that nobody who
//! holds a reader and waits for a writer waits for themselves. A connection is told which course it is for whenever it is
//! given out, which also shows whether it is still alive: a server that was started again is found again.

mod address;
mod made;
mod written;

use std::sync::Arc;
use std::time::Duration;

use sqlx::migrate::MigrateError;
use sqlx::pool::PoolConnection;
use sqlx::postgres::{PgConnectOptions, PgConnection, PgPool, PgPoolOptions};
use sqlx::{AssertSqlSafe, Postgres};
use tokio::sync::{Mutex, broadcast};

use super::{Place, Store, StoreError, migrations};

pub use address::Address;
pub(super) use made::{made_and_found, vacuum};
pub use written::{Told, Written};

/// Oldest server whose functions the tables are made with.
const OLDEST: i32 = 140_000;

/// For how long a request waits for a server that cannot be reached: one that is only started again is not noticed.
const PATIENCE: Duration = Duration::from_secs(5);

/// A database of PostgreSQL with its courses. Cheap to copy.
#[derive(Clone)]
pub struct Database {
    readers: PgPool,
    writers: PgPool,
    /// Schemas that were written to, by anybody; an empty name stands for all, where some may have been missed.
    written: Arc<Mutex<Option<broadcast::Sender<Arc<str>>>>>,
}

/// One course of a database.
#[derive(Clone)]
pub(super) struct Schema {
    database: Database,
    name: Arc<str>,
}

/// A connection that was given out for a course.
pub struct Held {
    connection: PoolConnection<Postgres>,
    /// Whether a transaction is open on it: then it goes back to nobody.
    pub(super) within: bool,
}

impl Database {
    /// Takes up a database, after it was seen to be one that keeps what it says it keeps.
    pub async fn open(address: &Address) -> Result<Self, StoreError> {
        let options = address.options()?.application_name("concordant").options([
            // a write waits for the one before as long as it would for a file
            ("lock_timeout", "10s"),
            // a server that has stopped answering lets go of the course
            ("idle_in_transaction_session_timeout", "60s"),
            ("tcp_keepalives_idle", "10"),
            ("tcp_keepalives_interval", "5"),
            ("tcp_keepalives_count", "3"),
        ]);
        let pool = |most: u32, options: PgConnectOptions| {
            PgPoolOptions::new()
                .max_connections(most)
                .acquire_timeout(PATIENCE)
                // telling it which course it is for asks as much
                .test_before_acquire(false)
                .connect_lazy_with(options)
        };
        let database = Self {
            readers: pool(12, options.clone()),
            writers: pool(8, options),
            written: Arc::default(),
        };
        database.keeps_its_word().await?;
        Ok(database)
    }

    /// Opens a course that is there, and brings it up to date.
    pub async fn course(&self, schema: &str) -> Result<Store, StoreError> {
        if !self.holds(schema).await? {
            return Err(StoreError::damaged(
                "database",
                format!("found no schema {schema}, expected one with a course in it"),
            ));
        }
        self.opened(schema).await
    }

    /// Makes an empty course.
    pub async fn new_course(&self, schema: &str) -> Result<Store, StoreError> {
        let mut held = self.any(&self.writers).await?;
        let make = format!("CREATE SCHEMA {}", quoted(schema));
        sqlx::query(AssertSqlSafe(make))
            .execute(held.connection())
            .await?;
        drop(held);
        self.opened(schema).await
    }

    /// Whether there is a schema of that name.
    pub async fn holds(&self, schema: &str) -> Result<bool, StoreError> {
        let mut held = self.any(&self.readers).await?;
        let there =
            sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM pg_namespace WHERE nspname = $1)");
        Ok(there.bind(schema).fetch_one(held.connection()).await?)
    }

    /// Names of the schemas that hold a course and begin so, in order.
    pub async fn schemas(&self, beginning: &str) -> Result<Vec<String>, StoreError> {
        let mut held = self.any(&self.readers).await?;
        let names = sqlx::query_scalar(
            "SELECT nspname::text FROM pg_namespace JOIN pg_class ON relnamespace = pg_namespace.oid
             WHERE relname = 'journal' AND relkind = 'r' AND starts_with(nspname::text, $1) ORDER BY 1",
        );
        Ok(names.bind(beginning).fetch_all(held.connection()).await?)
    }

    /// Gives a course another name.
    pub async fn rename(&self, from: &str, to: &str) -> Result<(), StoreError> {
        let mut held = self.any(&self.writers).await?;
        let rename = format!("ALTER SCHEMA {} RENAME TO {}", quoted(from), quoted(to));
        sqlx::query(AssertSqlSafe(rename))
            .execute(held.connection())
            .await?;
        Ok(())
    }

    /// Takes away what did not come to be a course.
    pub async fn remove(&self, schema: &str) -> Result<(), StoreError> {
        let mut held = self.any(&self.writers).await?;
        let drop = format!("DROP SCHEMA IF EXISTS {} CASCADE", quoted(schema));
        sqlx::query(AssertSqlSafe(drop))
            .execute(held.connection())
            .await?;
        Ok(())
    }

    /// Closes every connection.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writers.close().await;
    }

    /// A live connection that is for no course.
    async fn any(&self, pool: &PgPool) -> Result<Held, StoreError> {
        let schema = Schema {
            database: self.clone(),
            name: "pg_catalog".into(),
        };
        schema.given_out(pool).await
    }

    async fn opened(&self, schema: &str) -> Result<Store, StoreError> {
        let schema = Schema {
            database: self.clone(),
            name: schema.into(),
        };
        schema.bring_up_to_date().await?;
        Ok(Store {
            place: Place::Postgres(schema),
            writer: Arc::default(),
        })
    }

    /// A receipt says that something is on disk; that holds only where the server waits for the disk.
    async fn keeps_its_word(&self) -> Result<(), StoreError> {
        let mut held = self.any(&self.readers).await?;
        let (version, fsync, commit, encoding): (i32, String, String, String) = sqlx::query_as(
            "SELECT current_setting('server_version_num')::int, current_setting('fsync'),
                    current_setting('synchronous_commit'), current_setting('server_encoding')",
        )
        .fetch_one(held.connection())
        .await?;
        let expected =
            |found: String, expected: &'static str| Err(StoreError::Unsuitable { found, expected });
        if version < OLDEST {
            return expected(format!("PostgreSQL {}", version / 10_000), "14 or newer");
        }
        if fsync != "on" {
            return expected(
                format!("fsync {fsync}"),
                "on: a receipt says that it is on disk",
            );
        }
        if commit == "off" {
            return expected(
                "synchronous_commit off".to_owned(),
                "on: a receipt says that it is on disk",
            );
        }
        if encoding != "UTF8" {
            return expected(format!("a database in {encoding}"), "UTF8");
        }
        Ok(())
    }
}

impl Schema {
    pub async fn reader(&self) -> Result<Held, StoreError> {
        self.given_out(&self.database.readers).await
    }

    pub async fn writer(&self) -> Result<Held, StoreError> {
        self.given_out(&self.database.writers).await
    }

    /// A live connection for this course. One that died since it was last used is let go of, and another is asked for.
    async fn given_out(&self, pool: &PgPool) -> Result<Held, StoreError> {
        let path = format!("SET search_path TO {}", quoted(&self.name));
        let until = tokio::time::Instant::now() + PATIENCE;
        loop {
            let mut connection = pool.acquire().await?;
            let told = sqlx::raw_sql(AssertSqlSafe(path.clone()))
                .execute(&mut *connection)
                .await;
            match told {
                Ok(_) => {
                    return Ok(Held {
                        connection,
                        within: false,
                    });
                }
                Err(why) => {
                    connection.close_on_drop();
                    if tokio::time::Instant::now() >= until {
                        return Err(why.into());
                    }
                }
            }
        }
    }

    async fn bring_up_to_date(&self) -> Result<(), StoreError> {
        let mut held = self.writer().await?;
        let migrations = migrations::of_postgres();
        let known = migrations.iter().map(|one| one.version).max();
        // one that fails holds a lock
        held.within = true;
        let done = migrations.run_direct(None, held.connection(), false).await;
        match done {
            Ok(()) => {
                held.within = false;
                Ok(())
            }
            Err(MigrateError::VersionMissing(found)) => Err(StoreError::Newer {
                found,
                known: known.unwrap_or_default(),
            }),
            Err(why) => Err(why.into()),
        }
    }
}

impl Held {
    pub(super) fn connection(&mut self) -> &mut PgConnection {
        &mut self.connection
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        if self.within {
            // closing it rolls back; nobody else is to find half of a transaction
            self.connection.close_on_drop();
        }
    }
}

/// A name as a statement takes it.
fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// Whether the database could not be reached, or was being stopped or started.
pub(super) fn is_away(why: &sqlx::Error) -> bool {
    match why {
        sqlx::Error::Io(_) | sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed => true,
        sqlx::Error::Database(why) => why.code().is_some_and(|code| {
            // connection exceptions, too many connections, stopped by its administrator, crashed, not yet started, a write
            // that waits too long for the one before, and a standby that takes no writes
            code.starts_with("08")
                || [
                    "53300", "57P01", "57P02", "57P03", "55P03", "25P03", "25006",
                ]
                .contains(&&*code)
        }),
        _ => false,
    }
}

/// Whether a server says that its disk is full or does not take it.
pub(super) fn is_of_disk(code: &str) -> bool {
    ["53100", "58030"].contains(&code)
}

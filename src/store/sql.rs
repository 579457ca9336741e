//! Statements as both engines take them: one text with `$1` for what is bound, whole numbers and text alone, and rows that
//! are read by the names of their columns. What differs between the engines stands in [`super::dialect`].

use sqlx::pool::PoolConnection;
use sqlx::sqlite::{SqliteArguments, SqliteRow};
use sqlx::{Arguments as _, AssertSqlSafe, Row as _, Sqlite, SqliteConnection};

#[cfg(feature = "postgres")]
use super::postgres::Held;
use super::{StoreError, dialect, sqlite};

/// A connection to the database, within a write or to read with.
pub enum Connection {
    Sqlite(SqliteConnection),
    /// One of the readers of a file.
    Pooled(PoolConnection<Sqlite>),
    #[cfg(feature = "postgres")]
    Postgres(Held),
}

/// Whose words a connection speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dialect {
    Sqlite,
    #[cfg(feature = "postgres")]
    Postgres,
}

/// A connection by its engine.
pub(super) enum Engine<'c> {
    Sqlite(&'c mut SqliteConnection),
    #[cfg(feature = "postgres")]
    Postgres(&'c mut sqlx::PgConnection),
}

impl Connection {
    pub(super) fn dialect(&self) -> Dialect {
        match self {
            Self::Sqlite(_) | Self::Pooled(_) => Dialect::Sqlite,
            #[cfg(feature = "postgres")]
            Self::Postgres(_) => Dialect::Postgres,
        }
    }

    /// The connection to the file, for whoever has something to ask of SQLite alone; none where it is another engine's.
    pub fn sqlite(&mut self) -> Option<&mut SqliteConnection> {
        match self.engine() {
            Engine::Sqlite(connection) => Some(connection),
            #[cfg(feature = "postgres")]
            Engine::Postgres(_) => None,
        }
    }

    pub(super) fn engine(&mut self) -> Engine<'_> {
        match self {
            Self::Sqlite(connection) => Engine::Sqlite(connection),
            Self::Pooled(connection) => Engine::Sqlite(connection),
            #[cfg(feature = "postgres")]
            Self::Postgres(held) => Engine::Postgres(held.connection()),
        }
    }

    /// Whether it goes back to others once a write has ended.
    pub(super) fn is_shared(&self) -> bool {
        self.dialect() != Dialect::Sqlite
    }

    /// Begins the one write of a course; waits for the one before to end.
    pub(super) async fn begin_write(&mut self) -> Result<(), sqlx::Error> {
        // before it is asked: whoever asks may be gone before the answer
        self.set_within(true);
        self.run(dialect::begin(self.dialect())).await
    }

    /// Ends a write, one way or the other.
    pub(super) async fn end_write(&mut self, how: &'static str) -> Result<(), sqlx::Error> {
        self.run(how).await?;
        self.set_within(false);
        Ok(())
    }

    /// From now on nothing is written between what is read. Gives what ends it.
    pub(super) async fn begin_snapshot(&mut self) -> Result<Option<&'static str>, sqlx::Error> {
        let Some((begin, end)) = dialect::snapshot(self.dialect(), self.is_within()) else {
            return Ok(None);
        };
        if self.is_shared() {
            self.set_within(true);
        }
        self.run(begin).await?;
        Ok(Some(end))
    }

    pub(super) async fn end_snapshot(
        &mut self,
        end: Option<&'static str>,
    ) -> Result<(), sqlx::Error> {
        let Some(end) = end else { return Ok(()) };
        self.run(end).await?;
        if self.is_shared() {
            self.set_within(false);
        }
        Ok(())
    }

    /// Lets go of what is left of rows that were taken out, as far as the engine lets anybody.
    pub(super) async fn empty_log(&mut self) -> Result<(), StoreError> {
        match self.engine() {
            Engine::Sqlite(connection) => sqlite::empty_log(connection).await,
            #[cfg(feature = "postgres")]
            Engine::Postgres(connection) => super::postgres::vacuum(connection).await,
        }
    }

    /// Closes it, or gives it back to the others.
    pub(super) async fn close(self) {
        if let Self::Sqlite(connection) = self {
            // whatever was committed is on disk
            let _closed = sqlx::Connection::close(connection).await;
        }
    }

    async fn run(&mut self, text: &'static str) -> Result<(), sqlx::Error> {
        match self.engine() {
            Engine::Sqlite(connection) => {
                sqlx::query(text).execute(connection).await?;
            }
            // more than one statement, in one go
            #[cfg(feature = "postgres")]
            Engine::Postgres(connection) => {
                sqlx::raw_sql(text).execute(connection).await?;
            }
        }
        Ok(())
    }

    fn is_within(&self) -> bool {
        match self {
            Self::Sqlite(_) | Self::Pooled(_) => false,
            #[cfg(feature = "postgres")]
            Self::Postgres(held) => held.within,
        }
    }

    /// A connection that is shared is given to nobody else while a transaction is open on it.
    fn set_within(&mut self, within: bool) {
        match self {
            Self::Sqlite(_) | Self::Pooled(_) => {}
            #[cfg(feature = "postgres")]
            Self::Postgres(held) => held.within = within,
        }
        // without the other engine there is nothing to remember
        let _ = within;
    }
}

/// What stands in the place of a `$1`.
pub(super) enum Bound {
    Number(Option<i64>),
    Truth(bool),
    Text(Option<String>),
}

macro_rules! bound {
    ($($from:ty, $held:ident => $bound:expr;)*) => {
        $(impl From<$from> for Bound {
            fn from($held: $from) -> Self {
                $bound
            }
        })*
    };
}

bound! {
    i64, number => Self::Number(Some(number));
    Option<i64>, number => Self::Number(number);
    bool, truth => Self::Truth(truth);
    String, text => Self::Text(Some(text));
    &String, text => Self::Text(Some(text.clone()));
    &str, text => Self::Text(Some(text.to_owned()));
    Option<&str>, text => Self::Text(text.map(str::to_owned));
}

/// The text of a statement.
enum Text {
    Written(&'static str),
    /// Put together from names of tables and columns, never from what people typed.
    Made(String),
}

/// A statement with what is bound to it.
pub(super) struct Query {
    text: Text,
    bound: Vec<Bound>,
}

/// A statement that gives one column.
pub(super) struct Scalar<T> {
    query: Query,
    gives: std::marker::PhantomData<T>,
}

pub(super) fn query(text: &'static str) -> Query {
    Query {
        text: Text::Written(text),
        bound: Vec::new(),
    }
}

/// A statement put together from names of tables and columns.
pub(super) fn query_made(text: String) -> Query {
    Query {
        text: Text::Made(text),
        bound: Vec::new(),
    }
}

pub(super) fn query_scalar<T>(text: &'static str) -> Scalar<T> {
    Scalar {
        query: query(text),
        gives: std::marker::PhantomData,
    }
}

/// A row, read by the names of its columns.
pub(super) enum Row {
    Sqlite(SqliteRow),
    #[cfg(feature = "postgres")]
    Postgres(sqlx::postgres::PgRow),
}

/// What a column can be read as.
pub(super) trait Value<'r>: Sized {
    fn of(row: &'r Row, column: At<'_>) -> Result<Self, sqlx::Error>;
}

/// Which column.
#[derive(Clone, Copy)]
pub(super) enum At<'n> {
    Name(&'n str),
    First,
}

macro_rules! value {
    ($($type:ty),*) => {
        $(impl<'r> Value<'r> for $type {
            fn of(row: &'r Row, column: At<'_>) -> Result<Self, sqlx::Error> {
                match (row, column) {
                    (Row::Sqlite(row), At::Name(name)) => row.try_get(name),
                    (Row::Sqlite(row), At::First) => row.try_get(0),
                    #[cfg(feature = "postgres")]
                    (Row::Postgres(row), At::Name(name)) => row.try_get(name),
                    #[cfg(feature = "postgres")]
                    (Row::Postgres(row), At::First) => row.try_get(0),
                }
            }
        })*
    };
}

value!(
    i64,
    Option<i64>,
    bool,
    String,
    Option<String>,
    &'r str,
    Option<&'r str>
);

impl Row {
    pub fn try_get<'r, T: Value<'r>>(&'r self, column: &str) -> Result<T, sqlx::Error> {
        T::of(self, At::Name(column))
    }
}

macro_rules! run {
    ($self:ident, $connection:ident, $how:ident, $arguments:ty) => {{
        let mut arguments = <$arguments>::default();
        let Query { text, bound } = $self;
        for one in bound {
            let added = match one {
                Bound::Number(number) => arguments.add(number),
                Bound::Truth(truth) => arguments.add(truth),
                Bound::Text(text) => arguments.add(text),
            };
            added.map_err(sqlx::Error::Encode)?;
        }
        match text {
            Text::Written(text) => sqlx::query_with(text, arguments).$how($connection).await,
            Text::Made(text) => {
                let text = AssertSqlSafe(text);
                sqlx::query_with(text, arguments).$how($connection).await
            }
        }
    }};
}

impl Query {
    pub fn bind(mut self, value: impl Into<Bound>) -> Self {
        self.bound.push(value.into());
        self
    }

    /// Says how many rows were touched.
    pub async fn execute(self, connection: &mut Connection) -> Result<u64, sqlx::Error> {
        match connection.engine() {
            Engine::Sqlite(to) => {
                run!(self, to, execute, SqliteArguments).map(|done| done.rows_affected())
            }
            #[cfg(feature = "postgres")]
            Engine::Postgres(to) => run!(self, to, execute, sqlx::postgres::PgArguments)
                .map(|done| done.rows_affected()),
        }
    }

    pub async fn fetch_all(self, connection: &mut Connection) -> Result<Vec<Row>, sqlx::Error> {
        match connection.engine() {
            Engine::Sqlite(to) => {
                let rows = run!(self, to, fetch_all, SqliteArguments)?;
                Ok(rows.into_iter().map(Row::Sqlite).collect())
            }
            #[cfg(feature = "postgres")]
            Engine::Postgres(to) => {
                let rows = run!(self, to, fetch_all, sqlx::postgres::PgArguments)?;
                Ok(rows.into_iter().map(Row::Postgres).collect())
            }
        }
    }

    pub async fn fetch_optional(
        self,
        connection: &mut Connection,
    ) -> Result<Option<Row>, sqlx::Error> {
        match connection.engine() {
            Engine::Sqlite(to) => {
                let row = run!(self, to, fetch_optional, SqliteArguments)?;
                Ok(row.map(Row::Sqlite))
            }
            #[cfg(feature = "postgres")]
            Engine::Postgres(to) => {
                let row = run!(self, to, fetch_optional, sqlx::postgres::PgArguments)?;
                Ok(row.map(Row::Postgres))
            }
        }
    }

    pub async fn fetch_one(self, connection: &mut Connection) -> Result<Row, sqlx::Error> {
        let row = self.fetch_optional(connection).await?;
        row.ok_or(sqlx::Error::RowNotFound)
    }
}

impl<T: for<'r> Value<'r>> Scalar<T> {
    pub fn bind(mut self, value: impl Into<Bound>) -> Self {
        self.query = self.query.bind(value);
        self
    }

    pub async fn fetch_all(self, connection: &mut Connection) -> Result<Vec<T>, sqlx::Error> {
        let rows = self.query.fetch_all(connection).await?;
        rows.iter().map(|row| T::of(row, At::First)).collect()
    }

    pub async fn fetch_one(self, connection: &mut Connection) -> Result<T, sqlx::Error> {
        T::of(&self.query.fetch_one(connection).await?, At::First)
    }

    pub async fn fetch_optional(
        self,
        connection: &mut Connection,
    ) -> Result<Option<T>, sqlx::Error> {
        let row = self.query.fetch_optional(connection).await?;
        row.as_ref().map(|row| T::of(row, At::First)).transpose()
    }
}

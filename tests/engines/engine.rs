//! Where a case keeps its course, and what it does to it without asking the store.

use std::path::PathBuf;

use concordant::changes::Change;
use concordant::columns::Column;
use concordant::course::Student;
use concordant::desk::{Desk, HandInRequest, bring_in};
use concordant::ids::{LotCode, SectionName, StudentId};
use concordant::measure::Reading;
use concordant::store::Store;
#[cfg(feature = "postgres")]
use concordant::store::postgres::Database;
use concordant::submission::{HandIn, Titration, TrialLabel};
use sqlx::{AssertSqlSafe, Connection as _};
use tempfile::TempDir;

#[cfg(feature = "postgres")]
use crate::cluster::Cluster;
use crate::slot;

/// A place for one course.
pub enum Engine {
    File(TempDir),
    #[cfg(feature = "postgres")]
    Schema {
        /// As the engine's own tools take it.
        url: String,
        database: Database,
        name: String,
    },
}

impl Engine {
    pub fn file() -> Self {
        Self::File(tempfile::tempdir().expect("a directory"))
    }

    #[cfg(feature = "postgres")]
    pub async fn schema(cluster: &Cluster, name: &str) -> Self {
        let database = Database::open(&cluster.address())
            .await
            .expect("a database");
        let store = database.new_course(name).await.expect("a schema");
        store.close().await;
        Self::Schema {
            url: cluster.url(),
            database,
            name: name.to_owned(),
        }
    }

    /// A schema that is there.
    #[cfg(feature = "postgres")]
    pub async fn found(cluster: &Cluster, name: &str) -> Self {
        let database = Database::open(&cluster.address()).await;
        Self::Schema {
            url: cluster.url(),
            database: database.expect("a database"),
            name: name.to_owned(),
        }
    }

    #[cfg(feature = "postgres")]
    pub async fn close(self) {
        if let Self::Schema { database, .. } = self {
            database.close().await;
        }
    }

    /// The course as one more server has it.
    pub async fn store(&self) -> Store {
        match self {
            Self::File(_) => Store::open(&self.path()).await.expect("a store"),
            #[cfg(feature = "postgres")]
            Self::Schema { database, name, .. } => database.course(name).await.expect("a store"),
        }
    }

    pub async fn desk(&self) -> Desk {
        Desk::open(self.store().await).await.expect("a desk")
    }

    /// Does what a statement says behind the back of the store; says what the database says.
    pub async fn run(&self, statement: &str) -> Result<u64, String> {
        let text = AssertSqlSafe(statement.to_owned());
        let done = match self {
            Self::File(_) => {
                let options = sqlx::sqlite::SqliteConnectOptions::new().filename(self.path());
                let connection = sqlx::SqliteConnection::connect_with(&options).await;
                let mut connection = connection.expect("a connection");
                let done = sqlx::raw_sql(text).execute(&mut connection).await;
                connection.close().await.expect("closed");
                done.map(|done| done.rows_affected())
            }
            #[cfg(feature = "postgres")]
            Self::Schema { url, name, .. } => {
                let mut connection = sqlx::PgConnection::connect(url).await.expect("connected");
                let path = AssertSqlSafe(format!("SET search_path TO \"{name}\""));
                let told = sqlx::raw_sql(path).execute(&mut connection).await;
                told.expect("told which");
                let done = sqlx::raw_sql(text).execute(&mut connection).await;
                connection.close().await.expect("closed");
                done.map(|done| done.rows_affected())
            }
        };
        done.map_err(|why| why.to_string())
    }

    /// Whether it is a file.
    pub fn is_file(&self) -> bool {
        matches!(self, Self::File(_))
    }

    pub fn path(&self) -> PathBuf {
        match self {
            Self::File(directory) => directory.path().join("course.db"),
            #[cfg(feature = "postgres")]
            Self::Schema { .. } => PathBuf::new(),
        }
    }
}

/// The week of the tests with so many students more, k0 and so on.
pub async fn course(engine: &Engine, students: usize) -> Desk {
    let desk = engine.desk().await;
    let now = jiff::Timestamp::now();
    let brought = bring_in(&desk, &crate::week::folder(), "test", now).await;
    brought.expect("imported");
    let many = (0..students).map(|n| {
        Change::Student(Student {
            id: StudentId::new(format!("k{n}")),
            family_name: "Many".into(),
            given_name: format!("Number {n}"),
            section: SectionName::new("A"),
            email: format!("k{n}@lab.example"),
            sourced_id: String::new(),
            left: None,
        })
    });
    desk.apply(many.collect(), "test", now)
        .await
        .expect("joined");
    desk
}

/// What a student hands in for `acid`: the version after so many, told from others by its end.
pub fn request(student: &str, key: &str, seen: usize, end: &str) -> HandInRequest {
    let read = |text: &str| Reading::parse(text).expect(text);
    let row = |n, start: &str, end: &str| Titration {
        trial: TrialLabel::Numbered(n),
        lot: Some(LotCode::new("N-1")),
        excess_lot: None,
        unknown: None,
        instrument: None,
        spoiled: None,
        readings: [
            (Column::BuretteStart(1), read(start)),
            (Column::BuretteEnd(1), read(end)),
        ]
        .into_iter()
        .collect(),
        submitted_at: None,
    };
    HandInRequest {
        slot: slot("acid", student),
        hand_in: HandIn {
            titrations: vec![row(1, "0.00", end), row(2, "0.10", "20.48")],
            ..HandIn::default()
        }
        .into(),
        key: key.to_owned(),
        seen_revisions: seen,
        reason: if seen > 0 {
            "misread".into()
        } else {
            String::new()
        },
        at: jiff::Timestamp::now(),
    }
}

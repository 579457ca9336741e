//! Where courses stand beside each other: a folder with a file for each, or a database of PostgreSQL with a schema for each.

use std::path::{Path, PathBuf};

use tokio::sync::{Mutex, MutexGuard};

#[cfg(feature = "postgres")]
use super::first_difference;
#[cfg(feature = "postgres")]
use super::postgres::{Address, Database, Told};
use super::sqlite::remove_database;
use super::{Store, StoreError, sqlite};
use crate::ids::CourseKey;
#[cfg(feature = "postgres")]
use crate::ids::is_key;

/// The file of people and sign-ins.
const PEOPLE: &str = "people.db";
/// Where files of courses go that are put by.
const ARCHIVE: &str = "archive";

/// A place for courses and the people of all of them.
#[derive(Clone)]
pub enum Shelf {
    Folder(PathBuf),
    #[cfg(feature = "postgres")]
    Database {
        database: Database,
        /// Where it is, without a password.
        named: String,
    },
}

/// One at a time is read of those that are put by.
static READING: Mutex<()> = Mutex::const_new(());

/// A course that was put by, open to be read.
pub struct Archived {
    pub store: Store,
    /// A copy of its file, which goes when it is closed.
    copy: Option<PathBuf>,
    _alone: MutexGuard<'static, ()>,
}

impl Archived {
    pub async fn close(self) {
        self.store.close().await;
        if let Some(copy) = self.copy {
            remove_database(&copy);
        }
    }
}

impl From<&Path> for Shelf {
    fn from(folder: &Path) -> Self {
        Self::Folder(folder.to_owned())
    }
}

impl From<&PathBuf> for Shelf {
    fn from(folder: &PathBuf) -> Self {
        Self::Folder(folder.clone())
    }
}

/// The schema of people and sign-ins.
#[cfg(feature = "postgres")]
pub(super) const PEOPLE_SCHEMA: &str = "people";

/// The schema of a course: no name of a course is one of the engine's own.
#[cfg(feature = "postgres")]
pub(super) fn schema_of(key: &str) -> String {
    format!("course_{key}")
}

#[cfg(not(feature = "postgres"))]
fn refused(named: &Path) -> Result<(), StoreError> {
    match Shelf::is_address(named) {
        true => Err(StoreError::NotBuilt),
        false => Ok(()),
    }
}

impl Store {
    /// Whether a database that a command line names is there; one that is no file is, if it can be reached.
    pub async fn is_there(named: &Path) -> Result<bool, StoreError> {
        #[cfg(feature = "postgres")]
        if let Some(address) = Address::parse(named) {
            let schema = schema_named(&address)?;
            return Database::open(&address).await?.holds(&schema).await;
        }
        #[cfg(not(feature = "postgres"))]
        refused(named)?;
        Ok(named.is_file())
    }

    /// Opens what a command line names, a file or a course of a database, made if it is not there.
    pub async fn named(named: &Path) -> Result<Self, StoreError> {
        #[cfg(feature = "postgres")]
        if let Some(address) = Address::parse(named) {
            let schema = schema_named(&address)?;
            let database = Database::open(&address).await?;
            return match database.holds(&schema).await? {
                true => database.course(&schema).await,
                false => database.new_course(&schema).await,
            };
        }
        #[cfg(not(feature = "postgres"))]
        refused(named)?;
        Self::open(named).await
    }
}

#[cfg(feature = "postgres")]
fn schema_named(address: &Address) -> Result<String, StoreError> {
    match address.course() {
        Some(key) if is_key(key) && fits(key) => Ok(schema_of(key)),
        Some(key) => Err(StoreError::Unsuitable {
            found: format!("the course \u{201c}{key}\u{201d}"),
            expected: "a key of lower-case letters, digits and hyphens, 55 at most",
        }),
        None => Ok(PEOPLE_SCHEMA.to_owned()),
    }
}

/// Whether every name that a course of that key may have is taken whole: the engine cuts longer ones off.
#[cfg(feature = "postgres")]
fn fits(key: &str) -> bool {
    format!("archive_{key}").len() < 64
}

impl Shelf {
    /// Whether what is named on a command line is no file.
    pub fn is_address(named: &Path) -> bool {
        let named = named.to_str().unwrap_or_default();
        named.starts_with("postgres://") || named.starts_with("postgresql://")
    }

    /// What a command line names, as people are told, without a password.
    pub fn shown(named: &Path) -> String {
        #[cfg(feature = "postgres")]
        if let Some(address) = Address::parse(named) {
            return address.in_words();
        }
        named.display().to_string()
    }

    /// What a command line names.
    pub async fn at(named: &Path) -> Result<Self, StoreError> {
        #[cfg(feature = "postgres")]
        if let Some(address) = Address::parse(named) {
            return Ok(Self::Database {
                database: Database::open(&address).await?,
                named: address.in_words(),
            });
        }
        #[cfg(not(feature = "postgres"))]
        refused(named)?;
        Ok(Self::Folder(named.to_owned()))
    }

    /// Hears which courses are written to, by any server; none of a folder.
    #[cfg(feature = "postgres")]
    pub async fn told(&self) -> Option<Told> {
        match self {
            Self::Folder(_) => None,
            Self::Database { database, .. } => Some(database.told().await),
        }
    }

    /// As people are told.
    pub fn in_words(&self) -> String {
        match self {
            Self::Folder(folder) => folder.display().to_string(),
            #[cfg(feature = "postgres")]
            Self::Database { named, .. } => named.clone(),
        }
    }

    /// Whether the people of courses are there.
    pub async fn is_one(&self) -> Result<bool, StoreError> {
        match self {
            Self::Folder(folder) => Ok(folder.join(PEOPLE).is_file()),
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => database.holds(PEOPLE_SCHEMA).await,
        }
    }

    /// Makes a place for courses.
    pub fn make(&self) -> Result<(), StoreError> {
        match self {
            Self::Folder(folder) => {
                std::fs::create_dir_all(folder).map_err(|why| unwritten(folder, why))
            }
            #[cfg(feature = "postgres")]
            Self::Database { .. } => Ok(()),
        }
    }

    /// Opens the people, made if they are not there.
    pub async fn people(&self) -> Result<Store, StoreError> {
        match self {
            Self::Folder(folder) => Store::open(&folder.join(PEOPLE)).await,
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => match database.holds(PEOPLE_SCHEMA).await? {
                true => database.course(PEOPLE_SCHEMA).await,
                false => database.new_course(PEOPLE_SCHEMA).await,
            },
        }
    }

    /// Opens a course.
    pub async fn open(&self, key: &CourseKey) -> Result<Store, StoreError> {
        match self {
            Self::Folder(folder) => Store::open(&file(folder, key)).await,
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => database.course(&schema_of(key)).await,
        }
    }

    /// Whether there is something under that key.
    pub async fn holds(&self, key: &CourseKey) -> Result<bool, StoreError> {
        match self {
            Self::Folder(folder) => Ok(file(folder, key).exists()),
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => database.holds(&schema_of(key)).await,
        }
    }

    /// Whether a course can have that key at all.
    pub fn can_hold(&self, key: &CourseKey) -> bool {
        match self {
            Self::Folder(_) => format!("{key}.db") != PEOPLE,
            #[cfg(feature = "postgres")]
            Self::Database { .. } => fits(key),
        }
    }

    /// What stands there as courses, by the names of files or schemas.
    pub async fn names(&self) -> Result<Vec<String>, StoreError> {
        let folder = match self {
            Self::Folder(folder) => folder,
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => {
                let schemas = database.schemas("course_").await?;
                let keys = schemas
                    .iter()
                    .filter_map(|name| name.strip_prefix("course_"));
                return Ok(keys.map(str::to_owned).collect());
            }
        };
        let read = std::fs::read_dir(folder).map_err(|why| unwritten(folder, why))?;
        let mut names = Vec::new();
        for entry in read.flatten() {
            let path = entry.path();
            let is_database = path.extension().is_some_and(|end| end == "db");
            let name = path.file_stem().and_then(|stem| stem.to_str());
            let name = name.filter(|_| is_database && entry.file_name() != PEOPLE);
            names.extend(name.map(str::to_owned));
        }
        names.sort();
        Ok(names)
    }

    /// What stands there under a name, as whoever looks for it finds it.
    pub fn as_it_stands(&self, name: &str) -> String {
        match self {
            Self::Folder(_) => format!("{name}.db"),
            #[cfg(feature = "postgres")]
            Self::Database { .. } => format!("course_{name}"),
        }
    }

    /// Begins a course under a name that nobody sees, so that whoever is stopped here leaves no half of one.
    pub async fn begin(&self, key: &CourseKey) -> Result<Store, StoreError> {
        self.give_up(key).await?;
        match self {
            Self::Folder(folder) => Store::open(&partial(folder, key)).await,
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => database.new_course(&format!("making_{key}")).await,
        }
    }

    /// Takes a course in under a name that nobody sees, checked as it is made.
    pub async fn copy(&self, from: &Store, key: &CourseKey) -> Result<(), StoreError> {
        match self {
            Self::Folder(folder) => {
                self.give_up(key).await?;
                from.backup(&partial(folder, key)).await
            }
            #[cfg(feature = "postgres")]
            Self::Database { .. } => {
                let to = self.begin(key).await?;
                super::copied::copy(from, &to).await?;
                let difference = first_difference(&mut *to.read().await?).await?;
                match difference {
                    Some(what) => Err(StoreError::damaged("copy", what)),
                    None => Ok(()),
                }
            }
        }
    }

    /// Gives a course its name once it is whole.
    pub async fn finish(&self, key: &CourseKey) -> Result<(), StoreError> {
        match self {
            Self::Folder(folder) => rename(&partial(folder, key), &file(folder, key)),
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => {
                database
                    .rename(&format!("making_{key}"), &schema_of(key))
                    .await
            }
        }
    }

    /// Takes away what did not come to be a course.
    pub async fn give_up(&self, key: &CourseKey) -> Result<(), StoreError> {
        match self {
            Self::Folder(folder) => {
                remove_database(&partial(folder, key));
                Ok(())
            }
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => database.remove(&format!("making_{key}")).await,
        }
    }

    /// Puts a course by, which nobody may have open any more. Says where it is.
    pub async fn put_by(&self, key: &CourseKey) -> Result<String, StoreError> {
        match self {
            Self::Folder(folder) => {
                let archive = folder.join(ARCHIVE);
                std::fs::create_dir_all(&archive).map_err(|why| unwritten(&archive, why))?;
                let to = file(&archive, key);
                rename(&file(folder, key), &to)?;
                Ok(to.display().to_string())
            }
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => {
                let to = format!("archive_{key}");
                database.rename(&schema_of(key), &to).await?;
                Ok(format!("schema {to}"))
            }
        }
    }

    /// Opens a course that was put by, to be read; none where it is not there any more. What is in the archive stays as it is,
    /// however old its tables are: a file is copied first, since whoever opens one brings it up to date.
    pub async fn archived(&self, key: &CourseKey) -> Result<Option<Archived>, StoreError> {
        let alone = READING.lock().await;
        let folder = match self {
            Self::Folder(folder) => folder,
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => {
                let schema = format!("archive_{key}");
                return Ok(match database.holds(&schema).await? {
                    true => Some(Archived {
                        store: database.course(&schema).await?,
                        copy: None,
                        _alone: alone,
                    }),
                    false => None,
                });
            }
        };
        let from = file(&folder.join(ARCHIVE), key);
        if !from.is_file() {
            return Ok(None);
        }
        let copy = copied(folder, key);
        remove_database(&copy);
        let opened = async {
            sqlite::make_private(&copy)?;
            let log = |file: &Path| PathBuf::from(format!("{}-wal", file.display()));
            std::fs::copy(&from, &copy).map_err(|why| unwritten(&copy, why))?;
            if log(&from).is_file() {
                std::fs::copy(log(&from), log(&copy)).map_err(|why| unwritten(&copy, why))?;
            }
            Store::opened(&copy, false).await
        };
        match opened.await {
            Ok(store) => Ok(Some(Archived {
                store,
                copy: Some(copy),
                _alone: alone,
            })),
            Err(why) => {
                remove_database(&copy);
                Err(why)
            }
        }
    }

    /// What tells one state of a course that was put by from another; none where it is not there any more.
    pub async fn archived_as(&self, key: &CourseKey) -> Result<Option<String>, StoreError> {
        let folder = match self {
            Self::Folder(folder) => folder,
            #[cfg(feature = "postgres")]
            Self::Database { database, .. } => {
                let there = database.holds(&format!("archive_{key}")).await?;
                return Ok(there.then(String::new));
            }
        };
        let file = file(&folder.join(ARCHIVE), key);
        let of = |file: &Path| {
            let held = std::fs::metadata(file).ok().filter(|held| held.is_file());
            held.map(|held| format!("{} {:?}", held.len(), held.modified().ok()))
        };
        let log = of(Path::new(&format!("{}-wal", file.display())));
        Ok(of(&file).map(|held| format!("{held} {}", log.unwrap_or_default())))
    }

    /// Takes away the copy of a course that was put by, if a server was stopped while it read one.
    pub fn forget_copy(&self, key: &CourseKey) {
        match self {
            Self::Folder(folder) => remove_database(&copied(folder, key)),
            #[cfg(feature = "postgres")]
            Self::Database { .. } => {}
        }
    }

    /// The place of a course that is named by itself, if it stands beside the people of others.
    pub async fn around(course: &Path) -> Result<Option<Self>, StoreError> {
        #[cfg(feature = "postgres")]
        if let Some(address) = Address::parse(course) {
            if address.course().is_none() {
                return Ok(None);
            }
            let shelf = Self::at(course).await?;
            return Ok(shelf.is_one().await?.then_some(shelf));
        }
        let Some(folder) = course.parent() else {
            return Ok(None);
        };
        let is_people = course.file_name().is_some_and(|name| name == PEOPLE);
        let is_beside = !is_people && folder.join(PEOPLE).is_file();
        Ok(is_beside.then(|| Self::Folder(folder.to_owned())))
    }
}

fn file(folder: &Path, key: &CourseKey) -> PathBuf {
    folder.join(format!("{key}.db"))
}

fn partial(folder: &Path, key: &CourseKey) -> PathBuf {
    folder.join(format!(".{key}.partial"))
}

/// Where a file of the archive is copied to while it is read.
fn copied(folder: &Path, key: &CourseKey) -> PathBuf {
    folder.join(format!(".{key}.reading"))
}

fn unwritten(file: &Path, why: std::io::Error) -> StoreError {
    StoreError::Unwritten {
        file: file.display().to_string(),
        why,
    }
}

fn rename(from: &Path, to: &Path) -> Result<(), StoreError> {
    std::fs::rename(from, to).map_err(|why| unwritten(to, why))
}

#[cfg(all(test, feature = "postgres"))]
mod tests {
    use super::*;

    #[test]
    fn a_course_of_an_address_has_a_key_whose_schema_is_taken_whole() {
        let schema = |key: &str| {
            let named = format!("postgres://lab@db.example.edu/department?course={key}");
            let address = Address::parse(Path::new(&named)).expect("an address");
            schema_named(&address).map_err(|why| why.to_string())
        };
        assert_eq!(schema("water-2026").as_deref(), Ok("course_water-2026"));
        assert!(schema(&"k".repeat(55)).is_ok());
        for key in ["Water", "", "a_b", "a.b", &"k".repeat(56)] {
            let why = schema(key).expect_err(key);
            let found = format!(
                "found the course \u{201c}{key}\u{201d}, expected a key of lower-case letters"
            );
            assert!(why.contains(&found), "{why}");
        }
    }
}

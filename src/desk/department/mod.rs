//! Many courses: a folder with a file for each, and `people.db`, which holds who may sign in.
//!
//! `people.db` is a database like any other, so that what holds for a course holds for it: an append-only journal, the
//! record of access, erasure, copies, checks. Its journal says which courses there are and where each stands, and its
//! lists are all the people of all courses, taken over from theirs; whoever is its coordinator runs the department. What
//! somebody may do in a course, the lists of that course alone say.

mod grades;
mod lists;
mod mail;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;

use super::accounts::AccountId;
use super::{BringError, Desk, bring_in_term};
use crate::changes::{Change, SetStanding};
use crate::course::{Course, StaffMember, StaffRole, Standing, Student};
use crate::ids::{CourseKey, SectionName};
use crate::store::{Store, StoreError, first_difference, remove_database};
use crate::term::Term;
use lists::wanting;

pub use lists::Lists;
pub use mail::Looked;

/// The file of people and sign-ins.
const PEOPLE: &str = "people.db";
/// Where files of courses go that are put by.
const ARCHIVE: &str = "archive";
/// By whom people are taken over from the lists of courses, in the journal.
const LISTS: &str = "lists of courses";

/// Why something was not done to a course of a department.
#[derive(Debug, thiserror::Error)]
pub enum DepartmentError {
    #[error("{place}: found {found}, expected {expected}")]
    Found {
        place: String,
        found: String,
        expected: &'static str,
    },
    #[error("cannot {what}: {why}")]
    File { what: String, why: std::io::Error },
    #[error(transparent)]
    Bring(#[from] BringError),
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A folder of courses.
pub struct Department {
    folder: PathBuf,
    people: Arc<Desk>,
    lists: Mutex<BTreeMap<CourseKey, Arc<Lists>>>,
}

impl Department {
    /// Opens a folder: the people, and who is on which course. No course is opened.
    pub async fn open(folder: &Path, now: Timestamp) -> Result<Self, DepartmentError> {
        let people = Arc::new(Desk::open(Store::open(&folder.join(PEOPLE)).await?).await?);
        let department = Self {
            folder: folder.to_owned(),
            people,
            lists: Mutex::default(),
        };
        department.finish_archiving().await?;
        for key in department.files()? {
            let store = Store::open(&department.file(&key)).await?;
            let read = Lists::read(&mut *store.read().await?).await;
            store.close().await;
            department.held().insert(key, Arc::new(read?));
        }
        department.name_new(now).await?;
        department.take_over(now).await?;
        Ok(department)
    }

    /// Makes an empty folder one of courses, with the name of the department and the time zone of its days.
    pub async fn found(
        folder: &Path,
        course: Course,
        now: Timestamp,
    ) -> Result<(), DepartmentError> {
        let made = std::fs::create_dir_all(folder);
        made.map_err(|why| DepartmentError::File {
            what: format!("make {}", folder.display()),
            why,
        })?;
        if Self::is_one(folder) {
            return Err(DepartmentError::Found {
                place: folder.display().to_string(),
                found: format!("a file {PEOPLE}"),
                expected: "a folder that holds no courses yet",
            });
        }
        let people = Desk::open(Store::open(&folder.join(PEOPLE)).await?).await?;
        people
            .apply(vec![Change::Course(course)], "command line", now)
            .await?;
        people.close().await;
        Ok(())
    }

    /// Whether a folder is one of courses.
    pub fn is_one(folder: &Path) -> bool {
        folder.join(PEOPLE).is_file()
    }

    /// The file of sign-ins that goes with the file of a course, if it stands in a folder of courses.
    pub fn people_beside(course: &Path) -> Option<PathBuf> {
        let beside = course.parent()?.join(PEOPLE);
        let is_people = course.file_name().is_some_and(|name| name == PEOPLE);
        (!is_people && beside.is_file()).then_some(beside)
    }

    /// Who may sign in: its lists are those of all courses.
    pub fn people(&self) -> &Arc<Desk> {
        &self.people
    }

    /// The file of a course.
    pub fn file(&self, key: &CourseKey) -> PathBuf {
        self.folder.join(format!("{key}.db"))
    }

    /// Courses in order of their keys, with their lists and where each stands; not those that are put by.
    pub async fn courses(&self) -> Result<Vec<(CourseKey, Arc<Lists>, Standing)>, StoreError> {
        let standings = self.people.look().await?;
        let standing = |key: &CourseKey| {
            let said = standings.term.courses.get(key).copied();
            said.unwrap_or(Standing::Open)
        };
        let held = self.held();
        let courses = held.iter().map(|(key, lists)| {
            let standing = standing(key);
            (key.clone(), Arc::clone(lists), standing)
        });
        Ok(courses
            .filter(|(_, _, standing)| *standing != Standing::Archived)
            .collect())
    }

    /// Where a course stands; none, if there is no such course or it is put by.
    pub async fn standing(&self, key: &CourseKey) -> Result<Option<Standing>, StoreError> {
        let courses = self.courses().await?;
        Ok(courses.iter().find(|one| one.0 == *key).map(|one| one.2))
    }

    /// The courses of somebody, with what they are there.
    pub async fn courses_of(
        &self,
        id: &AccountId,
    ) -> Result<Vec<(CourseKey, Arc<Lists>, Standing)>, StoreError> {
        let mut courses = self.courses().await?;
        courses.retain(|(_, lists, _)| lists.person(id).is_some());
        Ok(courses)
    }

    /// Opens the course of that key to work with it; none, if there is no such course or it is put by.
    pub async fn desk(&self, key: &CourseKey) -> Result<Option<Desk>, StoreError> {
        let Some(standing) = self.standing(key).await? else {
            return Ok(None);
        };
        let file = self.file(key);
        let opened = apart(move || async move {
            let store = Store::open(&file).await?;
            store.check_pages().await?;
            Desk::open(store).await
        });
        let desk = opened.await??;
        desk.set_closed(standing == Standing::Closed);
        Ok(Some(desk))
    }

    /// Takes over who is on the lists of a course, where they have changed; from then on they can be given a way to sign in.
    pub async fn follow(
        &self,
        key: &CourseKey,
        desk: &Desk,
        now: Timestamp,
    ) -> Result<(), StoreError> {
        let image = desk.look().await?;
        let before = self.held().get(key).cloned();
        if before
            .as_ref()
            .is_some_and(|held| held.newest == image.newest())
        {
            return Ok(());
        }
        let mut lists = Lists::of(&image);
        let same = before.is_some_and(|held| {
            lists.newest = held.newest;
            *held == lists
        });
        lists.newest = image.newest();
        self.held().insert(key.clone(), Arc::new(lists));
        if same {
            return Ok(());
        }
        self.take_over(now).await
    }

    /// Begins a course: empty, or as an earlier one goes on; `coordinator` is on its staff.
    pub async fn begin(
        &self,
        key: &CourseKey,
        term: Term,
        coordinator: StaffMember,
        (login, at): (&str, Timestamp),
    ) -> Result<(), DepartmentError> {
        let file = self.file(key);
        let known = self.people.look().await?.term.courses.contains_key(key);
        if known || file.exists() || format!("{key}.db") == PEOPLE {
            return Err(DepartmentError::Found {
                place: "key".into(),
                found: format!("the course {key}"),
                expected: "a key that no course of this department has or had",
            });
        }
        // under its own name once it is whole, so that a server that is stopped here finds no half of a course
        let partial = self.folder.join(format!(".{key}.partial"));
        remove_database(&partial);
        let (place, by) = (partial.clone(), login.to_owned());
        let made = apart(move || async move {
            let desk = Desk::open(Store::open(&place).await?).await?;
            bring_in_term(&desk, &term, &by, at).await?;
            let staff = vec![Change::Staff(coordinator)];
            desk.apply(staff, &by, at).await?;
            let image = desk.look().await?;
            let lists = Lists::of(&image);
            drop(image);
            desk.close().await;
            Ok::<_, DepartmentError>(lists)
        });
        let lists = match made.await? {
            Ok(lists) => lists,
            Err(why) => {
                remove_database(&partial);
                return Err(why);
            }
        };
        rename(&partial, &file)?;
        self.set_standing(key, Standing::Open, (login, at)).await?;
        self.held().insert(key.clone(), Arc::new(lists));
        Ok(self.take_over(at).await?)
    }

    /// Takes a database that stood alone in, under a key: checked before and after, with the passwords of those who have
    /// none here yet. Returns how many came with theirs.
    pub async fn take_in(
        &self,
        file: &Path,
        key: &CourseKey,
        at: Timestamp,
    ) -> Result<usize, DepartmentError> {
        let to = self.file(key);
        let known = self.people.look().await?.term.courses.contains_key(key);
        if known || to.exists() || format!("{key}.db") == PEOPLE {
            return Err(DepartmentError::Found {
                place: "key".into(),
                found: format!("the course {key}"),
                expected: "a key that no course of this department has or had",
            });
        }
        let store = Store::open(file).await?;
        let difference = first_difference(&mut *store.read().await?).await?;
        if let Some(what) = difference {
            return Err(StoreError::damaged(file.display().to_string(), what).into());
        }
        // the copy is checked as it is made, and has its name once it is whole
        let partial = self.folder.join(format!(".{key}.partial"));
        remove_database(&partial);
        store.backup(&partial).await?;
        rename(&partial, &to)?;
        let accounts = store.read().await?.accounts().all().await?;
        store.close().await;
        let copy = Store::open(&to).await?;
        let lists = Lists::read(&mut *copy.read().await?).await?;
        // platforms are the department's, and so is the key they know
        let mut transaction = copy.write().await?;
        transaction.keys().forget_all().await?;
        transaction.commit().await?;
        copy.close().await;
        self.set_standing(key, Standing::Open, ("command line", at))
            .await?;
        self.held().insert(key.clone(), Arc::new(lists));
        self.take_over(at).await?;
        let mut transaction = self.people.store().write().await?;
        let taken = transaction.accounts().take_in(&accounts, at).await?;
        transaction.commit().await?;
        Ok(taken)
    }

    /// Closes a course or opens it again. Whoever has it open is to ask for it anew.
    pub async fn set_standing(
        &self,
        key: &CourseKey,
        standing: Standing,
        (login, at): (&str, Timestamp),
    ) -> Result<(), StoreError> {
        let change = SetStanding {
            course: key.clone(),
            standing,
        };
        self.people
            .apply(vec![change.into()], login, at)
            .await
            .map(|_| ())
    }

    /// Puts the file of a course by, which nobody may have open any more. Returns where it is.
    pub async fn archive(
        &self,
        key: &CourseKey,
        who: (&str, Timestamp),
    ) -> Result<PathBuf, DepartmentError> {
        self.set_standing(key, Standing::Archived, who).await?;
        let place = self.put_by(key)?;
        self.held().remove(key);
        self.take_over(who.1).await?;
        Ok(place)
    }

    /// Whether somebody may give people of the department a new way in: it opens every course they are on, so whoever does
    /// has to be a coordinator in all of them, or to run the department.
    pub async fn may_let_in(&self, by: &str, whom: &AccountId) -> Result<bool, StoreError> {
        let people = self.people.look().await?;
        let runs_it = |login: &str| {
            let mut staff = people.term.staff.iter();
            staff.any(|one| one.login.eq_ignore_ascii_case(login) && runs(one))
        };
        if runs_it(by) {
            return Ok(true);
        }
        if runs_it(&whom.login) {
            return Ok(false);
        }
        let coordinates = |lists: &Lists| {
            let mut staff = lists.staff.iter();
            staff
                .any(|one| one.login.eq_ignore_ascii_case(by) && one.role == StaffRole::Coordinator)
        };
        let courses = self.courses_of(whom).await?;
        Ok(courses.iter().all(|(_, lists, _)| coordinates(lists)))
    }

    /// Puts into the people of the department who is on the lists of its courses.
    async fn take_over(&self, now: Timestamp) -> Result<(), StoreError> {
        let all = || {
            let held = self.held();
            held.values().cloned().collect::<Vec<_>>()
        };
        let people = self.people.look().await?;
        let today = people.term.course.zone.local(now).date();
        if wanting(&people.term, &all(), today).is_empty() {
            return Ok(());
        }
        drop(people);
        self.people
            .apply_if(LISTS, now, |image| -> Result<Vec<Change>, StoreError> {
                let image = image.ok_or(StoreError::NoCourse)?;
                Ok(wanting(&image.term, &all(), today))
            })
            .await
            .map(|_| ())
    }

    /// Files that somebody has put into the folder are courses of it.
    async fn name_new(&self, now: Timestamp) -> Result<(), StoreError> {
        let people = self.people.look().await?;
        let keys: Vec<CourseKey> = self.held().keys().cloned().collect();
        for key in keys {
            if !people.term.courses.contains_key(&key) {
                self.set_standing(&key, Standing::Open, ("command line", now))
                    .await?;
            }
        }
        Ok(())
    }

    /// Puts by what was to be put by when the server was stopped.
    async fn finish_archiving(&self) -> Result<(), DepartmentError> {
        let people = self.people.look().await?;
        for (key, standing) in &people.term.courses {
            if *standing == Standing::Archived && self.file(key).is_file() {
                self.put_by(key)?;
            }
        }
        Ok(())
    }

    fn put_by(&self, key: &CourseKey) -> Result<PathBuf, DepartmentError> {
        let archive = self.folder.join(ARCHIVE);
        let made = std::fs::create_dir_all(&archive);
        made.map_err(|why| DepartmentError::File {
            what: format!("make {}", archive.display()),
            why,
        })?;
        let to = archive.join(format!("{key}.db"));
        rename(&self.file(key), &to)?;
        Ok(to)
    }

    /// Keys of the databases in the folder.
    fn files(&self) -> Result<Vec<CourseKey>, DepartmentError> {
        let read = std::fs::read_dir(&self.folder).map_err(|why| DepartmentError::File {
            what: format!("read {}", self.folder.display()),
            why,
        })?;
        let mut keys = Vec::new();
        for entry in read.flatten() {
            let path = entry.path();
            let is_database = path.extension().is_some_and(|end| end == "db");
            let name = path.file_stem().and_then(|stem| stem.to_str());
            let name = name.filter(|_| is_database && entry.file_name() != PEOPLE);
            let Some(name) = name else { continue };
            let key = CourseKey::parse(name).map_err(|_| DepartmentError::Found {
                place: self.folder.display().to_string(),
                found: format!("\u{201c}{name}.db\u{201d}"),
                expected: "files named by lower-case letters, digits and hyphens",
            })?;
            keys.push(key);
        }
        keys.sort();
        Ok(keys)
    }

    fn held(&self) -> std::sync::MutexGuard<'_, BTreeMap<CourseKey, Arc<Lists>>> {
        // what is in it was whole before it was put there
        self.lists.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether a member of the staff of `people.db` runs the department.
fn runs(member: &StaffMember) -> bool {
    member.role == StaffRole::Coordinator
}

/// Somebody on the staff of a course, among the people of the department: what they may do stands in their courses.
fn as_member(member: &StaffMember) -> StaffMember {
    StaffMember {
        role: StaffRole::Assistant,
        sections: Vec::new(),
        ..member.clone()
    }
}

/// A student of a course, among the people of the department.
fn as_of_department(student: &Student) -> Student {
    Student {
        section: SectionName::new("all"),
        sourced_id: String::new(),
        ..student.clone()
    }
}

/// Reads or makes a file of a course on a thread that serves no pages: a whole journal is gone through.
async fn apart<T, F>(make: impl FnOnce() -> F + Send + 'static) -> Result<T, StoreError>
where
    T: Send + 'static,
    F: Future<Output = T>,
{
    let runtime = tokio::runtime::Handle::current();
    let made = tokio::task::spawn_blocking(move || runtime.block_on(make()));
    made.await.map_err(StoreError::broken_off)
}

fn rename(from: &Path, to: &Path) -> Result<(), DepartmentError> {
    std::fs::rename(from, to).map_err(|why| DepartmentError::File {
        what: format!("move {} to {}", from.display(), to.display()),
        why,
    })
}

//! Many courses: a folder with a file for each, and `people.db`, which holds who may sign in.
//!
//! `people.db` is a database like any other, so that what holds for a course holds for it: an append-only journal, the
//! record of access, erasure, copies, checks. Its journal says which courses there are and where each stands, and its
//! lists are all the people of all courses, taken over from theirs; whoever is its coordinator runs the department. What
//! somebody may do in a course, the lists of that course alone say.

mod archived;
mod earlier;
#[cfg(feature = "postgres")]
mod keep_up;
mod language;
mod lists;
mod one_person;
mod outgoing;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;

use super::accounts::{AccountId, Person, number_beside};
use super::{BringError, Desk, bring_in_term};
use crate::changes::{Change, SetStanding};
use crate::course::{Course, StaffMember, StaffRole, Standing, Student};
use crate::ids::{CourseKey, SectionName};
use crate::store::{Shelf, Store, StoreError, first_difference};
use crate::term::Term;
use earlier::Kept;
use lists::wanting;

pub use archived::{PutBy, UNREADABLE};
pub use earlier::{BesideEarlier, EarlierCourse};
pub use lists::Lists;
pub use one_person::{Joined, NotOne, Pair};
pub use outgoing::Looked;

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
    #[error(transparent)]
    Bring(#[from] BringError),
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A course of somebody.
#[derive(Clone, Debug)]
pub struct OwnCourse {
    pub key: CourseKey,
    pub lists: Arc<Lists>,
    pub standing: Standing,
    /// Who they are in it.
    pub person: Person,
}

/// A folder of courses.
pub struct Department {
    shelf: Shelf,
    people: Arc<Desk>,
    lists: Mutex<BTreeMap<CourseKey, Arc<Lists>>>,
    earlier: Kept,
    archived: archived::Known,
}

impl Department {
    /// Opens a folder: the people, and who is on which course. No course is opened.
    pub async fn open(shelf: impl Into<Shelf>, now: Timestamp) -> Result<Self, DepartmentError> {
        let shelf = shelf.into();
        let people = Arc::new(Desk::open(shelf.people().await?).await?);
        let department = Self {
            shelf,
            people,
            lists: Mutex::default(),
            earlier: Kept::default(),
            archived: archived::Known::default(),
        };
        department.finish_archiving().await?;
        for key in department.keys().await? {
            let lists = department.lists_of(&key).await?;
            department.held().insert(key, Arc::new(lists));
        }
        department.name_new(now).await?;
        department.take_over(now).await?;
        Ok(department)
    }

    /// Makes an empty folder one of courses, with the name of the department and the time zone of its days.
    pub async fn found(
        shelf: impl Into<Shelf>,
        course: Course,
        now: Timestamp,
    ) -> Result<(), DepartmentError> {
        let shelf = shelf.into();
        shelf.make()?;
        if shelf.is_one().await? {
            return Err(DepartmentError::Found {
                place: shelf.in_words(),
                found: "the people of courses".to_owned(),
                expected: "a place that holds no courses yet",
            });
        }
        let people = Desk::open(shelf.people().await?).await?;
        people
            .apply(vec![Change::Course(course)], "command line", now)
            .await?;
        people.close().await;
        Ok(())
    }

    /// Who may sign in: its lists are those of all courses.
    pub fn people(&self) -> &Arc<Desk> {
        &self.people
    }

    /// Where the courses stand.
    pub fn shelf(&self) -> &Shelf {
        &self.shelf
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
    pub async fn courses_of(&self, id: &AccountId) -> Result<Vec<OwnCourse>, StoreError> {
        let number = number_beside(&self.people, id).await?;
        let courses = self.courses().await?.into_iter();
        let own = courses.filter_map(|(key, lists, standing)| {
            let person = lists.person((id, number.as_ref()))?;
            Some(OwnCourse {
                key,
                lists,
                standing,
                person,
            })
        });
        Ok(own.collect())
    }

    /// Opens the course of that key to work with it; none, if there is no such course or it is put by.
    pub async fn desk(&self, key: &CourseKey) -> Result<Option<Desk>, StoreError> {
        let Some(standing) = self.standing(key).await? else {
            return Ok(None);
        };
        let (shelf, named) = (self.shelf.clone(), key.clone());
        let opened = apart(move || async move {
            let store = shelf.open(&named).await?;
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
        self.is_free(key).await?;
        // under its own name once it is whole, so that a server that is stopped here finds no half of a course
        let (shelf, named, by) = (self.shelf.clone(), key.clone(), login.to_owned());
        let made = apart(move || async move {
            let desk = Desk::open(shelf.begin(&named).await?).await?;
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
                self.shelf.give_up(key).await?;
                return Err(why);
            }
        };
        self.shelf.finish(key).await?;
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
        self.is_free(key).await?;
        let store = Store::open(file).await?;
        let difference = first_difference(&mut *store.read().await?).await?;
        if let Some(what) = difference {
            return Err(StoreError::damaged(file.display().to_string(), what).into());
        }
        // the copy is checked as it is made, and has its name once it is whole
        let copied = self.shelf.copy(&store, key).await;
        if let Err(why) = copied {
            self.shelf.give_up(key).await?;
            return Err(why.into());
        }
        self.shelf.finish(key).await?;
        let accounts = store.read().await?.accounts().all().await?;
        store.close().await;
        let lists = self.lists_of(key).await?;
        self.forget_keys(key).await?;
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
    ) -> Result<String, DepartmentError> {
        self.set_standing(key, Standing::Archived, who).await?;
        let place = self.shelf.put_by(key).await?;
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
        Ok(courses.iter().all(|one| coordinates(&one.lists)))
    }

    /// Puts into the people of the department who is on the lists of its courses.
    async fn take_over(&self, now: Timestamp) -> Result<(), StoreError> {
        let all = || self.all_lists();
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
            if *standing != Standing::Archived {
                continue;
            }
            self.shelf.forget_copy(key);
            if self.shelf.holds(key).await? {
                self.shelf.put_by(key).await?;
            }
        }
        Ok(())
    }

    /// Whether a key is still to be had.
    async fn is_free(&self, key: &CourseKey) -> Result<(), DepartmentError> {
        let known = self.people.look().await?.term.courses.contains_key(key);
        if known || self.shelf.holds(key).await? || !self.shelf.can_hold(key) {
            return Err(DepartmentError::Found {
                place: "key".into(),
                found: format!("the course {key}"),
                expected: "a key that no course of this department has or had",
            });
        }
        Ok(())
    }

    /// Who is on the lists of a course, read without the rest of it.
    async fn lists_of(&self, key: &CourseKey) -> Result<Lists, StoreError> {
        let store = self.shelf.open(key).await?;
        let read = Lists::read(&mut *store.read().await?).await;
        store.close().await;
        read
    }

    /// Platforms are the department's, and so is the key they know.
    async fn forget_keys(&self, key: &CourseKey) -> Result<(), StoreError> {
        let store = self.shelf.open(key).await?;
        let mut transaction = store.write().await?;
        transaction.keys().forget_all().await?;
        transaction.commit().await?;
        store.close().await;
        Ok(())
    }

    /// Keys of what stands there as courses.
    async fn keys(&self) -> Result<Vec<CourseKey>, DepartmentError> {
        let key = |name: &String| {
            CourseKey::parse(name).map_err(|_| DepartmentError::Found {
                place: self.shelf.in_words(),
                found: format!("\u{201c}{}\u{201d}", self.shelf.as_it_stands(name)),
                expected: "courses named by lower-case letters, digits and hyphens",
            })
        };
        self.shelf.names().await?.iter().map(key).collect()
    }

    /// The lists of all courses that are not put by.
    fn all_lists(&self) -> Vec<Arc<Lists>> {
        self.held().values().cloned().collect()
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

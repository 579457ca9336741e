//! Courses that are put by: nobody is served from them, and who was on their lists is read where they count as earlier terms.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::{Department, EarlierCourse, Lists, apart};
use crate::course::Standing;
use crate::ids::CourseKey;
use crate::store::{Shelf, StoreError};

/// Why a course that is put by is not read.
const MISSING: &str = "is not in the archive any more";
pub const UNREADABLE: &str = "cannot be read, as it lies in the archive";

/// Who was on a course; why it cannot be read, in words.
type Read = Result<Arc<Lists>, &'static str>;

/// A course that is put by.
#[derive(Clone, Debug)]
pub struct PutBy {
    pub key: CourseKey,
    pub lists: Result<Arc<Lists>, &'static str>,
}

/// What was read of each, as it was then: nothing in an archive changes by itself.
#[derive(Default)]
pub(super) struct Known(Mutex<BTreeMap<CourseKey, (String, Read)>>);

impl Known {
    fn held(&self) -> MutexGuard<'_, BTreeMap<CourseKey, (String, Read)>> {
        // what is in it was whole before it was put there
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl PutBy {
    /// Title and term, as far as they can be read.
    pub fn title(&self) -> String {
        match &self.lists {
            Ok(lists) => lists.title(&self.key),
            Err(_) => self.key.to_string(),
        }
    }
}

impl From<PutBy> for EarlierCourse {
    fn from(course: PutBy) -> Self {
        Self {
            key: course.key,
            unread: course.lists.as_ref().err().copied(),
            lists: course.lists.ok(),
            is_put_by: true,
        }
    }
}

impl Department {
    /// Courses that are put by, in order of their keys.
    pub async fn all_put_by(&self) -> Result<Vec<PutBy>, StoreError> {
        let people = self.people.look().await?;
        let mut all = Vec::new();
        for (key, standing) in &people.term.courses {
            if *standing == Standing::Archived {
                all.push(self.put_by(key).await?);
            }
        }
        Ok(all)
    }

    /// A course that is put by, with who was on it.
    pub(super) async fn put_by(&self, key: &CourseKey) -> Result<PutBy, StoreError> {
        let course = |lists| PutBy {
            key: key.clone(),
            lists,
        };
        let Some(stands) = self.shelf.archived_as(key).await? else {
            return Ok(course(Err(MISSING)));
        };
        let held = self.archived.held().get(key).cloned();
        if let Some((_, lists)) = held.filter(|(read, _)| *read == stands) {
            return Ok(course(lists));
        }
        let (shelf, named) = (self.shelf.clone(), key.clone());
        let read = apart(move || async move { lists_of(&shelf, &named).await }).await?;
        let lists = match read {
            Ok(Some(lists)) => Ok(Arc::new(lists)),
            Ok(None) => Err(MISSING),
            Err(why) if why.is_away() => return Err(why),
            Err(why) => {
                tracing::warn!(course = %key, error = %why, "a course that is put by cannot be read");
                Err(UNREADABLE)
            }
        };
        let now = (stands, lists.clone());
        self.archived.held().insert(key.clone(), now);
        Ok(course(lists))
    }
}

async fn lists_of(shelf: &Shelf, key: &CourseKey) -> Result<Option<Lists>, StoreError> {
    let Some(archived) = shelf.archived(key).await? else {
        return Ok(None);
    };
    let read = async { Lists::read(&mut *archived.store.read().await?).await };
    let read = read.await;
    archived.close().await;
    read.map(Some)
}

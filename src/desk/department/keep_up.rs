//! Several servers of one department: each hears of the courses that another begins, of people who come onto their lists, and
//! of those that are put by.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::lists::KINDS;
use super::{Department, DepartmentError, apart};
use crate::ids::CourseKey;
use crate::store::newest_of;

impl Department {
    /// Takes up what other servers do to the lists of courses, for as long as this one is there.
    pub fn keep_up(self: &Arc<Self>) {
        let department = Arc::downgrade(self);
        let shelf = self.shelf.clone();
        tokio::spawn(async move {
            let Some(mut told) = shelf.told().await else {
                return;
            };
            while let Some(keys) = told.next().await {
                let Some(department) = department.upgrade() else {
                    return;
                };
                let taken_up = apart(move || async move { department.take_up(keys).await });
                if let Ok(Err(why)) = taken_up.await {
                    tracing::debug!(error = %why, "lists of courses are taken up later");
                }
            }
        });
    }

    /// Reads the lists of courses that were written to, and of those that are new here; forgets those that are gone.
    async fn take_up(&self, told: BTreeSet<String>) -> Result<(), DepartmentError> {
        let there = self.keys().await?;
        self.held().retain(|key, _| there.contains(key));
        for key in there {
            let known = self.held().get(&key).map(|lists| lists.newest);
            let is_told = told.contains(key.as_str()) || told.contains("");
            let is_behind = match known {
                None => true,
                Some(known) => is_told && self.newest_of_lists(&key).await? > known,
            };
            if is_behind {
                let lists = self.lists_of(&key).await?;
                self.held().insert(key, Arc::new(lists));
            }
        }
        Ok(())
    }

    /// Number of the newest change to the lists of a course.
    async fn newest_of_lists(&self, key: &CourseKey) -> Result<i64, DepartmentError> {
        let store = self.shelf.open(key).await?;
        let newest = newest_of(&mut *store.read().await?, &KINDS).await;
        store.close().await;
        Ok(newest?)
    }
}

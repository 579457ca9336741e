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
            // told of before, and not taken up yet
            let mut left = BTreeSet::new();
            while let Some(mut keys) = told.next().await {
                let Some(department) = department.upgrade() else {
                    return;
                };
                keys.append(&mut left);
                let all = keys.clone();
                let taken_up = apart(move || async move { department.take_up(keys).await });
                left = match taken_up.await {
                    Ok(Ok(left)) => left,
                    Ok(Err(why)) => {
                        tracing::debug!(error = %why, "lists of courses are taken up later");
                        all
                    }
                    Err(_) => all,
                };
            }
        });
    }

    /// Reads the lists of courses that were written to, and of those that are new here; forgets those that are gone. Says
    /// which could not be read.
    async fn take_up(&self, told: BTreeSet<String>) -> Result<BTreeSet<String>, DepartmentError> {
        let there = self.keys().await?;
        self.held().retain(|key, _| there.contains(key));
        let mut left = BTreeSet::new();
        for key in there {
            let is_told = told.contains(key.as_str()) || told.contains("");
            if let Err(why) = self.take_up_one(&key, is_told).await {
                tracing::warn!(error = %why, course = %key, "lists of a course are taken up later");
                left.insert(key.to_string());
            }
        }
        Ok(left)
    }

    async fn take_up_one(&self, key: &CourseKey, is_told: bool) -> Result<(), DepartmentError> {
        let known = self.held().get(key).map(|lists| lists.newest);
        let is_behind = match known {
            None => true,
            Some(known) => is_told && self.newest_of_lists(key).await? > known,
        };
        if is_behind {
            let lists = self.lists_of(key).await?;
            self.held().insert(key.clone(), Arc::new(lists));
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

//! Grades of all courses that go back to platforms, each from its own outbox.

use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::{Department, Looked, apart};
use crate::campus::Services;
use crate::course::Standing;
use crate::desk::lti::courses_of;
use crate::desk::lti::grades::{PassedOn, Place, send_grades};
use crate::store::{StoreError, newest};

/// A course is gone through at least this often: who its members are at the platform is no change of it.
const AT_LEAST: SignedDuration = SignedDuration::from_mins(10);

impl Department {
    /// Sends what courses have to send. A course is opened only where a platform takes its grades and something happened in
    /// it, or something is due.
    pub async fn send_grades(
        &self,
        looked: &mut Looked,
        services: &Arc<Services>,
        at: Timestamp,
    ) -> Result<PassedOn, StoreError> {
        let mut all = PassedOn::default();
        for (key, _, standing) in self.courses().await? {
            if standing == Standing::Archived || services.is_stopping() {
                continue;
            }
            let there = courses_of(self.people(), key.as_str()).await?;
            if !there.iter().any(|one| one.context.takes_grades()) {
                continue;
            }
            let (shelf, named) = (self.shelf.clone(), key.clone());
            let found = apart(move || async move {
                let store = shelf.open(&named).await?;
                let mut reader = store.read().await?;
                let newest = newest(&mut reader).await?;
                let anew = reader.grades().gone_through().await? < 0;
                let wanted = reader.grades().is_wanted().await?;
                let due = anew || !reader.grades().due(at, 1).await?.is_empty();
                drop(reader);
                store.close().await;
                Ok::<_, StoreError>((newest, wanted, due))
            });
            let (newest, wanted, due) = found.await??;
            let known = looked
                .get(&key)
                .is_some_and(|(seen, when)| *seen == newest && at.duration_since(*when) < AT_LEAST);
            if !wanted || (known && !due) {
                continue;
            }
            let Some(desk) = self.desk(&key).await? else {
                continue;
            };
            let place = Place {
                desk: &desk,
                people: self.people(),
                course: key.as_str(),
            };
            let passed = send_grades(place, services, at).await;
            desk.close().await;
            let passed = passed?;
            looked.insert(key, (newest, at));
            all.sent += passed.sent;
            all.refused += passed.refused;
            all.put_off += passed.put_off;
            all.away = passed.away.or(all.away);
        }
        Ok(all)
    }
}

//! Mail of all courses, each sent from its own outbox.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use super::{Department, apart};
use crate::course::Standing;
use crate::desk::mail::{Passed, pass};
use crate::ids::CourseKey;
use crate::mail::Post;
use crate::store::{StoreError, newest};

/// A course is gone through at least this often, since what waits for assistants in the morning is no change of it.
const AT_LEAST: SignedDuration = SignedDuration::from_mins(30);

/// As of which change, and when, each course was gone through.
pub type Looked = BTreeMap<CourseKey, (i64, Timestamp)>;

impl Department {
    /// Sends what courses have to send. A course is opened only where something happened in it, or something is due.
    pub async fn send_mail(
        &self,
        looked: &mut Looked,
        (post, public): (&Post, &str),
        at: Timestamp,
    ) -> Result<Passed, StoreError> {
        let mut all = Passed::default();
        for (key, _, standing) in self.courses().await? {
            if standing != Standing::Open || post.is_stopping() {
                continue;
            }
            let (shelf, named) = (self.shelf.clone(), key.clone());
            let found = apart(move || async move {
                let store = shelf.open(&named).await?;
                let mut reader = store.read().await?;
                let newest = newest(&mut reader).await?;
                let due = !reader.mails().due(at, 1).await?.is_empty();
                drop(reader);
                store.close().await;
                Ok::<_, StoreError>((newest, due))
            });
            let (newest, due) = found.await??;
            let known = looked
                .get(&key)
                .is_some_and(|(seen, when)| *seen == newest && at.duration_since(*when) < AT_LEAST);
            if known && !due {
                continue;
            }
            let Some(desk) = self.desk(&key).await? else {
                continue;
            };
            let course = format!("{public}/c/{key}");
            let passed = pass(&desk, self.people(), post, &course, at).await;
            desk.close().await;
            let passed = passed?;
            looked.insert(key, (newest, at));
            all.sent += passed.sent;
            all.refused += passed.refused;
            all.dropped += passed.dropped;
            all.put_off += passed.put_off;
            all.away = passed.away.or(all.away);
        }
        Ok(all)
    }
}

//! Mail and grades of all courses. A course is opened only where something happened in it, or something is due.

use std::collections::BTreeMap;
use std::time::Instant;

use jiff::{SignedDuration, Timestamp};

use super::{Department, apart};
use crate::course::Standing;
use crate::desk::lti::courses_of;
use crate::desk::outgoing::{Outgoing, Passed, Place};
use crate::desk::waits::later;
use crate::ids::CourseKey;
use crate::store::{Reader, StoreError, newest};

/// Courses are gone through at least this often for mail: what waits for assistants in the morning is no change of a course.
const MAIL_AT_LEAST: SignedDuration = SignedDuration::from_mins(30);
/// The same for grades: who its members are at the platform is no change of it either.
const GRADES_AT_LEAST: SignedDuration = SignedDuration::from_mins(10);

/// As of which change, and when, each course was gone through.
pub type Looked = BTreeMap<CourseKey, (i64, Timestamp)>;

impl Department {
    /// Sends what courses have to send.
    pub async fn send(
        &self,
        looked: &mut Looked,
        what: &Outgoing,
        at: Timestamp,
    ) -> Result<Passed, StoreError> {
        let mut all = Passed::default();
        let began = Instant::now();
        for (key, _, standing) in self.courses().await? {
            if what.is_stopping() {
                break;
            }
            if !self.may_have(&key, standing, what).await? {
                continue;
            }
            // courses before this one may have taken long
            let gone = SignedDuration::try_from(began.elapsed()).unwrap_or(SignedDuration::MAX);
            match self.send_of(&key, looked, what, later(at, gone)).await {
                Ok(passed) => all += passed,
                Err(why) if why.is_away() => return Err(why),
                // one that cannot be read holds up no other
                Err(why) => {
                    tracing::error!(error = %why, course = %key, "what goes out of a course waits");
                }
            }
        }
        Ok(all)
    }

    /// Sends what a course has to send, if it may have something new.
    async fn send_of(
        &self,
        key: &CourseKey,
        looked: &mut Looked,
        what: &Outgoing,
        at: Timestamp,
    ) -> Result<Passed, StoreError> {
        let (newest, is_due) = self.waiting(key, what, at).await?;
        let known = looked.get(key).is_some_and(|(seen, when)| {
            *seen == newest && at.duration_since(*when) < at_least(what)
        });
        if known && !is_due {
            return Ok(Passed::default());
        }
        let Some(desk) = self.desk(key).await? else {
            return Ok(Passed::default());
        };
        let place = Place {
            desk: &desk,
            people: self.people(),
            course: key.as_str(),
        };
        let passed = what.pass(place, at).await;
        desk.close().await;
        let passed = passed?;
        looked.insert(key.clone(), (newest, at));
        Ok(passed)
    }

    /// Whether a course may have something to send, as far as that is known without its database.
    async fn may_have(
        &self,
        key: &CourseKey,
        standing: Standing,
        what: &Outgoing,
    ) -> Result<bool, StoreError> {
        Ok(match what {
            Outgoing::Mail { .. } => standing == Standing::Open,
            Outgoing::Grades(_) => {
                let there = courses_of(self.people(), key.as_str()).await?;
                let taken = there.iter().any(|one| one.context.takes_grades());
                standing != Standing::Archived && taken
            }
        })
    }

    /// The newest change to a course, and whether something is due in it.
    async fn waiting(
        &self,
        key: &CourseKey,
        what: &Outgoing,
        at: Timestamp,
    ) -> Result<(i64, bool), StoreError> {
        let (shelf, named) = (self.shelf.clone(), key.clone());
        let are_grades = matches!(what, Outgoing::Grades(_));
        let found = apart(move || async move {
            let store = shelf.open(&named).await?;
            let mut reader = store.read().await?;
            let newest = newest(&mut reader).await?;
            let is_due = match are_grades {
                true => grades_are_due(&mut reader, at).await?,
                false => !reader.mails().due(at, 1).await?.is_empty(),
            };
            drop(reader);
            store.close().await;
            Ok::<_, StoreError>((newest, is_due))
        });
        found.await?
    }
}

async fn grades_are_due(reader: &mut Reader, at: Timestamp) -> Result<bool, StoreError> {
    let mut grades = reader.grades();
    // below nought everything is to be compared anew
    Ok(grades.is_wanted().await?
        && (grades.gone_through().await? < 0 || !grades.due(at, 1).await?.is_empty()))
}

fn at_least(what: &Outgoing) -> SignedDuration {
    match what {
        Outgoing::Mail { .. } => MAIL_AT_LEAST,
        Outgoing::Grades(_) => GRADES_AT_LEAST,
    }
}

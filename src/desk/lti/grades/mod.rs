//! Grades that go back to a platform. What is to be sent follows from the course: from each row of the journal on, every
//! grade that is released, or was, is compared with what the platform was last told of it. So nothing is lost and nothing
//! sent twice, whoever is killed in between.

mod queue;
mod send;

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Doing, note};
use crate::desk::Desk;
use crate::desk::outgoing::Place;
use crate::ids::StudentId;
use crate::store::lti::Grade;
use crate::store::{SendState, StoreError, student_keys};

pub use send::pass;

/// A grade as the coordinator's list shows it.
#[derive(Clone, Debug)]
pub struct ListedGrade {
    pub grade: Grade,
    /// None for somebody who was taken out.
    pub who: Option<StudentId>,
}

/// Whether grades go to the platform.
pub async fn go_back(desk: &Desk) -> Result<bool, StoreError> {
    desk.store().read().await?.grades().is_wanted().await
}

/// Turns that on or off for a course, and writes down that it was.
pub async fn want_grades(desk: &Desk, wanted: bool, doing: &Doing) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    transaction.grades().want(wanted).await?;
    let subject = match wanted {
        true => "grades go to the platform",
        false => "grades go to the platform no more",
    };
    note(transaction, subject, doing).await
}

/// Has everything compared anew: it is another course of a platform that grades go to, or its members are known.
pub async fn compare_anew(desk: &Desk) -> Result<(), StoreError> {
    let mut transaction = desk.store().write().await?;
    transaction.grades().begin_anew().await?;
    transaction.commit().await
}

/// Every grade that goes to a platform, as of now.
pub async fn listed(place: Place<'_>, at: Timestamp) -> Result<Vec<ListedGrade>, StoreError> {
    queue::queue_new(place, at).await?;
    let mut reader = place.desk.store().read().await?;
    let numbers = numbers(&student_keys(&mut reader).await?);
    let all = reader.grades().all().await?;
    let listed = all.into_iter().map(|grade| ListedGrade {
        who: numbers.get(&grade.wanted.student).cloned(),
        grade,
    });
    Ok(listed.collect())
}

/// Has one grade, or all that wait or were refused, tried at once. Says how many.
pub async fn try_now(desk: &Desk, id: Option<i64>, at: Timestamp) -> Result<u64, StoreError> {
    let mut transaction = desk.store().write().await?;
    let tried = transaction.grades().try_now(id, at).await?;
    transaction.commit().await?;
    Ok(tried)
}

/// Numbers of students by their keys; who was taken out is not among them.
fn numbers(keys: &BTreeMap<StudentId, String>) -> BTreeMap<String, StudentId> {
    let named = keys
        .iter()
        .filter(|(number, key)| number.as_str() != key.as_str());
    named
        .map(|(number, key)| (key.clone(), number.clone()))
        .collect()
}

/// How many grades stand how.
pub fn counted(grades: &[ListedGrade]) -> BTreeMap<SendState, u64> {
    let mut counts = BTreeMap::new();
    for one in grades {
        *counts.entry(one.grade.state).or_default() += 1;
    }
    counts
}

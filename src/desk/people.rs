//! Who is on the course: a roster file against the roster.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;

use super::{Desk, PrepareError};
use crate::changes::{Change, Exchanged, OwnColumn, staff_among};
use crate::course::Student;
use crate::files::tables::{RosterColumns, RosterField, RosterFile};
use crate::form::Faults;
use crate::ids::StudentId;
use crate::store::StoreError;
use crate::term::Term;

/// The kind of file that rosters are, where columns of it are remembered.
const ROSTER: &str = "roster";

/// What a roster would change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RosterPlan {
    /// Not on the roster yet.
    pub joining: Vec<Student>,
    /// On it with another name, section or address: before and after.
    pub altered: Vec<(Student, Student)>,
    /// On it already, just so.
    pub unchanged: usize,
    /// Had left and are in the file again.
    pub returning: Vec<Student>,
    /// On the roster but not in the file; they stay unless they are named as having left.
    pub absent: Vec<Student>,
    /// Absent and named as having left.
    pub leaving: Vec<Student>,
    /// What the exchange it came from calls classes and sessions, where that is new.
    pub exchanged: Vec<Exchanged>,
}

/// Compares a roster file with the roster. `left` are ids of students who are not in the file because they have left.
pub fn plan_roster(
    term: &Term,
    (incoming, exchanged): (&[Student], &[Exchanged]),
    left: &[StudentId],
    today: Date,
) -> RosterPlan {
    let mut plan = RosterPlan::default();
    let fresh = exchanged.iter().filter(|one| !one.is_held(term));
    plan.exchanged = fresh.cloned().collect();
    let known: BTreeMap<&str, &Student> =
        term.students.iter().map(|s| (s.id.as_str(), s)).collect();
    for student in incoming {
        let old = known.get(student.id.as_str()).copied();
        let student = student.as_on_roster(old);
        match old {
            None => plan.joining.push(student),
            Some(old) if *old == student => plan.unchanged += 1,
            Some(old) if !old.is_enrolled() && student.is_enrolled() => {
                plan.returning.push(student);
            }
            Some(old) => plan.altered.push((old.clone(), student)),
        }
    }
    let named: BTreeSet<&str> = incoming.iter().map(|s| s.id.as_str()).collect();
    let absent = term.enrolled().filter(|s| !named.contains(s.id.as_str()));
    plan.absent = absent.cloned().collect();
    let has_left = |s: &&Student| left.contains(&s.id);
    let leaving = plan.absent.iter().filter(has_left).map(|s| Student {
        left: Some(today),
        ..s.clone()
    });
    plan.leaving = leaving.collect();
    plan
}

impl RosterPlan {
    /// The changes that carry it out.
    pub fn changes(&self) -> Vec<Change> {
        let altered = self.altered.iter().map(|(_, after)| after);
        self.joining
            .iter()
            .chain(&self.returning)
            .chain(altered)
            .chain(&self.leaving)
            .cloned()
            .map(Change::Student)
            .chain(self.exchanged.iter().cloned().map(Change::Exchanged))
            .collect()
    }
}

/// Brings a roster in as it stands: students join, come back or are altered, and of those who are not in the file the
/// named ones leave as of today. Returns what it did.
pub async fn apply_roster(
    desk: &Desk,
    (incoming, exchanged): (&[Student], &[Exchanged]),
    left: &[StudentId],
    (login, at): (&str, Timestamp),
) -> Result<RosterPlan, PrepareError> {
    let mut plan = RosterPlan::default();
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let clashes = staff_among(term, incoming);
        if !clashes.is_empty() {
            return Err(Faults::one("roster", clashes).into());
        }
        let today = term.course.zone.local(at).date();
        plan = plan_roster(term, (incoming, exchanged), left, today);
        Ok(plan.changes())
    })
    .await?;
    Ok(plan)
}

/// The names of columns that were chosen for rosters earlier.
pub fn remembered_columns(term: &Term) -> Vec<(RosterField, String)> {
    let name = |field: RosterField| {
        let key = (ROSTER.to_owned(), field.name().to_owned());
        Some((field, term.own_columns.get(&key)?.clone()))
    };
    RosterField::ALL.into_iter().filter_map(name).collect()
}

/// Remembers which column of a roster is which, where its header does not say so by itself.
pub async fn remember_columns(
    desk: &Desk,
    roster: &RosterFile,
    columns: &RosterColumns,
    (login, at): (&str, Timestamp),
) -> Result<(), StoreError> {
    let known = RosterColumns::guess(&roster.header);
    if known == *columns {
        return Ok(());
    }
    let column = |(field, place): (RosterField, usize)| {
        Some(Change::OwnColumn(OwnColumn {
            table: ROSTER.to_owned(),
            field: field.name().to_owned(),
            column: roster.header.cells.get(place)?.clone(),
        }))
    };
    let changes: Vec<Change> = columns.all().filter_map(column).collect();
    desk.apply(changes, login, at).await?;
    Ok(())
}

//! Who is on the course: a roster file against the roster, and the staff.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::prepare::{keep, words};
use super::{Desk, PrepareError};
use crate::change::Change;
use crate::course::{StaffMember, StaffRole, Student};
use crate::files;
use crate::store::StoreError;
use crate::term::Term;

/// What a roster would change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RosterPlan {
    /// Not on the roster yet.
    pub joining: Vec<Student>,
    /// On it with another name, section or address: before and after.
    pub altered: Vec<(Student, Student)>,
    /// On it already, just so.
    pub unchanged: usize,
    /// On the roster but not in the file; they stay.
    pub absent: Vec<Student>,
}

/// Compares a roster file with the roster.
#[must_use]
pub fn plan_roster(term: &Term, incoming: &[Student]) -> RosterPlan {
    let mut plan = RosterPlan::default();
    let known: BTreeMap<&str, &Student> =
        term.students.iter().map(|s| (s.id.as_str(), s)).collect();
    for student in incoming {
        match known.get(student.id.as_str()) {
            None => plan.joining.push(student.clone()),
            Some(old) if *old == student => plan.unchanged += 1,
            Some(old) => plan.altered.push(((*old).clone(), student.clone())),
        }
    }
    let named: BTreeSet<&str> = incoming.iter().map(|s| s.id.as_str()).collect();
    plan.absent = term
        .students
        .iter()
        .filter(|s| !named.contains(s.id.as_str()))
        .cloned()
        .collect();
    plan
}

impl RosterPlan {
    /// The changes that carry it out.
    #[must_use]
    pub fn changes(&self) -> Vec<Change> {
        let altered = self.altered.iter().map(|(_, after)| after);
        self.joining
            .iter()
            .chain(altered)
            .cloned()
            .map(Change::Student)
            .collect()
    }
}

/// Brings a roster in as it stands: students join or are altered, nobody leaves. Returns what it did.
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn apply_roster(
    desk: &Desk,
    incoming: &[Student],
    (login, at): (&str, Timestamp),
) -> Result<RosterPlan, PrepareError> {
    let mut plan = RosterPlan::default();
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let clashes = staff_among(term, incoming);
        if !clashes.is_empty() {
            return Err(PrepareError::Fields(vec![("roster", clashes)]));
        }
        plan = plan_roster(term, incoming);
        Ok(plan.changes())
    })
    .await?;
    Ok(plan)
}

/// Names students whose id is the login of a member of staff; empty if there is none.
#[must_use]
pub fn staff_among(term: &Term, incoming: &[Student]) -> String {
    let clashes: Vec<&str> = incoming
        .iter()
        .map(|s| s.id.as_str())
        .filter(|id| term.staff.iter().any(|s| s.login.eq_ignore_ascii_case(id)))
        .collect();
    if clashes.is_empty() {
        return String::new();
    }
    let ids = clashes.join(", ");
    format!("found {ids}, expected ids that are no login of the staff")
}

/// What a form says of a member of staff.
#[derive(Clone, Debug)]
pub struct StaffEntry<'a> {
    /// Signs in with this.
    pub login: &'a str,
    /// For people.
    pub name: &'a str,
    /// `coordinator` or `assistant`.
    pub role: &'a str,
    /// Sections of an assistant.
    pub sections: Vec<String>,
}

/// Adds a member of staff, or changes the one of that login.
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn enter_staff(
    desk: &Desk,
    entry: StaffEntry<'_>,
    (by, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let mut faults = Vec::new();
    let login = keep("login", files::code(entry.login), &mut faults);
    let name = keep("name", words(entry.name), &mut faults);
    let role = StaffRole::from_name(entry.role).ok_or_else(|| {
        format!(
            "found \u{201c}{}\u{201d}, expected coordinator or assistant",
            entry.role
        )
    });
    let role = keep("role", role, &mut faults);
    desk.apply_if(by, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let known = term.sections();
        let unknown = entry.sections.iter().find(|s| !known.contains(&s.as_str()));
        if let Some(unknown) = unknown {
            let what = format!("found \u{201c}{unknown}\u{201d}, expected sections of the roster");
            faults.push(("sections", what));
        }
        if role == Some(StaffRole::Assistant) && entry.sections.is_empty() {
            let what = "found none, expected at least one section for an assistant";
            faults.push(("sections", what.to_owned()));
        }
        if let Some(login) = &login {
            let taken = |s: &&Student| s.id.eq_ignore_ascii_case(login);
            if term.students.iter().any(|s| taken(&s)) {
                let what = format!(
                    "found \u{201c}{login}\u{201d}, expected a login that is no student's id"
                );
                faults.push(("login", what));
            }
            if role == Some(StaffRole::Assistant) && login.eq_ignore_ascii_case(by) {
                let what =
                    "found assistant, expected another coordinator to take your own role from you";
                faults.push(("role", what.to_owned()));
            }
        }
        let (Some(login), Some(name), Some(role), true) = (login, name, role, faults.is_empty())
        else {
            return Err(PrepareError::Fields(faults));
        };
        let old = term
            .staff
            .iter()
            .find(|s| s.login.eq_ignore_ascii_case(&login));
        let sections = match role {
            StaffRole::Assistant => entry.sections,
            StaffRole::Coordinator => Vec::new(),
        };
        let member = StaffMember {
            login: old.map_or(login, |old| old.login.clone()),
            name,
            role,
            sections,
        };
        if old == Some(&member) {
            return Ok(Vec::new());
        }
        Ok(vec![Change::Staff(member)])
    })
    .await?;
    Ok(())
}

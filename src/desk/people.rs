//! Who is on the course: a roster file against the roster, and the staff.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;

use super::prepare::{keep, words};
use super::{Desk, PrepareError};
use crate::change::Change;
use crate::course::{StaffMember, StaffRole, Student};
use crate::ids::{SectionName, StudentId};
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
    /// Had left and are in the file again.
    pub returning: Vec<Student>,
    /// On the roster but not in the file; they stay unless they are named as having left.
    pub absent: Vec<Student>,
    /// Absent and named as having left.
    pub leaving: Vec<Student>,
}

/// Compares a roster file with the roster. `left` are ids of students who are not in the file because they have left.
pub fn plan_roster(
    term: &Term,
    incoming: &[Student],
    left: &[StudentId],
    today: Date,
) -> RosterPlan {
    let mut plan = RosterPlan::default();
    let known: BTreeMap<&str, &Student> =
        term.students.iter().map(|s| (s.id.as_str(), s)).collect();
    for student in incoming {
        match known.get(student.id.as_str()) {
            None => plan.joining.push(student.clone()),
            Some(old) if *old == student => plan.unchanged += 1,
            Some(old) if !old.is_enrolled() && student.is_enrolled() => {
                plan.returning.push(student.clone());
            }
            Some(old) => plan.altered.push(((*old).clone(), student.clone())),
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
            .collect()
    }
}

/// Brings a roster in as it stands: students join, come back or are altered, and of those who are not in the file the
/// named ones leave as of today. Returns what it did.
pub async fn apply_roster(
    desk: &Desk,
    incoming: &[Student],
    left: &[StudentId],
    (login, at): (&str, Timestamp),
) -> Result<RosterPlan, PrepareError> {
    let mut plan = RosterPlan::default();
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let clashes = staff_among(term, incoming);
        if !clashes.is_empty() {
            return Err(PrepareError::Fields(vec![("roster", clashes)]));
        }
        let today = term.course.zone.local(at).date();
        plan = plan_roster(term, incoming, left, today);
        Ok(plan.changes())
    })
    .await?;
    Ok(plan)
}

/// Names students whose id is the login of a member of staff; empty if there is none.
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
    pub name: &'a str,
    /// `coordinator`, `assistant` or `prep`.
    pub role: &'a str,
    /// Sections of an assistant.
    pub sections: Vec<SectionName>,
}

/// Adds a member of staff, or changes the one of that login.
pub async fn enter_staff(
    desk: &Desk,
    entry: StaffEntry<'_>,
    (by, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let mut faults = Vec::new();
    let login = keep("login", crate::text::code(entry.login), &mut faults);
    let name = keep("name", words(entry.name), &mut faults);
    let role = StaffRole::from_name(entry.role).ok_or_else(|| {
        format!(
            "found \u{201c}{}\u{201d}, expected coordinator, assistant or prep",
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
            if let Some(role) = role.filter(|role| *role != StaffRole::Coordinator)
                && login.eq_ignore_ascii_case(by)
            {
                let what = format!(
                    "found {}, expected another coordinator to take your own role from you",
                    role.name()
                );
                faults.push(("role", what));
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
            StaffRole::Coordinator | StaffRole::Prep => Vec::new(),
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

/// Takes somebody off the staff list and ends their sessions. What they decided stays, by their login.
pub async fn remove_staff(
    desk: &Desk,
    login: &str,
    (by, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    desk.apply_if(by, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let member = term.staff.iter().find(|s| s.login == login);
        let member =
            member.ok_or_else(|| PrepareError::new("login", login, "a login of the staff list"))?;
        if member.login.eq_ignore_ascii_case(by) {
            let expected = "another coordinator to take you off the list";
            return Err(PrepareError::new("login", login, expected));
        }
        Ok(vec![Change::RemoveStaff {
            login: member.login.clone(),
        }])
    })
    .await?;
    Ok(())
}

/// What a form says of a student.
#[derive(Clone, Debug, Default)]
pub struct StudentEntry {
    /// Names them; one of the roster changes that student.
    pub id: String,
    pub family_name: String,
    pub given_name: String,
    /// Section, one there is or a new one.
    pub section: String,
    pub email: String,
    /// The day they left, empty while they are on the course.
    pub left: String,
}

/// What has to change so that the roster has a student just so.
pub fn student_changes(term: &Term, entry: &StudentEntry) -> Result<Vec<Change>, PrepareError> {
    let mut faults = Vec::new();
    let id = keep("student_id", StudentId::parse(&entry.id), &mut faults);
    let family_name = keep("family_name", words(&entry.family_name), &mut faults);
    let given_name = crate::text::line_of_text(&entry.given_name);
    let given_name = keep("given_name", given_name, &mut faults);
    let section = keep("section", SectionName::parse(&entry.section), &mut faults);
    let email = keep(
        "email",
        crate::text::line_of_text(&entry.email),
        &mut faults,
    );
    let left = match entry.left.trim() {
        "" => None,
        text => keep("left", crate::text::day(text), &mut faults),
    };
    let (Some(id), Some(family_name), Some(given_name), Some(section), Some(email), true) = (
        id,
        family_name,
        given_name,
        section,
        email,
        faults.is_empty(),
    ) else {
        return Err(PrepareError::Fields(faults));
    };
    let student = Student {
        id,
        family_name,
        given_name,
        section,
        email,
        left,
    };
    let clashes = staff_among(term, std::slice::from_ref(&student));
    if !clashes.is_empty() {
        return Err(PrepareError::Fields(vec![("student_id", clashes)]));
    }
    if term.student(&student.id) == Some(&student) {
        return Ok(Vec::new());
    }
    Ok(vec![Change::Student(student)])
}

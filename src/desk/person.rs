//! Somebody on the staff list or the roster, found by what they sign in with.

use super::Desk;
use super::accounts::{AccountId, Kind};
use crate::course::{StaffMember, StaffRole, Student};
use crate::ids::StudentId;
use crate::store::StoreError;

/// Somebody on the staff list or the roster.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// A student's id, or the login of a member of staff.
    pub login: String,
    pub name: String,
    /// What they may do.
    pub role: Role,
}

/// What a person may do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    Student {
        section: String,
    },
    /// The work of their sections.
    Assistant {
        sections: Vec<String>,
    },
    Coordinator,
    Prep,
}

impl Person {
    /// The account of this person.
    pub fn account(&self) -> AccountId {
        let kind = match self.role {
            Role::Student { .. } => Kind::Student,
            Role::Assistant { .. } | Role::Coordinator | Role::Prep => Kind::Staff,
        };
        AccountId {
            kind,
            login: self.login.clone(),
        }
    }
}

/// The person of an account, if they are still on its list. A student who signs in by a login of staff has no other
/// account.
pub async fn person(desk: &Desk, id: &AccountId) -> Result<Option<Person>, StoreError> {
    let image = desk.look().await?;
    let term = &image.term;
    if id.kind == Kind::Student && term.login_of_student(&id.login).is_some() {
        return Ok(None);
    }
    Ok(on_lists(&term.staff, &term.students, (id, None)))
}

/// What somebody who is signed in is in a course of a department: `number` is that by which they are a student, where they
/// are one beside an account of staff.
pub async fn person_here(
    desk: &Desk,
    who: (&AccountId, Option<&StudentId>),
) -> Result<Option<Person>, StoreError> {
    let image = desk.look().await?;
    Ok(on_lists(&image.term.staff, &image.term.students, who))
}

/// The person of an account among those of some lists. Whoever is a student there is nothing else there, whatever the list
/// of staff says.
pub(super) fn on_lists(
    members: &[StaffMember],
    students: &[Student],
    (id, number): (&AccountId, Option<&StudentId>),
) -> Option<Person> {
    let called = |number: &str| students.iter().find(|s| s.id == *number).and_then(student);
    let as_student = number.and_then(|number| called(number.as_str()));
    as_student.or_else(|| match id.kind {
        Kind::Staff => staff(members, &id.login),
        Kind::Student => called(&id.login),
    })
}

/// The number by which the owner of an account of staff is a student of other courses, if whoever runs the department says
/// that they are.
pub async fn number_beside(desk: &Desk, id: &AccountId) -> Result<Option<StudentId>, StoreError> {
    if id.kind == Kind::Student {
        return Ok(None);
    }
    let image = desk.look().await?;
    Ok(image.term.number_of_staff(&id.login).cloned())
}

/// Everyone a typed login can mean, staff first. Logins of staff ignore case; ids of students do too as long as no
/// other student's id is written exactly so. The number of a student who signs in by a login of staff means that.
pub async fn people_called(desk: &Desk, typed: &str) -> Result<Vec<Person>, StoreError> {
    let image = desk.look().await?;
    let students = image.term.students.iter();
    let alike: Vec<&Student> = students
        .filter(|s| s.id.eq_ignore_ascii_case(typed))
        .collect();
    let meant = match alike.as_slice() {
        [one] => Some(*one),
        several => several.iter().find(|s| s.id == typed).copied(),
    };
    let of_staff = staff(&image.term.staff, typed);
    let meant = meant.and_then(|meant| match image.term.login_of_student(&meant.id) {
        Some(login) => staff(&image.term.staff, login),
        None => student(meant),
    });
    let meant = meant.filter(|meant| of_staff.as_ref() != Some(meant));
    Ok(of_staff.into_iter().chain(meant).collect())
}

fn staff(members: &[StaffMember], login: &str) -> Option<Person> {
    let mut members = members.iter();
    let member = members.find(|s: &&StaffMember| s.login.eq_ignore_ascii_case(login))?;
    let sections = member.sections.iter().map(ToString::to_string);
    Some(Person {
        login: member.login.clone(),
        name: member.name.clone(),
        role: match member.role {
            StaffRole::Coordinator => Role::Coordinator,
            StaffRole::Assistant => Role::Assistant {
                sections: sections.collect(),
            },
            StaffRole::Prep => Role::Prep,
        },
    })
}

fn student(student: &Student) -> Option<Person> {
    let name = format!("{} {}", student.given_name, student.family_name);
    student.is_enrolled().then(|| Person {
        login: student.id.to_string(),
        name: name.trim().to_owned(),
        role: Role::Student {
            section: student.section.to_string(),
        },
    })
}

//! Somebody on the staff list or the roster, found by what they sign in with.

use super::Desk;
use super::accounts::{AccountId, Kind};
use crate::course::{StaffMember, StaffRole, Student};
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

/// The person of an account, if they are still on its list.
pub async fn person(desk: &Desk, id: &AccountId) -> Result<Option<Person>, StoreError> {
    let image = desk.look().await?;
    Ok(on_lists(&image.term.staff, &image.term.students, id))
}

/// The person of an account among those of some lists.
pub(super) fn on_lists(
    members: &[StaffMember],
    students: &[Student],
    id: &AccountId,
) -> Option<Person> {
    match id.kind {
        Kind::Staff => staff(members, &id.login),
        Kind::Student => students.iter().find(|s| s.id == id.login).and_then(student),
    }
}

/// Everyone a typed login can mean, staff first. Logins of staff ignore case; ids of students do too as long as no
/// other student's id is written exactly so.
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
    let people = [staff(&image.term.staff, typed), meant.and_then(student)];
    Ok(people.into_iter().flatten().collect())
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

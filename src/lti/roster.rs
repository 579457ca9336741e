//! Members of a course of a platform as a roster: who of the course each is, who is new, and who cannot be told.

use std::collections::{BTreeMap, BTreeSet};

use super::{Groups, Member, NamedBy};
use crate::course::Student;
use crate::ids::{SectionName, StudentId};
use crate::term::Term;

/// What members come to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Incoming {
    /// Learners who are on the course there, as they would stand on the roster, with who each is at the platform.
    pub students: Vec<(String, Student)>,
    pub not_taken: Vec<NotTaken>,
}

/// A learner who cannot be brought in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotTaken {
    /// As the platform names them; their id there where it gives no name.
    pub who: String,
    pub why: &'static str,
}

/// Lays members beside the roster. `linked` are students by who they are at the platform, `section` is where those go who
/// are new and in no group that is named like a section or could be one.
pub fn incoming(
    term: &Term,
    (members, groups): (&[Member], &Groups),
    (named_by, linked): (NamedBy, &BTreeMap<String, StudentId>),
    section: &SectionName,
) -> Incoming {
    let mut incoming = Incoming::default();
    let mut taken = BTreeSet::new();
    for member in members.iter().filter(|one| one.learns && one.is_active) {
        match of_member(term, (member, groups), (named_by, linked), section) {
            Ok(student) if taken.insert(student.id.clone()) => {
                incoming.students.push((member.sub.clone(), student));
            }
            Ok(_) => incoming.refuse(member, "another member there is the same student here"),
            Err(why) => incoming.refuse(member, why),
        }
    }
    incoming
}

impl Incoming {
    fn refuse(&mut self, member: &Member, why: &'static str) {
        let name = format!("{} {}", member.given_name, member.family_name);
        let who = match name.trim() {
            "" => member.sub.clone(),
            name => name.to_owned(),
        };
        self.not_taken.push(NotTaken { who, why });
    }
}

fn of_member(
    term: &Term,
    (member, groups): (&Member, &Groups),
    (named_by, linked): (NamedBy, &BTreeMap<String, StudentId>),
    section: &SectionName,
) -> Result<Student, &'static str> {
    let held = match linked.get(&member.sub) {
        Some(id) => term.student(id),
        None => named(term, member, named_by)?,
    };
    let group = in_section(term, member, groups, held.is_some());
    if let Some(held) = held {
        let or = |text: &String, held: &String| match text.is_empty() {
            true => held.clone(),
            false => text.clone(),
        };
        // a platform may keep names and addresses to itself
        let whole = !member.family_name.is_empty();
        return Ok(Student {
            family_name: or(&member.family_name, &held.family_name),
            given_name: match whole {
                true => member.given_name.clone(),
                false => held.given_name.clone(),
            },
            email: or(&member.email, &held.email),
            section: group.unwrap_or_else(|| held.section.clone()),
            // whoever is on the course there is on it here
            left: None,
            ..held.clone()
        });
    }
    if member.family_name.is_empty() {
        return Err("the platform keeps the name to itself");
    }
    Ok(Student {
        // known from another course
        id: match linked.get(&member.sub) {
            Some(id) => id.clone(),
            None => number(member, named_by)?,
        },
        family_name: member.family_name.clone(),
        given_name: member.given_name.clone(),
        email: member.email.clone(),
        section: group.unwrap_or_else(|| section.clone()),
        ..Student::default()
    })
}

/// Who of the roster a member is, by what the platform names people.
fn named<'t>(
    term: &'t Term,
    member: &Member,
    named_by: NamedBy,
) -> Result<Option<&'t Student>, &'static str> {
    let same = |student: &&Student| match named_by {
        NamedBy::Email => student.email.trim().eq_ignore_ascii_case(&member.email),
        NamedBy::SourcedId => student.id.eq_ignore_ascii_case(&member.sourced_id),
        NamedBy::Custom => student.id.eq_ignore_ascii_case(&member.number),
    };
    let name = match named_by {
        NamedBy::Email => &member.email,
        NamedBy::SourcedId => &member.sourced_id,
        NamedBy::Custom => &member.number,
    };
    if name.is_empty() {
        return Err(match named_by {
            NamedBy::Email => "the platform gives no e-mail address",
            NamedBy::SourcedId => "the platform gives no lis_person_sourcedid",
            NamedBy::Custom => "the platform gives no custom parameter student_number",
        });
    }
    let all: Vec<&Student> = term.students.iter().filter(same).collect();
    match all.as_slice() {
        [] => Ok(None),
        [one] => Ok(Some(one)),
        several => {
            let mut here = several.iter().filter(|one| one.is_enrolled());
            match (here.next(), here.next()) {
                (Some(one), None) => Ok(Some(one)),
                _ => Err("several students of the roster are named so"),
            }
        }
    }
}

/// The number of a student who is new.
fn number(member: &Member, named_by: NamedBy) -> Result<StudentId, &'static str> {
    let number = match named_by {
        NamedBy::Custom => &member.number,
        NamedBy::Email | NamedBy::SourcedId => &member.sourced_id,
    };
    if number.is_empty() {
        return Err("not on the roster, and the platform gives no student number");
    }
    StudentId::parse(number).map_err(|_| "what the platform gives is no student number")
}

/// The section that a group of the member is: one of the course; of somebody new, one that bears the group's name.
fn in_section(
    term: &Term,
    member: &Member,
    groups: &Groups,
    is_known: bool,
) -> Option<SectionName> {
    let sections = term.sections();
    let mut named = member.groups.iter().filter_map(|id| groups.get(id));
    let own = |name: &&String| sections.iter().any(|one| one.eq_ignore_ascii_case(name));
    if let Some(name) = named.clone().find(own) {
        let held = sections
            .into_iter()
            .find(|one| one.eq_ignore_ascii_case(name));
        return held.map(SectionName::new);
    }
    let first = named.next().filter(|_| !is_known);
    first.and_then(|name| SectionName::parse(name).ok())
}

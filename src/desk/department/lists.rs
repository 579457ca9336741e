//! Who is on the lists of a course, read without the rest of it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::civil::Date;

use super::super::Image;
use super::super::person::{Person, on_lists};
use crate::changes::{Bond, Change, ChangeKind as _, RemoveStaff, SetOnePerson};
use crate::course::{Course, StaffMember, Student};
use crate::ids::StudentId;
use crate::store::accounts::AccountId;
use crate::store::{Connection, StoreError, entries, newest};
use crate::term::Term;

/// The kinds of change that these lists are made of.
pub(super) const KINDS: [&str; 4] = [
    Course::NAME,
    Student::NAME,
    StaffMember::NAME,
    RemoveStaff::NAME,
];

/// Title and people of a course.
#[derive(Clone, Debug, PartialEq)]
pub struct Lists {
    /// None, of a course that nobody has named yet.
    pub course: Option<Course>,
    pub staff: Vec<StaffMember>,
    pub students: Vec<Student>,
    /// Number of the change they are as of.
    pub newest: i64,
}

impl Lists {
    pub(super) fn of(image: &Image) -> Self {
        Self {
            course: image.is_founded().then(|| image.term.course.clone()),
            staff: image.term.staff.to_vec(),
            students: image.term.students.to_vec(),
            newest: image.newest(),
        }
    }

    /// Out of the journal of a course: of all changes only those that these lists are made of are read.
    pub(super) async fn read(connection: &mut Connection) -> Result<Self, StoreError> {
        let mut changes = Vec::new();
        for kind in KINDS {
            changes.extend(entries(connection, kind).await?);
        }
        changes.sort_by_key(|(_, made)| made.seq);
        let mut lists = Self {
            course: None,
            staff: Vec::new(),
            students: Vec::new(),
            newest: newest(connection).await?,
        };
        // the last word on each student, in the order in which they were first named
        let mut places: BTreeMap<String, usize> = BTreeMap::new();
        for (change, _) in changes {
            match change {
                Change::Course(course) => lists.course = Some(course),
                Change::Student(student) => match places.get(student.id.as_str()) {
                    Some(place) => lists.students[*place] = student,
                    None => {
                        places.insert(student.id.to_string(), lists.students.len());
                        lists.students.push(student);
                    }
                },
                Change::Staff(member) => {
                    lists.remove(&member.login);
                    lists.staff.push(member);
                }
                Change::RemoveStaff(removed) => lists.remove(&removed.login),
                _ => {}
            }
        }
        Ok(lists)
    }

    fn remove(&mut self, login: &str) {
        self.staff
            .retain(|one| !one.login.eq_ignore_ascii_case(login));
    }

    /// What somebody is by these lists: by an account, and by the number by which they are a student beside it. Whoever is a
    /// student of a course is nothing else in it.
    pub fn person(&self, who: (&AccountId, Option<&StudentId>)) -> Option<Person> {
        on_lists(&self.staff, &self.students, who)
    }

    /// Title and term, as people read them; the key where nobody has named it.
    pub fn title(&self, key: &str) -> String {
        match &self.course {
            Some(course) if course.term.is_empty() => course.title.clone(),
            Some(course) => format!("{}, {}", course.title, course.term),
            None => key.to_owned(),
        }
    }

    /// The member of staff of a login.
    pub fn member(&self, login: &str) -> Option<&StaffMember> {
        let mut staff = self.staff.iter();
        staff.find(|one| one.login.eq_ignore_ascii_case(login))
    }

    /// Whether a student and a member of staff of these logins are both on these lists.
    pub(super) fn has_both(&self, number: &str, login: &str) -> bool {
        self.member(login).is_some() && self.enrolled().any(|one| one.id == *number)
    }

    pub fn enrolled(&self) -> impl Iterator<Item = &Student> {
        self.students.iter().filter(|one| one.is_enrolled())
    }
}

/// What the people of a department are short of to have everybody of these lists: new ones, and those with other names.
pub(super) fn wanting(people: &Term, all: &[Arc<Lists>], today: Date) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut staff: BTreeMap<String, &StaffMember> = BTreeMap::new();
    let mut students: BTreeMap<&str, Student> = BTreeMap::new();
    for lists in all {
        for member in &lists.staff {
            staff
                .entry(member.login.to_ascii_lowercase())
                .or_insert(member);
        }
        for student in &lists.students {
            let here = super::as_of_department(student);
            match students.get_mut(student.id.as_str()) {
                // who has left one course may be on another
                Some(held) if held.left.is_some() => *held = here,
                Some(_) => {}
                None => {
                    students.insert(&student.id, here);
                }
            }
        }
    }
    let held: BTreeMap<String, &StaffMember> = people
        .staff
        .iter()
        .map(|one| (one.login.to_ascii_lowercase(), one))
        .collect();
    let is_student = |login: &str| {
        let mut known = people.students.iter();
        known.any(|one| one.is_enrolled() && one.id.eq_ignore_ascii_case(login))
    };
    let is_one = |number: &str, login: &str| {
        let own = people.login_of_student(number);
        own.is_some_and(|own| own.eq_ignore_ascii_case(login))
    };
    let mut come: BTreeSet<&str> = BTreeSet::new();
    for (login, member) in &staff {
        // nobody is kept out by being named on the staff of another course
        let is_free = !is_student(login) || people.number_of_staff(login).is_some();
        if !held.contains_key(login) && is_free {
            come.insert(login);
            changes.push(Change::Staff(super::as_member(member)));
        }
    }
    for (login, member) in &held {
        // whoever runs the department is on no list of a course for it
        let is_gone = !staff.contains_key(login) && !super::runs(member);
        let number = people.number_of_staff(login);
        if is_gone && let Some(student) = number {
            // who was both goes on as a student, with what lets them in
            changes.push(Change::OnePerson(SetOnePerson {
                student: student.clone(),
                login: member.login.clone(),
                now: Bond::StudentAlone,
            }));
        }
        // of two people with one login, no longer said to be one, the student stays
        let is_another = number.is_none() && !super::runs(member) && is_student(login);
        if is_gone || is_another {
            changes.push(Change::RemoveStaff(RemoveStaff {
                login: member.login.clone(),
            }));
        }
    }
    let known: BTreeMap<&str, &Student> =
        people.students.iter().map(|s| (s.id.as_str(), s)).collect();
    for student in people.students.iter().filter(|one| one.is_enrolled()) {
        // of a course that was put by
        if !students.contains_key(student.id.as_str()) {
            changes.push(Change::Student(Student {
                left: Some(today),
                ..student.clone()
            }));
        }
    }
    for (id, student) in students {
        // a login is one person's: who is on the staff of one course is not a student of another by the same
        let login = id.to_ascii_lowercase();
        let is_taken = held.contains_key(&login) || come.contains(login.as_str());
        let clashes = is_taken && !is_one(id, &login);
        if !clashes && known.get(id) != Some(&&student) {
            changes.push(Change::Student(student));
        }
    }
    changes
}

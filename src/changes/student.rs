//! A student, new or with another name, section or address, or who has left.

pub use crate::course::Student;

use std::collections::BTreeMap;

use super::{Change, ChangeForm, ChangeKind, Made, Reach, Replaced, Who};
use crate::form::{Faults, Field, Form, Typed, named};
use crate::ids::{SectionName, StudentId};
use crate::term::Term;
use crate::text::{RecordFile, column, day, line_of_text};

impl ChangeKind for Student {
    const NAME: &'static str = "student";
    /// The roster is read before everything that names somebody on it, and written even if nobody is.
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = places;

    fn subject(&self) -> String {
        self.id.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.id);
    }

    fn person(&mut self) -> Option<&mut Student> {
        Some(self)
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        term.students.put(self);
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::All
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let known: BTreeMap<&StudentId, &Self> = held.students.iter().map(|s| (&s.id, s)).collect();
        let students = incoming.students.iter();
        let students = students.map(|s| s.as_on_roster(known.get(&s.id).copied()));
        students.filter(|s| known.get(&s.id) != Some(&s)).collect()
    }
}

/// `roster.csv`.
pub fn roster() -> RecordFile<Student> {
    RecordFile {
        name: "roster.csv",
        new: Student::default,
        columns: vec![
            column!(Student: "student_id", id, StudentId::parse),
            column!(Student: "family_name", family_name, line_of_text),
            column!(Student: "given_name", given_name, line_of_text),
            column!(Student: "section", section, SectionName::parse),
            column!(Student: "email", email, line_of_text).if_used(|one| !one.email.is_empty()),
            column!(Student: "sourced_id", sourced_id, line_of_text)
                .if_used(|one| !one.sourced_id.is_empty()),
            column!(Student: "left", left, any day).if_used(|one| one.left.is_some()),
        ],
        once: &["student_id"],
    }
}

/// Their section, and whether they have left.
fn places(student: &Student, term: &Term) -> Vec<Replaced> {
    let words = |s: &Student| match s.left {
        Some(day) => format!("{s}, section {}, left on {day}", s.section),
        None => format!("{s}, section {}", s.section),
    };
    let before = term.student(&student.id);
    let before = before.map_or("not on the roster".to_owned(), words);
    let name = format!("Student {}", student.id);
    vec![Replaced::plain(name, "", before, words(student))]
}

/// A student; one of the roster where the id is theirs.
pub struct StudentForm;

impl ChangeForm for StudentForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        Form::of(vec![
            Field::code("student_id", "Student id")
                .hint("an id of the roster changes that student")
                .wide(),
            Field::text("family_name", "Family name").needed(),
            Field::text("given_name", "Given name"),
            Field::code("section", "Section")
                .hint("one there is, or a new one; its dates and lots hold from then on")
                .suggest(named(term.sections()))
                .wide(),
            Field::text("email", "Email").hint("if you like"),
            Field::day("left", "Left on").hint("empty while they are on the course"),
        ])
        .note("Who has left cannot sign in, is on no list and not in the gradebook. What they handed in stays on record, and the day can be taken out again.")
        .enter("Save")
        .look("See first what it would change")
    }

    fn held(&self, term: &Term, query: &Typed) -> Typed {
        let Some(student) = term.student(query.text("id")) else {
            return Typed::default();
        };
        let left = student.left.map(|day| day.to_string());
        Typed::from([
            ("student_id", student.id.to_string()),
            ("family_name", student.family_name.clone()),
            ("given_name", student.given_name.clone()),
            ("section", student.section.to_string()),
            ("email", student.email.clone()),
            ("left", left.unwrap_or_default()),
        ])
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let read = self.form(term, typed).read(typed);
        read.check()?;
        let text = |name: &str| read.text(name).unwrap_or_default().to_owned();
        let student = Student {
            id: StudentId::new(text("student_id")),
            family_name: text("family_name"),
            given_name: text("given_name"),
            section: SectionName::new(text("section")),
            email: text("email"),
            sourced_id: String::new(),
            left: read.day("left"),
        };
        let student = student.as_on_roster(term.student(&student.id));
        let clashes = staff_among(term, std::slice::from_ref(&student));
        if !clashes.is_empty() {
            return Err(Faults::one("student_id", clashes));
        }
        let same = term.student(&student.id) == Some(&student);
        Ok((!same)
            .then_some(Change::Student(student))
            .into_iter()
            .collect())
    }
}

impl Student {
    /// Themselves as they are entered: files without sourcedIds take none away.
    pub fn as_on_roster(&self, before: Option<&Self>) -> Self {
        let mut student = self.clone();
        if let Some(before) = before.filter(|_| self.sourced_id.is_empty()) {
            student.sourced_id.clone_from(&before.sourced_id);
        }
        student
    }
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

//! One student of the roster: added, moved to another section, or marked as having left.

use super::{ChangeForm, Who};
use crate::changes::Change;
use crate::course::Student;
use crate::desk::staff_among;
use crate::form::{Faults, Field, Form, Typed, named};
use crate::ids::{SectionName, StudentId};
use crate::term::Term;

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
            left: read.day("left"),
        };
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

//! What a course is called, and what its students read.

use super::experiment::language_field;
use crate::changes::{Change, ChangeForm, Who};
use crate::course::Course;
use crate::form::{Faults, Field, Form, Typed};
use crate::language::Language;
use crate::term::Term;

/// Asked once for the whole course.
pub struct CourseForm;

impl ChangeForm for CourseForm {
    fn form(&self, _: &Term, _: &Typed) -> Form {
        Form::of(vec![
            Field::text("title", "Title").needed().wide(),
            Field::text("term", "Term").needed().wide(),
            language_field(),
        ])
        .enter("Keep these settings")
    }

    fn held(&self, term: &Term, _: &Typed) -> Typed {
        let course = &term.course;
        Typed::from([
            ("title", course.title.as_str()),
            ("term", course.term.as_str()),
            ("language", course.language.code()),
        ])
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let read = self.form(term, typed).read(typed);
        read.check()?;
        let said = |name: &str| read.said(name).map(str::to_owned);
        let held = &term.course;
        let course = Course {
            title: said("title").unwrap_or_else(|| held.title.clone()),
            term: said("term").unwrap_or_else(|| held.term.clone()),
            language: read
                .said("language")
                .and_then(Language::from_code)
                .unwrap_or(held.language),
            zone: held.zone.clone(),
        };
        let differs = course != *held;
        Ok(differs
            .then_some(Change::Course(course))
            .into_iter()
            .collect())
    }
}

//! Longer time or a make-up for one student.

use super::{ChangeForm, Who, enrolled, experiment, suggested};
use crate::changes::{Change, Extend};
use crate::form::{Faults, Field, Form, Typed, named};
use crate::ids::{ExperimentKey, SectionName};
use crate::term::{Extension, Slot, Term};

/// Asked for one experiment, by its key.
pub struct ExtensionForm(pub ExperimentKey);

impl ChangeForm for ExtensionForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        Form::of(vec![
            Field::text("student", "Student")
                .hint("their id")
                .suggest(suggested(term.enrolled_in_order(), |_| Some(String::new())))
                .wide(),
            Field::local_time("due", "Due").hint("longer time: due then"),
            Field::choice(
                "section",
                "Makes it up with section",
                "their own",
                named(term.sections()),
            )
            .hint("its dates and its lots hold")
            .expected("a section of the roster"),
            Field::text("reason", "Why").needed().wide(),
        ])
        .title("One student")
        .enter("Arrange it")
        .look("See first what it would change")
    }

    fn held(&self, _: &Term, query: &Typed) -> Typed {
        query.only(|name| name == "student")
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        let (login, at) = who;
        let experiment = experiment(term, &self.0)?;
        let mut read = self.form(term, typed).read(typed);
        let student = read.keep("student", enrolled(term, typed.text("student")));
        let slot = student.map(|student| Slot::new(&self.0, &student.id));
        let due = read.local_time("due");
        let section = read.said("section").map(SectionName::new);
        if let (Some(student), Some(name)) = (student, &section)
            && student.section == name
        {
            let what = format!("found {name}, the student's own, expected another section or none");
            read.fault("section", what);
        }
        let nothing = typed.text("due").is_empty() && typed.text("section").is_empty();
        let held = slot.as_ref().and_then(|slot| term.extension(slot));
        if nothing && student.is_some() && held.is_none() {
            read.fault(
                "due",
                "found neither a date nor a section, expected one or both",
            );
        }
        if let (Some(student), Some(due)) = (student, due) {
            let section = section.as_ref().unwrap_or(&student.section);
            let opens = experiment.dates_in(section).opens;
            if due <= opens {
                let what = format!("found {due}, expected a time after it opens on {opens}");
                read.fault("due", what);
            }
        }
        read.check()?;
        let reason = read.text("reason").unwrap_or_default().to_owned();
        let extension = Extension {
            due,
            section,
            reason,
            by: login.to_owned(),
            at: Some(at),
        };
        let extend = |slot| {
            Change::Extend(Extend {
                slot,
                body: extension,
            })
        };
        Ok(slot.map(extend).into_iter().collect())
    }
}

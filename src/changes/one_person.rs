//! A student of one course and a member of the staff of another are one person, as whoever runs the department says.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach};
use crate::ids::StudentId;
use crate::term::Term;

/// What is said of a student and a login of staff. Whoever they are, they sign in by the login of staff.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SetOnePerson {
    pub student: StudentId,
    pub login: String,
    pub now: Bond,
}

/// How a student and a login of staff stand to each other from then on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bond {
    /// One person. What let the student in lets nobody in any more.
    Joined,
    /// Two people. What let the one in lets in neither: it may be the other's. Both have to be given a way in.
    Parted,
    /// On the staff of no course any more: what let them in lets the student in.
    StudentAlone,
}

impl ChangeKind for SetOnePerson {
    const NAME: &'static str = "one-person";

    fn subject(&self) -> String {
        self.login.clone()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        match self.now {
            Bond::Joined => {
                let (student, login) = (self.student.clone(), self.login.clone());
                term.one_person.insert(student, login);
            }
            Bond::Parted | Bond::StudentAlone => {
                term.one_person.remove(&self.student);
            }
        }
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }
}

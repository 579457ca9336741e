//! A member of staff, new or with another name, role or sections.

pub use crate::course::StaffMember;

use super::{ChangeKind, Made, Reach, put};
use crate::ids::StudentId;
use crate::term::Term;

impl ChangeKind for StaffMember {
    const NAME: &'static str = "staff";

    fn subject(&self) -> String {
        self.login.clone()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        put(&mut term.staff, self, |s| &s.login);
    }

    fn reach(&self) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let staff = incoming.staff.iter();
        staff.filter(|s| !held.staff.contains(s)).cloned().collect()
    }
}

//! Somebody is on the staff no longer. It ends their sessions and takes their account.

use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, nothing};
use crate::ids::StudentId;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct RemoveStaff {
    pub login: String,
}

impl ChangeKind for RemoveStaff {
    const NAME: &'static str = "remove-staff";
    const FILE: Option<fn() -> RecordsOf<Self>> = None;
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = nothing;

    fn subject(&self) -> String {
        self.login.clone()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let stays = |login: &str| !login.eq_ignore_ascii_case(&self.login);
        term.staff.retain(|s| stays(&s.login));
    }

    fn reach(&self) -> Reach {
        Reach::Nothing
    }

    /// A folder that does not name somebody takes nobody away.
    fn fresh(_: &Term, _: &Term) -> Vec<Self> {
        Vec::new()
    }
}

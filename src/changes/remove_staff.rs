//! Somebody is on the staff no longer. It ends their sessions and takes their account.

use serde::{Deserialize, Serialize};

use super::{Change, ChangeForm, ChangeKind, Made, Reach, Who};
use crate::course::StaffMember;
use crate::form::{Button, Faults, Field, Form, Typed};
use crate::ids::StudentId;
use crate::term::Term;

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct RemoveStaff {
    pub login: String,
}

impl ChangeKind for RemoveStaff {
    const NAME: &'static str = "remove-staff";

    fn subject(&self) -> String {
        self.login.clone()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let stays = |login: &str| !login.eq_ignore_ascii_case(&self.login);
        term.staff.retain(|s| stays(&s.login));
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Classes
    }
}

/// Somebody off the list; what they decided stays, by their login.
pub struct RemoveStaffForm;

impl RemoveStaffForm {
    /// Who is named in a query.
    pub fn member<'t>(term: &'t Term, login: &str) -> Option<&'t StaffMember> {
        term.staff.iter().find(|s| s.login == login)
    }
}

impl ChangeForm for RemoveStaffForm {
    fn form(&self, term: &Term, typed: &Typed) -> Form {
        let mut form = Form::of(vec![Field::hidden("login")]);
        if let Some(member) = Self::member(term, typed.text("login")) {
            form = form.title(format!("Take {} off the list?", member.name)).words(format!(
                "They are signed out at once and cannot sign in any more. What they decided stays on record as {}. On the list again, they need a slip to set a new password.",
                member.login
            ));
        }
        form.buttons = vec![Button::new("Take them off")];
        form
    }

    fn held(&self, _: &Term, query: &Typed) -> Typed {
        Typed::from([("login", query.text("remove"))])
    }

    fn changes(&self, typed: &Typed, term: &Term, (by, _): Who<'_>) -> Result<Vec<Change>, Faults> {
        let login = typed.text("login");
        let Some(member) = Self::member(term, login) else {
            return Err(Faults::found("login", login, "a login of the staff list"));
        };
        if member.login.eq_ignore_ascii_case(by) {
            let expected = "another coordinator to take you off the list";
            return Err(Faults::found("login", login, expected));
        }
        Ok(vec![Change::RemoveStaff(RemoveStaff {
            login: member.login.clone(),
        })])
    }
}

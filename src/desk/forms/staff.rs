//! The staff: somebody added, changed, or taken off the list.

use super::{ChangeForm, Who};
use crate::changes::{Change, RemoveStaff};
use crate::course::{StaffMember, StaffRole};
use crate::form::{Button, Faults, Field, Form, Kind, Typed, named};
use crate::ids::SectionName;
use crate::term::Term;

/// A member of staff; one of the list where the login is theirs.
pub struct StaffForm;

/// Somebody off the list; what they decided stays, by their login.
pub struct RemoveStaffForm;

impl ChangeForm for StaffForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let roles = [
            ("assistant", "Assistant: reviews their own sections"),
            (
                "coordinator",
                "Coordinator: the whole course, true values included",
            ),
            (
                "prep",
                "Prep room: lots, unknowns and what is printed for them; no marks",
            ),
        ];
        let sections = Kind::Several(named(term.sections()));
        Form::of(vec![
            Field::code("login", "Login")
                .hint("the login of somebody on the list changes them")
                .wide(),
            Field::text("name", "Name").needed().wide(),
            Field::pick("role", "Role", &roles)
                .expected("coordinator, assistant or prep")
                .needed(),
            Field::new("sections", "Sections of an assistant", sections),
        ])
        .title("Add somebody, or change them")
        .enter("Save")
    }

    fn held(&self, term: &Term, query: &Typed) -> Typed {
        let login = query.text("login");
        let Some(member) = term.staff.iter().find(|s| s.login == login) else {
            return Typed::from([("role", "assistant")]);
        };
        let own = [
            ("login", member.login.as_str()),
            ("name", &member.name),
            ("role", member.role.name()),
        ];
        let sections = member.sections.iter().map(|s| ("sections[]", s.as_str()));
        own.into_iter().chain(sections).collect()
    }

    fn changes(&self, typed: &Typed, term: &Term, (by, _): Who<'_>) -> Result<Vec<Change>, Faults> {
        let mut read = self.form(term, typed).read(typed);
        let role = read.text("role").and_then(StaffRole::from_name);
        let sections = read.several("sections");
        let known = term.sections();
        if let Some(unknown) = sections.iter().find(|s| !known.contains(&s.as_str())) {
            let what = format!("found \u{201c}{unknown}\u{201d}, expected sections of the roster");
            read.fault("sections", what);
        }
        if role == Some(StaffRole::Assistant) && sections.is_empty() {
            read.fault(
                "sections",
                "found none, expected at least one section for an assistant",
            );
        }
        let login = read.text("login").unwrap_or_default().to_owned();
        if term
            .students
            .iter()
            .any(|s| s.id.eq_ignore_ascii_case(&login))
        {
            let expected = "a login that is no student's id";
            read.fault("login", crate::text::found(&login, expected));
        }
        if let Some(role) = role.filter(|role| *role != StaffRole::Coordinator)
            && login.eq_ignore_ascii_case(by)
        {
            let what = format!(
                "found {}, expected another coordinator to take your own role from you",
                role.name()
            );
            read.fault("role", what);
        }
        read.check()?;
        let Some(role) = role else {
            return Err(read.into_faults());
        };
        let mut list = term.staff.iter();
        let old = list.find(|s| s.login.eq_ignore_ascii_case(&login));
        let member = StaffMember {
            login: old.map_or(login, |old| old.login.clone()),
            name: read.text("name").unwrap_or_default().to_owned(),
            role,
            sections: match role {
                StaffRole::Assistant => sections.into_iter().map(SectionName::new).collect(),
                StaffRole::Coordinator | StaffRole::Prep => Vec::new(),
            },
        };
        let same = old == Some(&member);
        Ok((!same)
            .then_some(Change::Staff(member))
            .into_iter()
            .collect())
    }
}

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

//! A member of staff, new or with another name, role or sections.

pub use crate::course::StaffMember;

use super::{Change, ChangeForm, ChangeKind, Made, Reach, RecordsOf, Who, put};
use crate::course::StaffRole;
use crate::form::{Faults, Field, Form, Kind, Typed, named};
use crate::ids::{SectionName, StudentId};
use crate::term::Term;
use crate::text::{Known, RecordColumn, RecordFile, code, column, found, line_of_text};

impl ChangeKind for StaffMember {
    const NAME: &'static str = "staff";
    const FILE: Option<fn() -> RecordsOf<Self>> = Some(file);

    fn subject(&self) -> String {
        self.login.clone()
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        put(&mut term.staff, self, |s| &s.login);
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Classes
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let staff = incoming.staff.iter();
        staff.filter(|s| !held.staff.contains(s)).cloned().collect()
    }
}

fn file() -> RecordsOf<StaffMember> {
    let file = RecordFile {
        name: "staff.csv",
        new: StaffMember::default,
        columns: vec![
            column!(StaffMember: "login", login, code),
            column!(StaffMember: "name", name, line_of_text),
            RecordColumn::new(
                "role",
                |one: &mut StaffMember, text, _| role(text.trim()).map(|role| one.role = role),
                |one| one.role.name().to_owned(),
            ),
            RecordColumn::new(
                "sections",
                |one: &mut StaffMember, text, known| {
                    sections(text, known).map(|all| one.sections = all)
                },
                |one| one.sections.join(" "),
            ),
        ],
        once: &["login"],
    };
    (file, |term| term.staff.to_vec())
}

fn role(text: &str) -> Result<StaffRole, String> {
    let role = StaffRole::from_name(text);
    role.ok_or_else(|| found(text, "coordinator, assistant or prep"))
}

/// Sections separated by spaces. A section's name may have spaces in it: the longest name that fits is taken.
fn sections(text: &str, known: &Known) -> Result<Vec<SectionName>, String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut sections = Vec::new();
    let mut rest = words.as_slice();
    while !rest.is_empty() {
        let fits = (1..=rest.len()).rev().find_map(|count| {
            let name = known.section(&rest.get(..count)?.join(" ")).ok()?;
            Some((name, rest.get(count..)?))
        });
        match fits {
            Some((name, others)) if known.sections.is_some() => {
                sections.push(name);
                rest = others;
            }
            // the roster cannot be read: nothing to hold against it
            Some(_) => return Ok(Vec::new()),
            None => {
                return Err(found(
                    rest.first().unwrap_or(&""),
                    "a section of the roster",
                ));
            }
        }
    }
    Ok(sections)
}

/// A member of staff; one of the list where the login is theirs.
pub struct StaffForm;

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

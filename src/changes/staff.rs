//! A member of staff, new or with another name, role or sections.

pub use crate::course::StaffMember;

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced, nothing, put};
use crate::course::StaffRole;
use crate::ids::{SectionName, StudentId};
use crate::term::Term;
use crate::text::{Known, RecordColumn, RecordFile, code, column, found, line_of_text};

impl ChangeKind for StaffMember {
    const NAME: &'static str = "staff";
    const FILE: Option<fn() -> RecordsOf<Self>> = Some(file);
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = nothing;

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
    (file, |term| term.staff.clone())
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

//! `roster.csv` and `staff.csv`.

use std::collections::HashSet;

use super::known::Known;
use crate::course::{StaffMember, StaffRole, Student};
use crate::ids::{SectionName, StudentId};
use crate::text::{
    Columns, Fault, Once, Table, again, code, day, found, guarded, line_of_text, write_csv,
};

/// Reads a roster by itself.
pub fn read_roster_file(bytes: &[u8]) -> Result<Vec<Student>, Vec<Fault>> {
    let mut faults = Vec::new();
    let students = read_roster(bytes, &mut Known::default(), &mut faults);
    if faults.is_empty() {
        Ok(students)
    } else {
        Err(faults)
    }
}

/// Reads the roster and notes its students and sections.
pub(super) fn read_roster(
    bytes: &[u8],
    known: &mut Known,
    faults: &mut Vec<Fault>,
) -> Vec<Student> {
    let columns = Columns::new(
        &["student_id", "family_name", "given_name", "section"],
        &["email", "left"],
    );
    let Some(table) = Table::read("roster.csv", bytes, &columns, faults) else {
        return Vec::new();
    };
    let (mut ids, mut sections) = (HashSet::new(), HashSet::new());
    let mut once = Once::new();
    let mut students = Vec::new();
    for row in &table.rows {
        let id = table.get(row, "student_id", StudentId::parse, faults);
        let section = table.get(row, "section", SectionName::parse, faults);
        let family_name = table.get(row, "family_name", line_of_text, faults);
        let given_name = table.get(row, "given_name", line_of_text, faults);
        let email = table.get(row, "email", line_of_text, faults);
        if let Some(id) = &id {
            if let Some(first) = once.seen(id.clone(), row.line) {
                faults.push(table.fault(row, "student_id", again(id, first)));
                continue;
            }
            ids.insert(id.clone());
        }
        sections.extend(section.clone());
        let left = table.get_if_any(row, "left", day, faults);
        let names = family_name.zip(given_name).zip(email);
        if let (Some(id), Some(section), Some(((family_name, given_name), email))) =
            (id, section, names)
        {
            students.push(Student {
                id,
                family_name,
                given_name,
                section,
                email,
                left,
            });
        }
    }
    known.students = Some(ids);
    known.sections = Some(sections);
    students
}

/// A roster as its file.
pub fn write_roster(students: &[Student]) -> String {
    let mut header = vec!["student_id", "family_name", "given_name", "section"];
    let emails = students.iter().any(|s| !s.email.is_empty());
    header.extend(emails.then_some("email"));
    let anybody_left = students.iter().any(|s| s.left.is_some());
    header.extend(anybody_left.then_some("left"));
    let rows = students.iter().map(|s| {
        let cells = [&*s.id, &s.family_name, &s.given_name, &s.section];
        let mut cells: Vec<String> = cells.map(|cell| guarded(cell)).into();
        cells.extend(emails.then(|| guarded(&s.email)));
        let left = || s.left.map(|day| day.to_string()).unwrap_or_default();
        cells.extend(anybody_left.then(left));
        cells
    });
    write_csv(&header, rows)
}

pub(super) fn read_staff(bytes: &[u8], known: &Known, faults: &mut Vec<Fault>) -> Vec<StaffMember> {
    let columns = Columns::new(&["login", "name", "role", "sections"], &[]);
    let Some(table) = Table::read("staff.csv", bytes, &columns, faults) else {
        return Vec::new();
    };
    let mut once = Once::new();
    let mut staff = Vec::new();
    for row in &table.rows {
        let login = table.get(row, "login", code, faults);
        if let Some(login) = &login
            && let Some(first) = once.seen(login.clone(), row.line)
        {
            faults.push(table.fault(row, "login", again(login, first)));
            continue;
        }
        let name = table.get(row, "name", line_of_text, faults);
        let role = |text: &str| {
            StaffRole::from_name(text.trim())
                .ok_or_else(|| found(text.trim(), "coordinator, assistant or prep"))
        };
        let role = table.get(row, "role", role, faults);
        let sections = table.get(row, "sections", |text| read_sections(text, known), faults);
        if let (Some(login), Some(name), Some(role), Some(sections)) = (login, name, role, sections)
        {
            staff.push(StaffMember {
                login,
                name,
                role,
                sections,
            });
        }
    }
    staff
}

/// Sections separated by spaces. A section's name may have spaces in it: the longest name that fits is taken.
fn read_sections(text: &str, known: &Known) -> Result<Vec<SectionName>, String> {
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

/// The staff of a term.
pub(super) fn write_staff(staff: &[StaffMember]) -> String {
    let rows = staff.iter().map(|s| {
        [
            guarded(&s.login),
            guarded(&s.name),
            s.role.name().to_owned(),
            guarded(&s.sections.join(" ")),
        ]
    });
    write_csv(&["login", "name", "role", "sections"], rows)
}

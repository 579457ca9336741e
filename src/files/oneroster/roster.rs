//! A roster out of an exchange: its students, their sections from their classes.

use std::collections::{BTreeMap, BTreeSet};

use super::super::folder::Folder;
use super::package::{Package, is_active};
use crate::course::Student;
use crate::ids::{SectionName, StudentId};
use crate::text::{Fault, Once, Row, Table, again, code, found, line_of_text};
use crate::words::named;

/// What becomes the student id.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum StudentKey {
    /// The column `identifier`, the number people know.
    #[default]
    Identifier,
    Username,
    SourcedId,
}

/// How an exchange becomes a roster.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RosterChoice {
    /// What becomes the student id.
    pub key: StudentKey,
    /// Title, code or sourcedId of the course, where the exchange holds several; empty for all of them.
    pub course: String,
}

/// A class of the exchange.
#[derive(Default)]
pub(super) struct Class {
    pub sourced_id: String,
    pub title: String,
    pub code: String,
    pub course: String,
    pub school: String,
    pub terms: String,
}

/// A student of the exchange with their place in it.
pub(super) struct Enrolled {
    pub student: Student,
    pub user: String,
    pub username: String,
    pub identifier: String,
    pub class: String,
}

named! { StudentKey, column, from_column:
    Identifier = "identifier",
    Username = "username",
    SourcedId = "sourcedId",
}

/// The students of an exchange, in the order of its users. Columns we do not know are passed over, as are people who
/// are no students of its classes, and all demographics.
pub fn read_roster_package(
    folder: &Folder,
    choice: &RosterChoice,
) -> Result<Vec<Student>, Vec<Fault>> {
    let package = Package::open(folder)?;
    let (_, enrolled) = people(&package, choice, Some(choice.key))?;
    Ok(enrolled.into_iter().map(|one| one.student).collect())
}

/// The classes chosen and everybody who is a student in one of them. Without a key their student ids are not wanted.
pub(super) fn people(
    package: &Package<'_>,
    choice: &RosterChoice,
    key: Option<StudentKey>,
) -> Result<(Vec<Class>, Vec<Enrolled>), Vec<Fault>> {
    let mut faults = Vec::new();
    let classes = classes(package, choice, &mut faults);
    let known: BTreeSet<&str> = classes.iter().map(|c| c.sourced_id.as_str()).collect();
    let places = places(package, &known, &mut faults);
    let enrolled = students(package, key, &classes, &places, &mut faults);
    if faults.is_empty() && enrolled.is_empty() {
        let what = "found nobody enrolled as a student in these classes, expected at least one";
        faults.push(Fault::of_file("enrollments.csv", what));
    }
    if faults.is_empty() {
        Ok((classes, enrolled))
    } else {
        Err(faults)
    }
}

fn classes(package: &Package<'_>, choice: &RosterChoice, faults: &mut Vec<Fault>) -> Vec<Class> {
    let needed = ["sourcedId", "title", "courseSourcedId", "schoolSourcedId"];
    let Some(table) = package.table("classes", &needed, faults) else {
        return Vec::new();
    };
    let cell = |row: &Row, column: &str| table.cell(row, column).trim().to_owned();
    let all = table.rows.iter().filter(|row| is_active(&table, row));
    let mut classes: Vec<Class> = all
        .map(|row| Class {
            sourced_id: cell(row, "sourcedId"),
            title: cell(row, "title"),
            code: cell(row, "classCode"),
            course: cell(row, "courseSourcedId"),
            school: cell(row, "schoolSourcedId"),
            terms: cell(row, "termSourcedIds"),
        })
        .collect();
    if !choice.course.is_empty() {
        let courses = courses(package, faults);
        let wanted: Vec<&str> = courses
            .iter()
            .filter(|names| names.contains(&choice.course))
            .map(|[id, _, _]| id.as_str())
            .collect();
        if wanted.is_empty() {
            let names: Vec<&str> = courses.iter().map(|[_, title, _]| title.as_str()).collect();
            let expected = format!(
                "title, code or sourcedId of one of the courses {}",
                names.join(", ")
            );
            faults.push(Fault::of_file(
                "courses.csv",
                found(&choice.course, &expected),
            ));
        }
        classes.retain(|class| wanted.contains(&class.course.as_str()));
    }
    classes
}

/// sourcedId, title and code of every course.
fn courses(package: &Package<'_>, faults: &mut Vec<Fault>) -> Vec<[String; 3]> {
    let Some(table) = package.table("courses", &["sourcedId", "title"], faults) else {
        return Vec::new();
    };
    let active = table.rows.iter().filter(|row| is_active(&table, row));
    active
        .map(|row| {
            ["sourcedId", "title", "courseCode"].map(|name| table.cell(row, name).trim().to_owned())
        })
        .collect()
}

/// The class of each student, by the sourcedId of the user. A student of several of the classes is a fault.
fn places(
    package: &Package<'_>,
    classes: &BTreeSet<&str>,
    faults: &mut Vec<Fault>,
) -> BTreeMap<String, String> {
    let needed = ["classSourcedId", "userSourcedId", "role"];
    let Some(table) = package.table("enrollments", &needed, faults) else {
        return BTreeMap::new();
    };
    let mut places: BTreeMap<String, String> = BTreeMap::new();
    for row in table.rows.iter().filter(|row| is_active(&table, row)) {
        let class = table.cell(row, "classSourcedId").trim();
        let user = table.cell(row, "userSourcedId").trim();
        if table.cell(row, "role").trim() != "student" || !classes.contains(class) {
            continue;
        }
        let before = places.insert(user.to_owned(), class.to_owned());
        if let Some(before) = before.filter(|before| before != class) {
            let what = format!(
                "found {user} as a student of the classes {before} and {class}, expected one class for each: say which course is meant"
            );
            faults.push(table.fault(row, "classSourcedId", what));
        }
    }
    places
}

fn students(
    package: &Package<'_>,
    key: Option<StudentKey>,
    classes: &[Class],
    places: &BTreeMap<String, String>,
    faults: &mut Vec<Fault>,
) -> Vec<Enrolled> {
    let mut needed = vec!["sourcedId", "givenName", "familyName"];
    let column = key.map_or("sourcedId", StudentKey::column);
    if column != "sourcedId" {
        needed.push(column);
    }
    let Some(table) = package.table("users", &needed, faults) else {
        return Vec::new();
    };
    let sections = section_names(classes);
    let (mut ids, mut users) = (Once::new(), BTreeSet::new());
    let mut enrolled = Vec::new();
    for row in table.rows.iter().filter(|row| is_active(&table, row)) {
        let user = table.cell(row, "sourcedId").trim().to_owned();
        let Some(class) = places.get(&user) else {
            continue;
        };
        users.insert(user.clone());
        let id = table.get(row, column, |text| student_id(text, key), faults);
        let family_name = table.get(row, "familyName", line_of_text, faults);
        let given_name = table.get(row, "givenName", line_of_text, faults);
        let email = table.get(row, "email", line_of_text, faults);
        if let Some(id) = &id
            && let Some(first) = ids.seen(id.clone(), row.line)
        {
            faults.push(table.fault(row, column, again(id, first)));
            continue;
        }
        let section = sections.get(class.as_str()).map_or("", String::as_str);
        let section = SectionName::new(section);
        if let (Some(id), Some(family_name), Some(given_name), Some(email)) =
            (id, family_name, given_name, email)
        {
            enrolled.push(Enrolled {
                student: Student {
                    id,
                    family_name,
                    given_name,
                    section,
                    email,
                    sourced_id: user.clone(),
                    left: None,
                },
                username: table.cell(row, "username").trim().to_owned(),
                identifier: table.cell(row, "identifier").trim().to_owned(),
                class: class.clone(),
                user,
            });
        }
    }
    unknown_users(&table, places, &users, faults);
    enrolled
}

fn student_id(text: &str, key: Option<StudentKey>) -> Result<StudentId, String> {
    match key {
        Some(_) => StudentId::parse(text)
            .map_err(|what| format!("{what}; another column can be chosen as the student id")),
        None => Ok(StudentId::new(text.trim())),
    }
}

/// Somebody enrolled has to be among the users of a bulk exchange.
fn unknown_users(
    table: &Table<'_>,
    places: &BTreeMap<String, String>,
    users: &BTreeSet<String>,
    faults: &mut Vec<Fault>,
) {
    for user in places.keys().filter(|user| !users.contains(*user)) {
        let held = table
            .rows
            .iter()
            .any(|row| table.cell(row, "sourcedId").trim() == user);
        // somebody who is there and no longer active has left
        if !held {
            let fault = Fault::of_file("enrollments.csv", found(user, "a user of users.csv"));
            faults.push(fault.in_column("userSourcedId"));
        }
    }
}

/// What the sections are called: by title where all differ and are short enough, else by code, else by sourcedId.
pub(super) fn section_names(classes: &[Class]) -> BTreeMap<&str, String> {
    let by = |name: fn(&Class) -> &str| {
        let names: BTreeSet<&str> = classes.iter().map(name).collect();
        let usable = names.iter().all(|name| code(name).is_ok());
        (usable && names.len() == classes.len()).then_some(name)
    };
    let name = by(|class| class.title.as_str())
        .or_else(|| by(|class| class.code.as_str()))
        .unwrap_or(|class| class.sourced_id.as_str());
    let named = |class| (Class::id(class), name(class).to_owned());
    classes.iter().map(named).collect()
}

impl Class {
    fn id(&self) -> &str {
        &self.sourced_id
    }
}

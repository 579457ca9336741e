//! Line items and results out, with everything they refer to.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::super::folder::Folder;
use super::kept::{is_kept, kept_places};
use super::package::{Package, Version};
use super::results::{Names, Place, put, put_manifest, put_table};
use super::roster::{Class, Enrolled, RosterChoice, people};
use super::session::Sessions;
use crate::course::Student;
use crate::ids::StudentId;
use crate::term::{Judged, Slot, Term};
use crate::text::Fault;

/// What is to be written.
#[derive(Clone, Debug)]
pub struct Export<'r> {
    /// The version, where no roster is given or kept; a roster's own version otherwise.
    pub version: Version,
    /// The day of the export, in the course's zone.
    pub today: Date,
    /// The exchange the roster came from: its sourcedIds are kept, and its files that results refer to go along
    /// unchanged. Without one the names count that the course keeps; if it keeps none, every name is ours.
    pub roster: Option<&'r Folder>,
    /// Title, code or sourcedId of the course in that exchange; empty for all of it.
    pub course: String,
    /// Whether students with results who are not in that exchange are left out; otherwise they are faults.
    pub leave_out: bool,
}

/// Files that go along from a roster, since results, or files that results refer to, name what is in them.
const REFERRED: [&str; 7] = [
    "academicSessions",
    "classes",
    "courses",
    "enrollments",
    "orgs",
    "roles",
    "users",
];

/// The files of the exchange.
pub fn export(
    term: &Term,
    judged: &[(Slot, Judged)],
    wanted: &Export<'_>,
) -> Result<Folder, Vec<Fault>> {
    let names = Names::of(&term.course);
    let mut folder = Folder::default();
    let (version, places) = match wanted.roster {
        Some(roster) => theirs(&mut folder, term, judged, roster, wanted)?,
        None if is_kept(term) => kept_places(term, judged, wanted)?,
        None => {
            let places = ours(&mut folder, term, &names, wanted.version);
            (wanted.version, places)
        }
    };
    let how = (version, &names, wanted.today);
    put(&mut folder, how, term, judged, &places);
    put_manifest(&mut folder, version);
    Ok(folder)
}

/// The classes of a roster that was given; what they refer to goes along as it came.
fn theirs(
    folder: &mut Folder,
    term: &Term,
    judged: &[(Slot, Judged)],
    roster: &Folder,
    wanted: &Export<'_>,
) -> Result<(Version, Vec<Place>), Vec<Fault>> {
    let package = Package::open(roster)?;
    let mut faults = Vec::new();
    for file in REFERRED {
        if let Some(bytes) = package.bytes(file) {
            let into = folder.insert(&format!("{file}.csv"), bytes.to_vec());
            faults.extend(into.err());
        }
    }
    let choice = RosterChoice {
        course: wanted.course.clone(),
        ..RosterChoice::default()
    };
    let (classes, enrolled) = people(&package, &choice, None)?;
    let sessions = Sessions::read(&package, &mut faults);
    let mut members: BTreeMap<&str, Vec<(StudentId, String)>> = BTreeMap::new();
    let mut found = BTreeSet::new();
    for one in &enrolled {
        if let Some(student) = student_of(term, one).filter(|s| found.insert(s.id.as_str())) {
            let pair = (student.id.clone(), one.user.clone());
            members.entry(&one.class).or_default().push(pair);
        }
    }
    let mut lost: BTreeSet<&str> = judged
        .iter()
        .map(|(slot, _)| slot.student.as_str())
        .collect();
    let enrolled = |id: &str| term.student(id).is_some_and(Student::is_enrolled);
    lost.retain(|id| !found.contains(id) && enrolled(id));
    if !wanted.leave_out {
        faults.extend(lost.into_iter().map(|id| {
            let what = format!("found nobody who is {id}, who has results, expected a user with that identifier, username, sourcedId or e-mail address in one of the classes");
            Fault::of_file("users.csv", what)
        }));
    }
    let mut places = Vec::new();
    for class in &classes {
        let Some(students) = members.remove(class.sourced_id.as_str()) else {
            continue;
        };
        let section = students
            .first()
            .and_then(|(id, _)| term.student(id))
            .map_or_else(String::new, |s| s.section.to_string());
        places.push(Place {
            sessions: days(term, &sessions, &section, class, &mut faults),
            class: class.sourced_id.clone(),
            school: class.school.clone(),
            section,
            students,
        });
    }
    if faults.is_empty() {
        Ok((package.version, places))
    } else {
        Err(faults)
    }
}

/// The session that each experiment is due in, for a class.
pub(super) fn days(
    term: &Term,
    sessions: &Sessions,
    section: &str,
    class: &Class,
    faults: &mut Vec<Fault>,
) -> Vec<String> {
    let mut days = Vec::new();
    for experiment in &term.experiments {
        let day = experiment.dates_in(section).due.date().to_string();
        let Some(session) = sessions.of_day(&day, &class.terms) else {
            let what = format!(
                "found no session of academicSessions.csv for the class {}, expected one that its line items fall in",
                class.title
            );
            faults.push(Fault::of_file("classes.csv", what).in_column("termSourcedIds"));
            break;
        };
        days.push(session.to_owned());
    }
    days
}

/// Who of the course somebody of an exchange is.
fn student_of<'t>(term: &'t Term, one: &Enrolled) -> Option<&'t Student> {
    let ids = [&one.identifier, &one.username, &one.user];
    let by_id = ids
        .into_iter()
        .filter(|id| !id.is_empty())
        .find_map(|id| term.student(id));
    let email = one.student.email.trim();
    by_id.or_else(|| {
        let mut same = term
            .students
            .iter()
            .filter(|s| !email.is_empty() && s.email.trim().eq_ignore_ascii_case(email));
        // an address of several students names none of them
        same.next().filter(|_| same.next().is_none())
    })
}

/// Names of our own for everything that results refer to.
fn ours(folder: &mut Folder, term: &Term, names: &Names, version: Version) -> Vec<Place> {
    let second = version == Version::V1p2;
    let [org, year, period, course] =
        ["org", "term", "grading-period", "course"].map(|what| names.id(&[what]));
    let blank = String::new;
    let text = |text: &str| text.to_owned();
    let sections = term.sections();
    let dates = || {
        let of = term.experiments.iter();
        of.flat_map(|e| sections.iter().map(|section| e.dates_in(section)))
    };
    let start = dates().map(|d| d.opens.date()).min().unwrap_or_default();
    let end = dates().map(|d| d.due.date()).max().unwrap_or_default();
    // the standard counts the end as outside the session
    let end = end.tomorrow().unwrap_or(end);
    let session = |id: &str, kind: &str, parent: &str| {
        let of_year = end.year().to_string();
        let dates = [start.to_string(), end.to_string(), text(parent), of_year];
        let mut row = vec![
            text(id),
            blank(),
            blank(),
            term.course.term.clone(),
            text(kind),
        ];
        row.extend(dates);
        row
    };
    let sessions = vec![
        session(&year, "term", ""),
        session(&period, "gradingPeriod", &year),
    ];
    put_table(folder, version, "academicSessions.csv", sessions);
    let title = &term.course.title;
    let school = vec![
        org.clone(),
        blank(),
        blank(),
        title.clone(),
        text("school"),
        blank(),
        blank(),
    ];
    put_table(folder, version, "orgs.csv", vec![school]);
    let mut row = vec![
        course.clone(),
        blank(),
        blank(),
        blank(),
        title.clone(),
        blank(),
        blank(),
    ];
    row.extend([org.clone(), blank(), blank()]);
    put_table(folder, version, "courses.csv", vec![row]);
    let mut places = Vec::new();
    let (mut classes, mut users, mut enrolments, mut roles) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for &section in &sections {
        let class = names.id(&["class", section]);
        let mut row = vec![
            class.clone(),
            blank(),
            blank(),
            text(section),
            blank(),
            course.clone(),
        ];
        row.extend([
            text(section),
            text("scheduled"),
            blank(),
            org.clone(),
            year.clone(),
        ]);
        row.extend([blank(), blank(), blank()]);
        classes.push(row);
        let members = term.enrolled().filter(|s| s.section == section);
        let mut students = Vec::new();
        for student in members {
            let user = names.id(&["user", &student.id]);
            users.push(user_row(&user, student, &org, second));
            let id = names.id(&["enrolment", &student.id]);
            let mut row = vec![
                id,
                blank(),
                blank(),
                class.clone(),
                org.clone(),
                user.clone(),
            ];
            row.extend([text("student"), text("false"), blank(), blank()]);
            enrolments.push(row);
            let id = names.id(&["role", &student.id]);
            let mut row = vec![
                id,
                blank(),
                blank(),
                user.clone(),
                text("primary"),
                text("student"),
            ];
            row.extend([blank(), blank(), org.clone(), blank()]);
            roles.push(row);
            students.push((student.id.clone(), user));
        }
        places.push(Place {
            class,
            school: org.clone(),
            section: text(section),
            sessions: vec![period.clone(); term.experiments.len()],
            students,
        });
    }
    put_table(folder, version, "classes.csv", classes);
    put_table(folder, version, "users.csv", users);
    put_table(folder, version, "enrollments.csv", enrolments);
    if second {
        put_table(folder, version, "roles.csv", roles);
    }
    places
}

fn user_row(user: &str, student: &Student, org: &str, second: bool) -> Vec<String> {
    let blank = String::new;
    let mut row = vec![user.to_owned(), blank(), blank(), "true".to_owned()];
    if !second {
        row.extend([org.to_owned(), "student".to_owned()]);
    }
    row.extend([student.id.to_string(), blank(), student.given_name.clone()]);
    row.extend([student.family_name.clone(), blank(), student.id.to_string()]);
    row.extend([
        student.email.clone(),
        blank(),
        blank(),
        blank(),
        blank(),
        blank(),
    ]);
    if second {
        row.extend([blank(), blank(), blank(), blank(), org.to_owned(), blank()]);
    }
    row
}

//! `roster.csv`.

use std::collections::HashSet;

use crate::changes::roster;
use crate::course::Student;
use crate::text::{Fault, Known};

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
    let (mut ids, mut sections) = (HashSet::new(), HashSet::new());
    // somebody with a fault elsewhere in the row is on the roster all the same
    let mut seen = |student: &Student, at_fault: &[&str]| {
        ids.extend((!at_fault.contains(&"student_id")).then(|| student.id.clone()));
        sections.extend((!at_fault.contains(&"section")).then(|| student.section.clone()));
    };
    let students = roster().read_with(bytes, &Known::default(), faults, &mut seen);
    if students.is_some() {
        (known.students, known.sections) = (Some(ids), Some(sections));
    }
    students.unwrap_or_default()
}

/// A roster as its file.
pub fn write_roster(students: &[Student]) -> String {
    roster().write(students)
}

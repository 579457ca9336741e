//! The roster: students in its order, each found by number at once.

use std::collections::HashMap;
use std::ops::Deref;
use std::sync::Arc;

use crate::course::Student;
use crate::ids::StudentId;

/// Reads as a slice of students. Copies share it until one of them is changed.
#[derive(Clone, Debug, Default)]
pub struct Roster(Arc<Listed>);

#[derive(Clone, Debug, Default)]
struct Listed {
    students: Vec<Student>,
    places: HashMap<StudentId, usize>,
}

impl Roster {
    /// Where somebody stands in it, from nought.
    pub fn place(&self, id: &str) -> Option<usize> {
        self.0.places.get(id).copied()
    }

    pub fn student(&self, id: &str) -> Option<&Student> {
        self.0.students.get(self.place(id)?)
    }

    /// Puts a student in the place of the one of that number, or after all others.
    pub fn put(&mut self, student: &Student) {
        let place = self.place(&student.id);
        let listed = Arc::make_mut(&mut self.0);
        match place.and_then(|place| listed.students.get_mut(place)) {
            Some(known) => known.clone_from(student),
            None => {
                let last = listed.students.len();
                listed.places.insert(student.id.clone(), last);
                listed.students.push(student.clone());
            }
        }
    }

    /// Whether the same people stand in the same places, whatever else is known of them.
    pub fn is_of_the_same(&self, other: &Self) -> bool {
        let same = |(one, other): (&Student, &Student)| one.id == other.id;
        Arc::ptr_eq(&self.0, &other.0)
            || self.len() == other.len() && self.iter().zip(other).all(same)
    }
}

impl Deref for Roster {
    type Target = [Student];

    fn deref(&self) -> &[Student] {
        &self.0.students
    }
}

impl PartialEq for Roster {
    fn eq(&self, other: &Self) -> bool {
        self.0.students == other.0.students
    }
}

/// Of two with one number the first counts.
impl From<Vec<Student>> for Roster {
    fn from(students: Vec<Student>) -> Self {
        let mut places = HashMap::new();
        for (place, student) in students.iter().enumerate() {
            places.entry(student.id.clone()).or_insert(place);
        }
        Self(Arc::new(Listed { students, places }))
    }
}

impl<'r> IntoIterator for &'r Roster {
    type Item = &'r Student;
    type IntoIter = std::slice::Iter<'r, Student>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

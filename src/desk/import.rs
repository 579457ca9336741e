//! What a course folder would change, before it is brought in.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::saved::as_held;
use super::{BringError, Desk};
use crate::changes::{Change, HandInMade};
use crate::course::Student;
use crate::store::StoreError;
use crate::term::{Altered, Slot, Term};
use crate::words::{counted, signed};

/// What bringing a folder into a course would do.
#[derive(Clone, Debug, Default)]
pub struct ImportPlan {
    pub changes: Vec<Change>,
    pub joining: Vec<Student>,
    /// On the course now, and left as of the folder.
    pub leaving: Vec<Student>,
    /// With another name, section or address, or back again: before and after.
    pub altered: Vec<(Student, Student)>,
    /// On the course and not in the folder: they stay.
    pub absent: usize,
    /// Hand-ins of students who had handed in nothing there.
    pub first_hand_ins: usize,
    /// Hand-ins that take the place of earlier ones.
    pub replaced: Vec<Slot>,
    /// Grades that would be others.
    pub moved: Vec<Altered>,
    /// Everything else, by its kind: how many changes.
    pub others: BTreeMap<&'static str, usize>,
}

/// What bringing a folder in would do; none where no course is held yet, so that everything is new.
pub async fn plan_import(desk: &Desk, incoming: &Term) -> Result<Option<ImportPlan>, BringError> {
    let image = match desk.view().await {
        Ok(image) => image,
        Err(StoreError::NoCourse) => return Ok(None),
        Err(other) => return Err(other.into()),
    };
    let mut plan = ImportPlan::new(&image.term, incoming)?;
    plan.moved = desk.preview(&image, &plan.changes).await?.altered;
    plan.moved.retain(|one| !one.gain().is_zero());
    Ok(Some(plan))
}

/// The changes from the course held to the one in a folder.
pub(super) fn changes_to(held: &Term, incoming: &Term) -> Result<Vec<Change>, BringError> {
    let name = |term: &Term| format!("{}, {}", term.course.title, term.course.term);
    if name(held) != name(incoming) {
        return Err(BringError::OtherCourse {
            held: name(held),
            folder: name(incoming),
        });
    }
    let incoming = as_held(held, incoming).map_err(BringError::Faults)?;
    Ok(held.changes_from(&incoming))
}

impl ImportPlan {
    /// All but the grades that move.
    fn new(held: &Term, incoming: &Term) -> Result<Self, BringError> {
        let mut plan = Self {
            changes: changes_to(held, incoming)?,
            ..Self::default()
        };
        let in_folder = |student: &&Student| incoming.student(&student.id).is_some();
        plan.absent = held.enrolled().filter(|s| !in_folder(s)).count();
        let mut replaced = Vec::new();
        for change in &plan.changes {
            match change {
                Change::Student(student) => match held.student(&student.id) {
                    None => plan.joining.push(student.clone()),
                    Some(old) if old.is_enrolled() && !student.is_enrolled() => {
                        plan.leaving.push(student.clone());
                    }
                    Some(old) => plan.altered.push((old.clone(), student.clone())),
                },
                Change::HandIn(HandInMade { slot, .. }) => replaced.push(slot.clone()),
                other => *plan.others.entry(other.kind()).or_default() += 1,
            }
        }
        replaced.sort();
        replaced.dedup();
        let all = replaced.len();
        replaced.retain(|slot| held.submissions.contains_key(slot));
        plan.first_hand_ins = all.saturating_sub(replaced.len());
        plan.replaced = replaced;
        Ok(plan)
    }

    /// Changes that are no hand-in and no student, in words: “2 lot, 1 unknown”.
    pub fn others_in_words(&self) -> String {
        let others = self.others.iter();
        let words: Vec<String> = others.map(|(kind, n)| format!("{n} {kind}")).collect();
        words.join(", ")
    }

    /// The whole of it on lines.
    pub fn in_words(&self) -> String {
        let mut text = String::new();
        let mut line = |what: String| {
            // writing to a string cannot fail
            let _ = writeln!(text, "{what}");
        };
        line(format!(
            "{}, {}, {}",
            counted(self.joining.len(), "student joins", "students join"),
            counted(self.leaving.len(), "leaves", "leave"),
            counted(self.altered.len(), "is altered", "are altered"),
        ));
        for student in &self.joining {
            line(format!("  joins {}", entry(student)));
        }
        for student in &self.leaving {
            line(format!("  leaves {}", entry(student)));
        }
        for (before, after) in &self.altered {
            line(format!("  was {}, is {}", entry(before), entry(after)));
        }
        if self.absent > 0 {
            let them = counted(self.absent, "student is", "students are");
            line(format!("{them} not in the folder and stay as they are"));
        }
        line(format!(
            "{}, {} the place of an earlier one",
            counted(self.first_hand_ins, "hand-in is new", "hand-ins are new"),
            counted(self.replaced.len(), "takes", "take"),
        ));
        for slot in &self.replaced {
            line(format!("  replaced {}, {}", slot.experiment, slot.student));
        }
        let students = counted(self.moved.len(), "grade moves", "grades move");
        line(students);
        for one in &self.moved {
            let (before, after) = one.points();
            let (slot, gain) = (&one.slot, signed(one.gain()));
            line(format!(
                "  {}, {}: {before} to {after} ({gain})",
                slot.experiment, slot.student
            ));
        }
        if !self.others.is_empty() {
            line(format!("other changes: {}", self.others_in_words()));
        }
        text
    }
}

fn entry(student: &Student) -> String {
    let address = match student.email.as_str() {
        "" => String::new(),
        address => format!(", {address}"),
    };
    format!(
        "{} {student}, section {}{address}",
        student.id, student.section
    )
}

//! Which submissions a change may judge anew.

use std::collections::{BTreeMap, BTreeSet};

use crate::course::Student;
use crate::ids::{ExperimentKey, SectionName, StudentId};
use crate::term::{Slot, Term};

/// Which submissions a change may judge anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reach {
    /// None.
    Nothing,
    /// Those of one experiment in a student’s section, and in the sections of their bench group.
    Section(Slot),
    /// Those of one experiment.
    Experiment(ExperimentKey),
    All,
}

impl Term {
    /// The slots within reach of changes.
    pub fn within_reach(&self, reaches: &[Reach]) -> BTreeSet<Slot> {
        let mut whole: BTreeSet<&ExperimentKey> = BTreeSet::new();
        let mut single: BTreeMap<&ExperimentKey, BTreeSet<&StudentId>> = BTreeMap::new();
        for reach in reaches {
            match reach {
                Reach::Nothing => {}
                Reach::All => whole.extend(self.experiments.iter().map(|e| &e.key)),
                Reach::Experiment(key) => _ = whole.insert(key),
                Reach::Section(slot) => {
                    let students = single.entry(&slot.experiment).or_default();
                    students.insert(&slot.student);
                }
            }
        }
        single.retain(|key, _| !whole.contains(key));
        let all = whole
            .into_iter()
            .flat_map(|key| self.slots_of(key, |_| true));
        let mut slots: BTreeSet<Slot> = all.collect();
        for (key, students) in single {
            let sections = self.sections_beside(key, &students);
            slots.extend(self.slots_of(key, |section| sections.contains(section)));
        }
        slots
    }

    /// Everybody’s slots in an experiment, of those sections.
    fn slots_of(&self, key: &ExperimentKey, of: impl Fn(&SectionName) -> bool) -> Vec<Slot> {
        let students = self.students.iter();
        let students = students.filter(|student| of(self.works_in(key, student)));
        students.map(|s| Slot::new(key, &s.id)).collect()
    }

    /// The sections of students, and every section that a bench mate works in: the mate’s readings are compared with
    /// those of the mate’s own section.
    fn sections_beside<'a>(
        &'a self,
        key: &'a ExperimentKey,
        students: &BTreeSet<&StudentId>,
    ) -> BTreeSet<&'a SectionName> {
        let groups: BTreeSet<&str> = students
            .iter()
            .filter_map(|student| self.groups.get(&Slot::new(key, student)))
            .map(String::as_str)
            .collect();
        let is_beside = |student: &&Student| {
            let group = self.groups.get(&Slot::new(key, &student.id));
            students.contains(&student.id) || group.is_some_and(|g| groups.contains(g.as_str()))
        };
        let beside = self.students.iter().filter(is_beside);
        beside.map(|student| self.works_in(key, student)).collect()
    }
}

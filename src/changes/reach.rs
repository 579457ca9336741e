//! Which submissions a change may judge anew.

use std::collections::BTreeSet;

use crate::course::Student;
use crate::ids::ExperimentKey;
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
        let mut slots = BTreeSet::new();
        let mut all_of = |key: &ExperimentKey| {
            let students = self.students.iter();
            slots.extend(students.map(|s| Slot::new(key, &s.id)));
        };
        let mut beside = Vec::new();
        for reach in reaches {
            match reach {
                Reach::Nothing => {}
                Reach::All => self.experiments.iter().for_each(|e| all_of(&e.key)),
                Reach::Experiment(key) => all_of(key),
                Reach::Section(slot) => beside.extend(self.beside(slot)),
            }
        }
        slots.extend(beside);
        slots
    }

    /// The slots of a section, and those of every section that a bench mate works in: the mate’s readings are compared
    /// with those of the mate’s own section.
    fn beside(&self, slot: &Slot) -> Vec<Slot> {
        let group = self.groups.get(slot);
        let mates = group
            .into_iter()
            .flat_map(|group| self.bench_group(&slot.experiment, group));
        let with_mates: BTreeSet<&str> = mates
            .map(|mate| mate.student.as_str())
            .chain([slot.student.as_str()])
            .collect();
        let of = |s: &&Student| with_mates.contains(s.id.as_str());
        let section = |s| self.works_in(&slot.experiment, s).as_str();
        let sections: BTreeSet<&str> = self.students.iter().filter(of).map(section).collect();
        let reached = self.students.iter();
        let reached = reached.filter(|s| sections.contains(section(s)));
        reached
            .map(|s| Slot::new(&slot.experiment, &s.id))
            .collect()
    }
}

//! Which submissions a change may judge anew.

use std::collections::{BTreeMap, BTreeSet};

use crate::chem::Formula;
use crate::course::{Experiment, Student};
use crate::ids::{ExperimentKey, LotCode, SectionName, StudentId};
use crate::term::{Slot, Term};

/// Which submissions a change may judge anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reach {
    /// None.
    Nothing,
    /// A student's own in one experiment, and others only as far as their class shows them otherwise by it.
    Student(Slot),
    /// Those of one experiment in a student’s section, and in the sections of their bench group.
    Section(Slot),
    /// Those of one experiment.
    Experiment(ExperimentKey),
    /// Those of the experiments that a lot is for.
    Lot(LotCode),
    /// None by itself, all as far as their class shows them otherwise.
    Classes,
    All,
}

impl Reach {
    /// Whether anything of an experiment may be reached.
    pub fn is_into(&self, key: &ExperimentKey) -> bool {
        match self {
            Self::Nothing => false,
            Self::Student(slot) | Self::Section(slot) => slot.experiment == *key,
            Self::Experiment(experiment) => experiment == key,
            Self::Lot(_) | Self::Classes | Self::All => true,
        }
    }
}

/// What is reached of one experiment.
#[derive(Clone, Debug, Default)]
pub struct Within {
    /// Those judged anew in any case.
    pub slots: BTreeSet<Slot>,
    /// Whether more has changed than what they handed in: who is compared with whom.
    pub class: bool,
}

impl Term {
    /// What is within reach of changes, by experiment.
    pub fn within_reach(&self, reaches: &[Reach]) -> BTreeMap<ExperimentKey, Within> {
        let mut reached: BTreeMap<ExperimentKey, Within> = BTreeMap::new();
        let mut whole: BTreeSet<&ExperimentKey> = BTreeSet::new();
        let mut single: BTreeMap<&ExperimentKey, BTreeSet<&StudentId>> = BTreeMap::new();
        for reach in reaches {
            match reach {
                Reach::Nothing => {}
                Reach::All => whole.extend(self.experiments.iter().map(|e| &e.key)),
                Reach::Experiment(key) => _ = whole.insert(key),
                Reach::Lot(code) => {
                    let is_for = |e: &&Experiment| self.is_lot_for(e, code);
                    whole.extend(self.experiments.iter().filter(is_for).map(|e| &e.key));
                }
                Reach::Classes => {
                    for experiment in &self.experiments {
                        reached.entry(experiment.key.clone()).or_default().class = true;
                    }
                }
                Reach::Student(slot) if !self.groups.contains_key(slot) => {
                    let within = reached.entry(slot.experiment.clone()).or_default();
                    within.slots.insert(slot.clone());
                }
                Reach::Student(slot) | Reach::Section(slot) => {
                    let students = single.entry(&slot.experiment).or_default();
                    students.insert(&slot.student);
                }
            }
        }
        single.retain(|key, _| !whole.contains(key));
        for key in whole {
            let within = reached.entry(key.clone()).or_default();
            *within = Within {
                slots: self.slots_of(key, |_| true).into_iter().collect(),
                class: true,
            };
        }
        for (key, students) in single {
            let sections = self.sections_beside(key, &students);
            let within = reached.entry(key.clone()).or_default();
            within.class = true;
            let slots = self.slots_of(key, |section| sections.contains(section));
            within.slots.extend(slots);
        }
        reached
    }

    /// Whether anything in an experiment may rest on a lot: its reagent is the titrant or the excess, or cannot be told, or
    /// somebody names it.
    fn is_lot_for(&self, experiment: &Experiment, code: &LotCode) -> bool {
        let Some(lot) = self.lots.get(code) else {
            return true;
        };
        let procedure = &experiment.procedure;
        let titrant = procedure.lot_reagent().map(|(species, _)| species);
        let excess = procedure.excess().map(|excess| &excess.species);
        let of_species = match Formula::parse(&lot.reagent) {
            Ok(formula) => [titrant, excess].contains(&Some(&formula)),
            Err(_) => true,
        };
        let assigned = experiment.section_lots.values();
        let mut assigned = assigned.flat_map(|lots| [&lots.titrant, &lots.excess]);
        of_species
            || self.lots.len() == 1
            || assigned.any(|named| named.as_ref() == Some(code))
            || self.is_named(&experiment.key, code)
    }

    fn is_named(&self, key: &ExperimentKey, code: &LotCode) -> bool {
        let of_experiment = self.submissions.of_experiment(key);
        let last = of_experiment.filter_map(|(_, revisions)| revisions.last());
        let mut rows = last.flat_map(|last| &last.hand_in.titrations);
        rows.any(|row| [&row.lot, &row.excess_lot].contains(&&Some(code.clone())))
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

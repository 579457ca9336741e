//! Titrants carried over: what students found for one in an earlier experiment is what they titrate with in a later one.

use std::collections::{BTreeSet, HashMap};
use std::sync::{Mutex, PoisonError};

use super::{Judged, Slot, Term};
use crate::course::{Experiment, Student};
use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::judge::{CarriedLine, CarriedTitrant, Consensus, Evaluation, Outcome, result_of};
use crate::procedure::{CarriedBy, ResultUnit};
use crate::submission::{Titration, TrialLabel};
use crate::truth::Sealed;

/// What a slot of the earlier experiment found, and the code of the bottle it found it of.
pub(super) struct Found {
    outcome: Outcome,
    bottle: String,
    /// What the class found there, where that bottle is off.
    consensus: Option<Consensus>,
}

/// The titrants of one experiment, carried over from another.
pub(super) struct Titrants<'a> {
    term: &'a Term,
    experiment: &'a Experiment,
    earlier: Option<&'a Experiment>,
    found: &'a (dyn Fn(&Slot) -> Option<Found> + Sync),
    /// What a bench group or a section found of a bottle: worked out once for all of them.
    pooled: Mutex<HashMap<(String, String), Option<CarriedTitrant>>>,
}

impl Found {
    pub fn of(evaluation: &Evaluation) -> Option<Self> {
        Some(Self {
            outcome: evaluation.outcome.clone()?,
            bottle: evaluation.unknown.to_string(),
            consensus: evaluation.class.consensus.clone(),
        })
    }
}

impl Term {
    /// The experiment that the titrant of a later one comes from: the last before it of the key that the procedure names, or
    /// of a procedure of that key, that finds the molarity of that species; or that the line comes from, which reads the same
    /// standards.
    pub fn standardised_in(&self, experiment: &Experiment) -> Option<&Experiment> {
        let before = self.experiments.iter();
        let before = before.take_while(|one| one.key != experiment.key);
        let is_named =
            |one: &Experiment, from: &str| one.key == *from || one.procedure.key == *from;
        if let Some((line, from)) = experiment.procedure.line_taken_over() {
            let measures_it = |one: &&Experiment| {
                let of_its_own = one.procedure.line();
                is_named(one, from) && of_its_own.is_some_and(|own| own.is_line_of(line))
            };
            return before.filter(measures_it).last();
        }
        let titrant = experiment.procedure.titrant()?;
        let from = &titrant.carried.as_ref()?.from;
        let finds_it = |one: &&Experiment| {
            let asked = one.procedure.scheme.asked();
            is_named(one, from)
                && one.procedure.result.unit == ResultUnit::MolPerL
                && asked.is_some_and(|asked| asked.expressed_as == titrant.species)
        };
        before.filter(finds_it).last()
    }

    /// The standards that whoever read a slot's samples read in the earlier experiment; none where nobody did.
    pub fn carried_line(&self, slot: &Slot) -> Option<CarriedLine> {
        let experiment = self.experiment(&slot.experiment)?;
        experiment.procedure.line_taken_over()?;
        let earlier = self.standardised_in(experiment)?;
        let reader = self.handed_in_by(slot).map_or(slot, |(reader, _)| reader);
        let own = Slot::new(&earlier.key, &reader.student);
        let (read_by, revisions) = self.handed_in_by(&own)?;
        let section = self.works_in(&earlier.key, self.student(&read_by.student)?);
        let stock = self.default_lots(earlier, section).titrant;
        let rows = revisions.last()?.hand_in.titrations.iter();
        let standards = rows.filter(|row| matches!(row.trial, TrialLabel::Standard(_)));
        let standards: Vec<Titration> = standards
            .map(|row| Titration {
                lot: row.lot.clone().or_else(|| stock.clone()),
                ..row.clone()
            })
            .collect();
        (!standards.is_empty()).then(|| CarriedLine {
            experiment: earlier.key.clone(),
            version: u32::try_from(revisions.len()).unwrap_or(u32::MAX),
            standards,
        })
    }

    /// The experiments that results of one rest on: itself, the one its titrant comes from, and so on.
    pub fn rests_on(&self, key: &ExperimentKey) -> Vec<&ExperimentKey> {
        let itself = self.experiment(key);
        let earlier = |experiment: &&Experiment| self.standardised_in(experiment);
        let all = std::iter::successors(itself, earlier);
        all.map(|experiment| &experiment.key).collect()
    }

    /// Who of an experiment is to be judged anew where the titrants of those slots of the earlier one may be others.
    pub(super) fn carried_by(&self, experiment: &Experiment, moved: &BTreeSet<Slot>) -> Vec<Slot> {
        let procedure = &experiment.procedure;
        let by = match (procedure.carried_over(), procedure.line_taken_over()) {
            (Some(carried), _) => carried.by,
            // samples that a bench shares are read on the line of who read them
            (None, Some(_)) => CarriedBy::Bench,
            (None, None) => return Vec::new(),
        };
        let key = &experiment.key;
        let students: BTreeSet<&str> = moved.iter().map(|slot| slot.student.as_str()).collect();
        let is_moved = |student: &&Student| students.contains(student.id.as_str());
        let group = |student: &Student| self.groups.get(&Slot::new(key, &student.id));
        let moved = || self.students.iter().filter(is_moved);
        let groups: BTreeSet<&String> = moved().filter_map(group).collect();
        let sections: BTreeSet<&SectionName> =
            moved().map(|student| self.works_in(key, student)).collect();
        let is_reached = |student: &&Student| match by {
            CarriedBy::Student => is_moved(student),
            CarriedBy::Bench => {
                is_moved(student) || group(student).is_some_and(|group| groups.contains(group))
            }
            CarriedBy::Section => sections.contains(self.works_in(key, student)),
        };
        let reached = self.students.iter().filter(is_reached);
        let slots = reached.map(|student| Slot::new(key, &student.id));
        slots
            .filter(|slot| self.handed_in_by(slot).is_some())
            .collect()
    }

    /// What a slot found, worked up by itself.
    pub(super) fn found_in(&self, slot: &Slot) -> Option<Found> {
        self.with_case(slot, |case| Found::of(&result_of(case)))?
    }

    /// The titrant that a student has from an earlier experiment; none where nobody has found its molarity.
    pub fn carried_titrant(&self, slot: &Slot) -> Option<CarriedTitrant> {
        let experiment = self.experiment(&slot.experiment)?;
        let found = |slot: &Slot| self.found_in(slot);
        Titrants::of(self, experiment, &found).of_student(self.student(&slot.student)?)
    }
}

/// What a judgement says was found.
pub(super) fn found_by(judged: Option<&Judged>) -> Option<Found> {
    Found::of(&judged?.evaluation)
}

impl<'a> Titrants<'a> {
    pub fn of(
        term: &'a Term,
        experiment: &'a Experiment,
        found: &'a (dyn Fn(&Slot) -> Option<Found> + Sync),
    ) -> Self {
        Self {
            term,
            experiment,
            earlier: term.standardised_in(experiment),
            found,
            pooled: Mutex::default(),
        }
    }

    pub fn of_student(&self, student: &Student) -> Option<CarriedTitrant> {
        let carried = self.experiment.procedure.carried_over()?;
        let (own, key) = (self.slot(&student.id)?, &self.experiment.key);
        let group = match carried.by {
            CarriedBy::Student => None,
            CarriedBy::Bench => self.term.groups.get(&Slot::new(key, &student.id)).cloned(),
            CarriedBy::Section => Some(self.term.works_in(key, student).to_string()),
        };
        let Some(group) = group else {
            let answered = self
                .term
                .hand_in_of(&own)
                .and_then(|hand_in| hand_in.reported.clone());
            let alone = self.pooled(&[own], None)?;
            return Some(CarriedTitrant {
                answered: answered.map(|answer| answer.value()),
                ..alone
            });
        };
        // whoever has a bottle pools what was found of that bottle
        let bottle = self.term.issued.get(&own).map(UnknownCode::to_string);
        let place = (group, bottle.clone().unwrap_or_default());
        let known = |place| {
            let known = self.pooled.lock().unwrap_or_else(PoisonError::into_inner);
            known.get(place).cloned()
        };
        if let Some(known) = known(&place) {
            return known;
        }
        let members: Vec<Slot> = match carried.by {
            CarriedBy::Section => {
                let here = |one: &&Student| *self.term.works_in(key, one) == place.0;
                let students = self.term.students.iter().filter(here);
                students.filter_map(|one| self.slot(&one.id)).collect()
            }
            CarriedBy::Student | CarriedBy::Bench => {
                let members = self.term.bench_group(key, &place.0);
                members
                    .filter_map(|member| self.slot(&member.student))
                    .collect()
            }
        };
        let titrant = self.pooled(&members, bottle.as_deref());
        let mut all = self.pooled.lock().unwrap_or_else(PoisonError::into_inner);
        all.insert(place, titrant.clone());
        titrant
    }

    fn slot(&self, student: &str) -> Option<Slot> {
        let student = self.term.student(student)?;
        Some(Slot::new(&self.earlier?.key, &student.id))
    }

    /// What slots of the earlier experiment found of one bottle; none where they found it of several.
    fn pooled(&self, slots: &[Slot], bottle: Option<&str>) -> Option<CarriedTitrant> {
        let earlier = self.earlier?;
        let mut readers: BTreeSet<&Slot> = BTreeSet::new();
        let (mut found, mut revisions) = (Vec::new(), 0_usize);
        for slot in slots {
            let Some((reader, handed_in)) = self.term.handed_in_by(slot) else {
                continue;
            };
            // readings that mates share are one result
            if !readers.insert(reader) {
                continue;
            }
            let one = (self.found)(slot);
            let one = one.filter(|one| bottle.is_none_or(|code| one.bottle == code));
            if let Some(one) = one {
                revisions = revisions.saturating_add(handed_in.len());
                found.push(one);
            }
        }
        let code = found.first()?.bottle.clone();
        if found.iter().any(|one| one.bottle != code) {
            return None;
        }
        let outcomes: Vec<&Outcome> = found.iter().map(|one| &one.outcome).collect();
        let species = self.experiment.procedure.titrant()?.species.to_string();
        let mut titrant = CarriedTitrant::of(&earlier.key, &species, &outcomes)?;
        titrant.lot.version = u32::try_from(revisions).unwrap_or(u32::MAX);
        let bottles = self.term.unknowns.get(&earlier.key);
        let bottle = bottles.and_then(|bottles| bottles.get(code.as_str()));
        // nobody has standardised wrongly for the prep room's fault
        let consensus = found.first().and_then(|one| one.consensus.as_ref());
        titrant.assigned = bottle.and_then(|bottle| match consensus {
            Some(consensus) => consensus.instead_of(*bottle.truth.open()).map(Sealed::new),
            None => Some(bottle.truth.clone()),
        });
        Some(titrant)
    }
}

//! The lots that count where nobody wrote one down.

use std::collections::{BTreeMap, HashMap};

use super::{Slot, Term};
use crate::chem::Formula;
use crate::course::{Experiment, Student};
use crate::ids::{LotCode, SectionName};
use crate::judge::DefaultLots;
use crate::submission::Titration;
use crate::truth::Lot;

impl Term {
    /// The lots that count in a section where a row names none: those the course assigned, else the only lot of the
    /// reagent, else the one most rows of the section name.
    pub fn default_lots(&self, experiment: &Experiment, section: &str) -> DefaultLots {
        let usual = UsualLots::of(self, experiment);
        let here = |s: &&Student| self.works_in(&experiment.key, s) == section;
        let written = if usual.is_asked() {
            self.rows_of(experiment, self.students.iter().filter(here))
        } else {
            Vec::new()
        };
        usual.of_section(section, &written)
    }

    /// The same of all sections, by what their students wrote.
    pub(super) fn default_lots_by_section(
        &self,
        experiment: &Experiment,
    ) -> HashMap<SectionName, DefaultLots> {
        let usual = UsualLots::of(self, experiment);
        let mut students: HashMap<&SectionName, Vec<&Student>> = HashMap::new();
        for student in &self.students {
            let section = self.works_in(&experiment.key, student);
            students.entry(section).or_default().push(student);
        }
        let lots = students.into_iter().map(|(section, students)| {
            let written = if usual.is_asked() {
                self.rows_of(experiment, students.into_iter())
            } else {
                Vec::new()
            };
            (section.clone(), usual.of_section(section, &written))
        });
        lots.collect()
    }

    /// Lots whose reagent is that species by its formula; a reagent named in words is of none.
    pub fn lots_of(&self, species: &Formula) -> Vec<&Lot> {
        let is_it =
            |lot: &&Lot| Formula::parse(&lot.reagent).is_ok_and(|formula| formula == *species);
        self.lots.values().filter(is_it).collect()
    }

    /// The rows that students handed in last.
    fn rows_of<'a>(
        &'a self,
        experiment: &Experiment,
        students: impl Iterator<Item = &'a Student>,
    ) -> Vec<&'a Titration> {
        let last = students.filter_map(|student| {
            let slot = Slot::new(&experiment.key, &student.id);
            self.submissions.get(&slot)?.last()
        });
        last.flat_map(|last| &last.hand_in.titrations).collect()
    }
}

/// What is known of the lots of an experiment before anybody looks at what a section wrote.
struct UsualLots<'a> {
    experiment: &'a Experiment,
    titrant: Usual,
    excess: Usual,
    /// The only lot of the course.
    only: Option<LotCode>,
}

/// The lot of a reagent that counts where none is written.
enum Usual {
    /// The reagent has no lots, or but one.
    Known(Option<LotCode>),
    /// It is the one that most rows name.
    Asked,
}

impl<'a> UsualLots<'a> {
    fn of(term: &Term, experiment: &'a Experiment) -> Self {
        let usual = |species: Option<&Formula>| {
            let Some(species) = species else {
                return Usual::Known(None);
            };
            let mut same = term.lots_of(species).into_iter();
            match (same.next(), same.next()) {
                (Some(only), None) => Usual::Known(Some(only.code.clone())),
                _ => Usual::Asked,
            }
        };
        let procedure = &experiment.procedure;
        let titrant = procedure.lot_reagent();
        let titrant = titrant.filter(|_| procedure.uses_titrant_lot());
        let only = term.lots.keys().next().filter(|_| term.lots.len() == 1);
        Self {
            experiment,
            titrant: usual(titrant.map(|(species, _)| species)),
            excess: usual(procedure.excess().map(|excess| &excess.species)),
            only: only.cloned(),
        }
    }

    fn is_asked(&self) -> bool {
        let asked = |usual: &Usual| matches!(usual, Usual::Asked);
        asked(&self.titrant) || asked(&self.excess)
    }

    fn of_section(&self, section: &str, written: &[&Titration]) -> DefaultLots {
        let assigned = self.experiment.section_lots.get(section);
        let titrant = assigned.and_then(|a| a.titrant.clone());
        let excess = assigned.and_then(|a| a.excess.clone());
        DefaultLots {
            assigned: titrant.is_some(),
            titrant: titrant
                .or_else(|| self.usual(&self.titrant, written.iter().map(|row| &row.lot))),
            excess: excess
                .or_else(|| self.usual(&self.excess, written.iter().map(|row| &row.excess_lot))),
        }
    }

    fn usual<'r>(
        &self,
        usual: &Usual,
        written: impl Iterator<Item = &'r Option<LotCode>>,
    ) -> Option<LotCode> {
        if let Usual::Known(lot) = usual {
            return lot.clone();
        }
        let mut counts: BTreeMap<&LotCode, usize> = BTreeMap::new();
        for code in written.flatten() {
            let count = counts.entry(code).or_insert(0);
            *count = count.saturating_add(1);
        }
        let most = counts
            .iter()
            .max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)))
            .map(|(code, _)| (*code).clone());
        most.or_else(|| self.only.clone())
    }
}

//! A term judged: what each submission depends on, gathered and evaluated.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Judged, Ruling, Slot, Status, Term, settlement};
use crate::chem::Formula;
use crate::course::{Experiment, Student};
use crate::ids::{LotCode, UnknownCode};
use crate::judge::{Case, DefaultLots, Evaluation, Likeness, evaluate};
use crate::submission::Titration;
use crate::truth::{Lot, Unknown};
use crate::workup::WorkUp;

impl Term {
    /// Judges everything handed in, in course and roster order.
    pub fn judge_all(&self) -> Vec<(Slot, Judged)> {
        use rayon::prelude::*;
        let sections = self.sections();
        let places: Vec<(&Experiment, &str)> = self
            .experiments
            .iter()
            .flat_map(|experiment| sections.iter().map(move |section| (experiment, *section)))
            .collect();
        let desks: BTreeMap<(&str, &str), Desk> = places
            .into_par_iter()
            .map(|(experiment, section)| {
                let desk = Desk::of(self, experiment, section);
                ((experiment.key.as_str(), section), desk)
            })
            .collect();
        let slots: Vec<(&Desk, &Student)> = self
            .experiments
            .iter()
            .flat_map(|experiment| {
                let desks = &desks;
                self.students.iter().filter_map(move |student| {
                    let desk = desks.get(&(
                        experiment.key.as_str(),
                        self.works_in(&experiment.key, student),
                    ))?;
                    Some((desk, student))
                })
            })
            .collect();
        slots
            .into_par_iter()
            .filter_map(|(desk, student)| {
                let slot = Slot::new(&desk.experiment.key, &student.id);
                let judged = self.judge_with(desk, &slot, student)?;
                Some((slot, judged))
            })
            .collect()
    }

    /// Judges some submissions; slots with nothing handed in are left out.
    pub fn judge_some(&self, slots: impl IntoIterator<Item = Slot>) -> Vec<(Slot, Judged)> {
        let mut desks: BTreeMap<(&str, &str), Desk> = BTreeMap::new();
        let students: BTreeMap<&str, &Student> = self
            .students
            .iter()
            .map(|student| (student.id.as_str(), student))
            .collect();
        let mut judged = Vec::new();
        for slot in slots {
            let (Some(experiment), Some(student)) = (
                self.experiment(&slot.experiment),
                students.get(slot.student.as_str()),
            ) else {
                continue;
            };
            let section = self.works_in(&experiment.key, student);
            let desk = desks
                .entry((experiment.key.as_str(), section))
                .or_insert_with(|| Desk::of(self, experiment, section));
            if let Some(one) = self.judge_with(desk, &slot, student) {
                judged.push((slot, one));
            }
        }
        judged
    }

    /// Judges one submission; none if nothing was handed in.
    pub fn judge(&self, slot: &Slot) -> Option<Judged> {
        let student = self.student(&slot.student)?;
        let desk = Desk::of(
            self,
            self.experiment(&slot.experiment)?,
            self.works_in(&slot.experiment, student),
        );
        self.judge_with(&desk, slot, student)
    }

    /// Calls `use_case` with everything the judgement of a slot depends on; none if nothing was handed in.
    pub fn with_case<T>(&self, slot: &Slot, use_case: impl FnOnce(&Case) -> T) -> Option<T> {
        let student = self.student(&slot.student)?;
        let desk = Desk::of(
            self,
            self.experiment(&slot.experiment)?,
            self.works_in(&slot.experiment, student),
        );
        self.case(&desk, slot, student, use_case)
    }

    /// A submission worked up with these lots in place of the course's; none if nothing was handed in.
    pub(super) fn worked_up_with(
        &self,
        experiment: &Experiment,
        slot: &Slot,
        (default_lots, lots): (&DefaultLots, &BTreeMap<LotCode, Lot>),
    ) -> Option<WorkUp> {
        // what others handed in and when it is due has no part in it
        let desk = Desk {
            experiment,
            unknowns: self.unknowns_of(experiment),
            due: None,
            lots: default_lots.clone(),
            alike: BTreeMap::new(),
        };
        let work_up = |case: &Case| Case { lots, ..*case }.work_up();
        self.case(&desk, slot, self.student(&slot.student)?, work_up)
    }

    fn unknowns_of(&self, experiment: &Experiment) -> &BTreeMap<UnknownCode, Unknown> {
        static NONE: BTreeMap<UnknownCode, Unknown> = BTreeMap::new();
        self.unknowns.get(&experiment.key).unwrap_or(&NONE)
    }

    fn judge_with(&self, desk: &Desk, slot: &Slot, student: &Student) -> Option<Judged> {
        let evaluation = self.case(desk, slot, student, evaluate)?;
        let status = self.status(slot, &evaluation);
        Some(Judged { evaluation, status })
    }

    fn case<T>(
        &self,
        desk: &Desk,
        slot: &Slot,
        student: &Student,
        use_case: impl FnOnce(&Case) -> T,
    ) -> Option<T> {
        let (handed_in, revisions) = self.handed_in_by(slot)?;
        let revision = revisions.last()?;
        let number = u32::try_from(revisions.len()).unwrap_or(u32::MAX);
        let hand_in = self.hand_in_of(slot)?;
        let settlement = settlement(self.decisions.get(slot).map_or(&[], Vec::as_slice), number);
        Some(use_case(&Case {
            procedure: &desk.experiment.procedure,
            hand_in: &hand_in,
            revision: number,
            lots: &self.lots,
            default_lots: &desk.lots,
            unknowns: desk.unknowns,
            issued: self
                .bottle_of(slot, &hand_in)
                .or_else(|| self.bottle_of(handed_in, &hand_in)),
            submitted_at: revision.submitted_at,
            due: self.due_of(desk, student),
            by_hand: self.by_hand.get(slot).copied(),
            settlement: &settlement,
            likenesses: desk
                .alike
                .get(slot.student.as_str())
                .map_or(&[], Vec::as_slice),
        }))
    }

    /// When it is due for a student, who may have been given longer than the section.
    fn due_of(&self, desk: &Desk, student: &Student) -> Option<Timestamp> {
        if self.extensions.is_empty() {
            return desk.due;
        }
        let dates = self.dates_of(desk.experiment, student);
        self.course.zone.instant(dates.due)
    }

    fn status(&self, slot: &Slot, evaluation: &Evaluation) -> Status {
        let decisions = self.decisions.get(slot).map_or(&[][..], Vec::as_slice);
        let revisions = self
            .handed_in_by(slot)
            .map_or(0, |(_, revisions)| revisions.len());
        let current = super::standing(decisions)
            .pop()
            .filter(|d| d.revision as usize >= revisions);
        if self.unanswered(slot).is_some() {
            return Status::ToReview;
        }
        match current.map(|d| &d.ruling) {
            Some(Ruling::Return) => Status::Returned,
            Some(_) => Status::Settled,
            None if evaluation.flags.iter().any(|flag| flag.code.needs_review()) => {
                Status::ToReview
            }
            None => Status::Clear,
        }
    }
}

/// What all submissions of one section in one experiment share.
struct Desk<'a> {
    experiment: &'a Experiment,
    unknowns: &'a BTreeMap<UnknownCode, Unknown>,
    due: Option<Timestamp>,
    lots: DefaultLots,
    /// By student.
    alike: BTreeMap<String, Vec<Likeness>>,
}

impl<'a> Desk<'a> {
    fn of(term: &'a Term, experiment: &'a Experiment, section: &'a str) -> Self {
        Self {
            experiment,
            unknowns: term.unknowns_of(experiment),
            due: term.course.zone.instant(experiment.dates_in(section).due),
            lots: term.default_lots(experiment, section),
            alike: term.likenesses(experiment, section),
        }
    }
}

impl Term {
    /// The lots that count in a section where a row names none: those the course assigned, else the only lot of the
    /// reagent, else the one most rows of the section name.
    pub fn default_lots(&self, experiment: &Experiment, section: &str) -> DefaultLots {
        let assigned = experiment.section_lots.get(section);
        let procedure = &experiment.procedure;
        let titrant = assigned.and_then(|a| a.titrant.clone());
        let excess = assigned.and_then(|a| a.excess.clone());
        DefaultLots {
            assigned: titrant.is_some(),
            titrant: titrant.or_else(|| {
                let (species, _) = procedure.lot_reagent()?;
                self.usual_lot(experiment, section, species, |t| &t.lot)
            }),
            excess: excess.or_else(|| {
                let species = &procedure.excess()?.species;
                self.usual_lot(experiment, section, species, |t| &t.excess_lot)
            }),
        }
    }

    /// Lots whose reagent is that species by its formula; a reagent named in words is of none.
    pub fn lots_of(&self, species: &Formula) -> Vec<&Lot> {
        let is_it =
            |lot: &&Lot| Formula::parse(&lot.reagent).is_ok_and(|formula| formula == *species);
        self.lots.values().filter(is_it).collect()
    }

    fn usual_lot(
        &self,
        experiment: &Experiment,
        section: &str,
        species: &Formula,
        written: impl Fn(&Titration) -> &Option<LotCode>,
    ) -> Option<LotCode> {
        let mut same = self.lots_of(species).into_iter();
        if let (Some(only), None) = (same.next(), same.next()) {
            return Some(only.code.clone());
        }
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let here = |s: &&Student| self.works_in(&experiment.key, s) == section;
        for student in self.students.iter().filter(here) {
            let revisions = self
                .submissions
                .get(&Slot::new(&experiment.key, &student.id));
            let rows = revisions
                .and_then(|r| r.last())
                .into_iter()
                .flat_map(|r| &r.hand_in.titrations);
            for code in rows.filter_map(|t| written(t).as_deref()) {
                let count = counts.entry(code).or_insert(0);
                *count = count.saturating_add(1);
            }
        }
        let usual = counts
            .iter()
            .max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)))
            .map(|(code, _)| LotCode::new(*code));
        usual.or_else(|| {
            (self.lots.len() == 1)
                .then(|| self.lots.keys().next().cloned())
                .flatten()
        })
    }
}

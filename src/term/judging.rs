//! A term judged: what each submission depends on, gathered and evaluated.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::Timestamp;

use super::class_evidence::TermSoFar;
use super::{Judged, Ruling, Slot, Status, Term, settlement};
use crate::chem::Formula;
use crate::course::{Experiment, Student};
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::judge::{Case, ClassEvidence, DefaultLots, Evaluation, Settlement, evaluate, result_of};
use crate::submission::Titration;
use crate::truth::{Lot, Unknown};
use crate::workup::WorkUp;

impl Term {
    /// Judges everything handed in, in course and roster order.
    pub fn judge_all(&self) -> Vec<(Slot, Judged)> {
        let slots = || {
            let experiments = self.experiments.iter();
            experiments.flat_map(|e| self.students.iter().map(|s| Slot::new(&e.key, &s.id)))
        };
        let mut fresh = self.judge_again(&BTreeMap::new(), slots());
        let judged = slots().filter_map(|slot| {
            let judged = fresh.remove(&slot)??;
            Some((slot, judged))
        });
        judged.collect()
    }

    /// Judges these slots anew, and every other that its class or the student's term shows otherwise because of them.
    /// `held` are the judgements as they stand; none where nothing is left to judge.
    pub fn judge_again(
        &self,
        held: &BTreeMap<Slot, Judged>,
        slots: impl IntoIterator<Item = Slot>,
    ) -> BTreeMap<Slot, Option<Judged>> {
        let mut by_experiment: BTreeMap<ExperimentKey, Vec<Slot>> = BTreeMap::new();
        for slot in slots {
            let known = by_experiment.entry(slot.experiment.clone());
            known.or_default().push(slot);
        }
        let mut so_far = TermSoFar::default();
        let mut all = BTreeMap::new();
        for experiment in &self.experiments {
            let own = by_experiment.remove(&experiment.key).unwrap_or_default();
            // habits are of the term so far: what changes in an experiment is seen in those after it
            let is_reached = !own.is_empty() || !all.is_empty();
            let held: BTreeMap<&Slot, &Judged> = held
                .iter()
                .filter(|(slot, _)| slot.experiment == experiment.key)
                .collect();
            let fresh = self.judge_in(experiment, held, &own, is_reached, &mut so_far);
            all.extend(fresh);
        }
        all
    }

    /// Judges one submission beside its class; none if nothing was handed in.
    pub fn judge(&self, slot: &Slot) -> Option<Judged> {
        let all = self.judge_all().into_iter();
        all.into_iter()
            .find(|(judged, _)| judged == slot)
            .map(|(_, judged)| judged)
    }

    /// Calls `use_case` with everything the work-up of a slot depends on; none if nothing was handed in.
    pub fn with_case<T>(&self, slot: &Slot, use_case: impl FnOnce(&Case) -> T) -> Option<T> {
        let student = self.student(&slot.student)?;
        let desk = Desk::of(
            self,
            self.experiment(&slot.experiment)?,
            self.works_in(&slot.experiment, student),
        );
        self.case(&desk, slot, student, ClassEvidence::ALONE, use_case)
    }

    /// Judges slots of one experiment in two turns: results first, since the class is made of them.
    fn judge_in<'a>(
        &'a self,
        experiment: &'a Experiment,
        held: BTreeMap<&Slot, &Judged>,
        slots: &[Slot],
        is_reached: bool,
        so_far: &mut TermSoFar<'a>,
    ) -> BTreeMap<Slot, Option<Judged>> {
        use rayon::prelude::*;
        if !is_reached {
            so_far.add(experiment, &held);
            return BTreeMap::new();
        }
        let people: HashMap<&str, &Student> =
            self.students.iter().map(|s| (s.id.as_str(), s)).collect();
        let sections: BTreeSet<&str> = self
            .students
            .iter()
            .map(|student| self.works_in(&experiment.key, student).as_str())
            .collect();
        let desks: HashMap<&str, Desk> = sections
            .into_iter()
            .map(|section| (section, Desk::of(self, experiment, section)))
            .collect();
        let at = |slot: &Slot| {
            let student = *people.get(slot.student.as_str())?;
            let desk = desks.get(self.works_in(&experiment.key, student).as_str())?;
            Some((desk, student))
        };
        let results: Vec<(&Slot, Option<Judged>)> = slots
            .par_iter()
            .map(|slot| {
                let result = at(slot).and_then(|(desk, student)| {
                    let evaluation =
                        self.case(desk, slot, student, ClassEvidence::ALONE, result_of)?;
                    let status = Status::Clear;
                    Some(Judged { evaluation, status })
                });
                (slot, result)
            })
            .collect();
        let mut known = held.clone();
        for (slot, result) in &results {
            match result {
                Some(result) => known.insert(slot, result),
                None => known.remove(*slot),
            };
        }
        so_far.add(experiment, &known);
        let mut class = self.class_evidence(experiment, &known, so_far);
        let others = known.keys().copied().filter(|slot| {
            let judged = held.get(*slot).map(|judged| &judged.evaluation.class);
            judged.is_some_and(|before| class.get(*slot) != Some(before))
        });
        let again: BTreeSet<&Slot> = slots.iter().chain(others).collect();
        let cases: Vec<(&Slot, ClassEvidence)> = again
            .into_iter()
            .map(|slot| (slot, class.remove(slot).unwrap_or_default()))
            .collect();
        let judged = cases.into_par_iter().map(|(slot, class)| {
            let judged = at(slot).and_then(|(desk, student)| {
                let evaluation = self.case(desk, slot, student, &class, evaluate)?;
                let status = self.status(slot, &evaluation);
                Some(Judged { evaluation, status })
            });
            (slot.clone(), judged)
        });
        judged.collect::<Vec<_>>().into_iter().collect()
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
        };
        let work_up = |case: &Case| Case { lots, ..*case }.work_up();
        self.case(
            &desk,
            slot,
            self.student(&slot.student)?,
            ClassEvidence::ALONE,
            work_up,
        )
    }

    fn unknowns_of(&self, experiment: &Experiment) -> &BTreeMap<UnknownCode, Unknown> {
        static NONE: BTreeMap<UnknownCode, Unknown> = BTreeMap::new();
        self.unknowns.get(&experiment.key).unwrap_or(&NONE)
    }

    fn case<T>(
        &self,
        desk: &Desk,
        slot: &Slot,
        student: &Student,
        class: &ClassEvidence,
        use_case: impl FnOnce(&Case) -> T,
    ) -> Option<T> {
        let (handed_in, revisions) = self.handed_in_by(slot)?;
        let revision = revisions.last()?;
        let number = u32::try_from(revisions.len()).unwrap_or(u32::MAX);
        let hand_in = self.hand_in_of(slot)?;
        let decisions = self.decisions.get(slot).map_or(&[][..], Vec::as_slice);
        let unread = self.set_aside.get(handed_in).into_iter().flatten();
        let settlement = Settlement {
            set_aside: unread.map(|row| row.flagged(revisions)).collect(),
            ..settlement(decisions, number)
        };
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
            class,
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
            None if evaluation.flags.iter().any(|flag| flag.review) => Status::ToReview,
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
}

impl<'a> Desk<'a> {
    fn of(term: &'a Term, experiment: &'a Experiment, section: &'a str) -> Self {
        Self {
            experiment,
            unknowns: term.unknowns_of(experiment),
            due: term.course.zone.instant(experiment.dates_in(section).due),
            lots: term.default_lots(experiment, section),
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

//! A term judged: what each submission depends on, gathered and evaluated.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::Timestamp;

use super::book::{ClassBook, Touched};
use super::carried::{Titrants, found_by};
use super::gather::{Gather, Where};
use super::{BySlot, Judged, Ruling, Slot, Status, Term, settlement};
use crate::changes::{Reach, Within};
use crate::course::{Experiment, Student};
use crate::ids::{ExperimentKey, LotCode, SectionName, StudentId, UnknownCode};
use crate::judge::{Case, ClassEvidence, DefaultLots, Evaluation, Settlement, evaluate, result_of};
use crate::truth::{Lot, Unknown};
use crate::workup::WorkUp;

impl Term {
    /// Judges everything handed in, in course and roster order.
    pub fn judge_all(&self) -> Vec<(Slot, Judged)> {
        let mut book = ClassBook::default();
        let mut fresh = self.judge_reached(&BySlot::new(), &mut book, &[Reach::All]);
        let judged = self.slots().filter_map(|slot| {
            let judged = fresh.remove(&slot)??;
            Some((slot, judged))
        });
        judged.collect()
    }

    /// Judges one submission beside its class; none if nothing was handed in.
    pub fn judge(&self, slot: &Slot) -> Option<Judged> {
        let all = self.judge_all().into_iter();
        all.into_iter()
            .find(|(judged, _)| judged == slot)
            .map(|(_, judged)| judged)
    }

    /// Judges anew what changes reach, and every other submission that its class or the student's term shows otherwise
    /// because of them. `held` are the judgements as they stand, `book` what the classes show, which follows; none where
    /// nothing is left to judge.
    pub fn judge_reached(
        &self,
        held: &BySlot<Judged>,
        book: &mut ClassBook,
        reaches: &[Reach],
    ) -> BTreeMap<Slot, Option<Judged>> {
        book.follow(self);
        let mut reached = self.within_reach(reaches);
        let everywhere = reaches.contains(&Reach::All);
        // habits are of the term so far: what changes in an experiment is seen in those after it
        let mut touched = Touched::none();
        let mut all = BTreeMap::new();
        // who may have found something else, by experiment: titrants are carried over from earlier to later ones
        let mut moved: HashMap<&ExperimentKey, BTreeSet<Slot>> = HashMap::new();
        for experiment in &self.experiments {
            let at = Where {
                term: self,
                experiment,
            };
            let mut within = reached.remove(&experiment.key);
            let earlier = self.standardised_in(experiment);
            if let Some(moved) = earlier.and_then(|earlier| moved.get(&earlier.key)) {
                let slots = self.carried_by(experiment, moved);
                if !slots.is_empty() {
                    within.get_or_insert_default().slots.extend(slots);
                }
            }
            let found = |slot: &Slot| {
                let fresh: Option<&Option<Judged>> = all.get(slot);
                found_by(fresh.map_or_else(|| held.get(slot), Option::as_ref))
            };
            let turn = Turn {
                at,
                held,
                titrants: &Titrants::of(self, experiment, &found),
            };
            let fresh = turn.judge(book, within, &mut touched);
            moved.insert(&experiment.key, fresh.keys().cloned().collect());
            all.extend(fresh);
            if everywhere {
                // of a course that is judged whole nothing more is asked for now
                book.close(&experiment.key);
            }
        }
        all
    }

    /// Calls `use_case` with everything the work-up of a slot depends on; none if nothing was handed in.
    pub fn with_case<T>(&self, slot: &Slot, use_case: impl FnOnce(&Case) -> T) -> Option<T> {
        let student = self.student(&slot.student)?;
        let experiment = self.experiment(&slot.experiment)?;
        let section = self.works_in(&slot.experiment, student);
        let found = |slot: &Slot| self.found_in(slot);
        let desk = Desk {
            experiment,
            titrants: &Titrants::of(self, experiment, &found),
            unknowns: self.unknowns_of(experiment),
            due: self.course.zone.instant(experiment.dates_in(section).due),
            lots: self.default_lots(experiment, section),
        };
        self.case(&desk, slot, student, ClassEvidence::ALONE, use_case)
    }

    /// A submission worked up with these lots in place of the course's; none if nothing was handed in.
    pub(super) fn worked_up_with(
        &self,
        experiment: &Experiment,
        (slot, student): (&Slot, &Student),
        (default_lots, lots): (&DefaultLots, &BTreeMap<LotCode, Lot>),
    ) -> Option<WorkUp> {
        // what others handed in and when it is due has no part in it
        let found = |slot: &Slot| self.found_in(slot);
        let desk = Desk {
            experiment,
            titrants: &Titrants::of(self, experiment, &found),
            unknowns: self.unknowns_of(experiment),
            due: None,
            lots: default_lots.clone(),
        };
        let work_up = |case: &Case| Case { lots, ..*case }.work_up();
        self.case(&desk, slot, student, ClassEvidence::ALONE, work_up)
    }

    fn unknowns_of(&self, experiment: &Experiment) -> &BTreeMap<UnknownCode, Unknown> {
        static NONE: BTreeMap<UnknownCode, Unknown> = BTreeMap::new();
        let own = self.unknowns.get(&experiment.key);
        own.map_or(&NONE, |own| own)
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
        let carried = desk.titrants.of_student(student);
        let line = self.carried_line(slot);
        Some(use_case(&Case {
            procedure: &desk.experiment.procedure,
            hand_in: &hand_in,
            revision: number,
            lots: &self.lots,
            default_lots: &desk.lots,
            carried: carried.as_ref(),
            line: line.as_ref(),
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

/// One experiment being judged, with its judgements as they stand.
struct Turn<'a> {
    at: Where<'a>,
    held: &'a BySlot<Judged>,
    titrants: &'a Titrants<'a>,
}

impl<'a> Turn<'a> {
    /// Judgements of the experiment as they stand.
    fn held(&self) -> impl Iterator<Item = (&'a Slot, &'a Judged)> + use<'a> {
        self.held.of_experiment(&self.at.experiment.key)
    }

    /// Those of some students, so that what touches few asks for few.
    fn held_of(&self, students: &[&Touched]) -> Vec<(&'a Slot, &'a Judged)> {
        let some = students.iter().map(|touched| match touched {
            Touched::Some(students) => Some(students),
            Touched::All => None,
        });
        let Some(some) = some.collect::<Option<Vec<_>>>() else {
            return self.held().collect();
        };
        let some: BTreeSet<&StudentId> = some.into_iter().flatten().collect();
        let slots = some
            .into_iter()
            .map(|student| Slot::new(&self.at.experiment.key, student));
        slots
            .filter_map(|slot| self.held.get_key_value(&slot))
            .collect()
    }

    /// Judges in two steps: results first, since the class is made of them.
    fn judge(
        &self,
        book: &mut ClassBook,
        within: Option<Within>,
        touched: &mut Touched,
    ) -> BTreeMap<Slot, Option<Judged>> {
        let at = self.at;
        let key = &at.experiment.key;
        let Some(Within {
            slots,
            class: rearranged,
        }) = within
        else {
            if !book.has_shares(key) {
                let held = self.held().map(|(slot, one)| (slot, Some(one)));
                // nobody's habits are others because a book is opened
                book.share(key, true, held, &mut Touched::none());
            }
            return self.habits_alone(book, touched);
        };
        let anew = rearranged || !book.has_class(key);
        let gather = if anew {
            Gather::of(at)
        } else {
            Gather::default()
        };
        let sections: BTreeSet<&SectionName> = slots
            .iter()
            .filter_map(|slot| Some(at.section(at.place(&slot.student)?.1)))
            .collect();
        let lots = |section: &str| {
            if anew {
                gather.default_lots(section)
            } else {
                book.default_lots(key, section)
            }
        };
        if !anew {
            // what most rows of a section name is another lot now: that holds for all of it
            let moved = |section: &&&SectionName| {
                at.term.default_lots(at.experiment, section) != book.default_lots(key, section)
            };
            let moved: BTreeSet<&SectionName> = sections.iter().filter(moved).copied().collect();
            if !moved.is_empty() {
                let of_them = |student: &&Student| moved.contains(at.section(student));
                let students = at.term.students.iter().filter(of_them);
                let beside = students.map(|student| Slot::new(key, &student.id));
                let within = Within {
                    slots: slots.into_iter().chain(beside).collect(),
                    class: true,
                };
                return self.judge(book, Some(within), touched);
            }
        }
        let desks: HashMap<&str, Desk> = sections
            .into_iter()
            .map(|section| (section.as_str(), Desk::of(self, section, lots(section))))
            .collect();
        let results = each(&slots, |slot| {
            let evaluation = self.with(&desks, slot, ClassEvidence::ALONE, result_of)?;
            let status = Status::Clear;
            Some(Judged::of(evaluation, status))
        });
        let fresh: BTreeMap<&Slot, Option<&Judged>> = slots
            .iter()
            .zip(&results)
            .map(|(slot, result)| (slot, result.as_ref()))
            .collect();
        let known = || {
            let others = self.held().filter(|(slot, _)| !fresh.contains_key(slot));
            let fresh = fresh
                .iter()
                .filter_map(|(slot, one)| Some((*slot, (*one)?)));
            others.chain(fresh)
        };
        let changed = if anew {
            book.fill(at, gather, &known().collect());
            let all = known().map(|(slot, one)| (slot, Some(one)));
            book.share(key, true, all, touched);
            Touched::All
        } else {
            let changed = book.put(at, &fresh);
            let fresh = fresh.iter().map(|(slot, one)| (*slot, *one));
            book.share(key, false, fresh, touched);
            changed
        };
        let asked = self.held_of(&[&changed, touched]).into_iter();
        let beside = asked.filter(|(slot, before)| {
            !slots.contains(*slot) && before.evaluation.class != book.evidence(at, slot)
        });
        let beside: BTreeSet<Slot> = beside.map(|(slot, _)| slot.clone()).collect();
        // of a large class they are as much as its judgements
        drop(fresh);
        drop(results);
        let mut judged = self.evaluated(book, &slots);
        judged.extend(self.evaluated(book, &beside));
        judged
    }

    /// Judges those whose habits look otherwise; nothing else of the class has changed.
    fn habits_alone(&self, book: &ClassBook, touched: &Touched) -> BTreeMap<Slot, Option<Judged>> {
        let at = self.at;
        let asked = self.held_of(&[touched]).into_iter();
        let others = asked.filter_map(|(slot, before)| {
            let class = ClassEvidence {
                habits: book.habits(at, &slot.student),
                ..before.evaluation.class.clone()
            };
            (class != before.evaluation.class).then(|| (slot.clone(), class))
        });
        self.evaluated_beside(book, others.collect())
    }

    fn evaluated(
        &self,
        book: &ClassBook,
        slots: &BTreeSet<Slot>,
    ) -> BTreeMap<Slot, Option<Judged>> {
        let cases = slots.iter().map(|slot| {
            let there = self.at.term.handed_in_by(slot).is_some();
            let class = there.then(|| book.evidence(self.at, slot));
            (slot.clone(), class.unwrap_or_default())
        });
        self.evaluated_beside(book, cases.collect())
    }

    fn evaluated_beside(
        &self,
        book: &ClassBook,
        cases: Vec<(Slot, ClassEvidence)>,
    ) -> BTreeMap<Slot, Option<Judged>> {
        let at = self.at;
        let sections = cases.iter().filter_map(|(slot, _)| {
            let (_, student) = at.place(&slot.student)?;
            Some(at.section(student))
        });
        let sections: BTreeSet<&SectionName> = sections.collect();
        let key = &at.experiment.key;
        let mut unfilled = if cases.is_empty() || book.has_class(key) {
            HashMap::new()
        } else {
            at.term.default_lots_by_section(at.experiment)
        };
        let desks: HashMap<&str, Desk> = sections
            .into_iter()
            .map(|section| {
                let lots = unfilled.remove(section);
                let lots = lots.unwrap_or_else(|| book.default_lots(key, section));
                (section.as_str(), Desk::of(self, section, lots))
            })
            .collect();
        let judged = each(&cases, |(slot, class)| {
            let evaluation = self.with(&desks, slot, class, evaluate)?;
            let status = at.term.status(slot, &evaluation);
            Some(Judged::of(evaluation, status))
        });
        let slots = cases.into_iter().map(|(slot, _)| slot);
        slots.zip(judged).collect()
    }

    fn with<T>(
        &self,
        desks: &HashMap<&str, Desk>,
        slot: &Slot,
        class: &ClassEvidence,
        use_case: impl FnOnce(&Case) -> T,
    ) -> Option<T> {
        let (_, student) = self.at.place(&slot.student)?;
        let desk = desks.get(self.at.section(student).as_str())?;
        self.at.term.case(desk, slot, student, class, use_case)
    }
}

/// What comes of each, in order; of many, on all cores.
fn each<I, T: Send>(
    all: impl IntoIterator<Item = I, IntoIter: ExactSizeIterator>,
    work: impl Fn(I) -> T + Sync + Send,
) -> Vec<T>
where
    I: Send,
{
    use rayon::prelude::*;
    const FEW: usize = 16;
    let all = all.into_iter();
    if all.len() <= FEW {
        return all.map(work).collect();
    }
    all.collect::<Vec<I>>().into_par_iter().map(work).collect()
}

/// What all submissions of one section in one experiment share.
struct Desk<'a> {
    experiment: &'a Experiment,
    titrants: &'a Titrants<'a>,
    unknowns: &'a BTreeMap<UnknownCode, Unknown>,
    due: Option<Timestamp>,
    lots: DefaultLots,
}

impl<'a> Desk<'a> {
    fn of(turn: &Turn<'a>, section: &str, lots: DefaultLots) -> Self {
        let at = turn.at;
        Self {
            titrants: turn.titrants,
            experiment: at.experiment,
            unknowns: at.term.unknowns_of(at.experiment),
            due: at
                .term
                .course
                .zone
                .instant(at.experiment.dates_in(section).due),
            lots,
        }
    }
}

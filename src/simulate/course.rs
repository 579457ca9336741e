//! Invents a course with a seed: people, lots, unknowns, and hand-ins with the usual slips.
//!
//! The demo course and the courses of load tests are made here. Everything and everybody in them is made up.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use super::arithmetic::Notebook;
use super::copying::{Copying, copied};
use super::hands::{Hands, Population};
use super::mistakes::Mistake;
use super::people::people;
use super::supplies::{Order, Place, Supplies, Wrong};
use crate::course::{Course, Experiment, Student};
use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::judge::{AuditKind, Case};
use crate::measure::{GlasswareTable, to_decimals, to_figures};
use crate::procedure::{Dates, Procedure};
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::term::{Decision, ExperimentSource, Revision, Ruling, Slot, Status, Term};
use crate::truth::{Assigned, Bottle, Lot, Sealed, ShelfLife};

#[derive(Clone, Debug)]
pub struct Plan {
    pub course: Course,
    /// Names of the sections.
    pub sections: Vec<SectionName>,
    pub students_per_section: usize,
    /// In course order.
    pub experiments: Vec<PlannedExperiment>,
    /// The same seed invents the same course.
    pub seed: u64,
}

/// An experiment to invent hand-ins for.
#[derive(Clone, Debug)]
pub struct PlannedExperiment {
    pub key: ExperimentKey,
    /// The procedure's own key, its text and itself.
    pub procedure: (String, String, Procedure),
    /// When it opens and is due.
    pub dates: Dates,
    /// Codes of unknowns start with this.
    pub prefix: String,
    pub unknowns: usize,
    /// How many students have not handed in.
    pub missing: usize,
    /// It is still open three days before it is due: nobody is late, and nobody hands in after that.
    pub open: bool,
    /// A bottle, by its number from 0, that holds so many percent more than it is assigned.
    pub bad_bottle: Option<(usize, f64)>,
    /// For each of these one student copies, in that way, from one of the section who has the same bottle.
    pub copying: Vec<Copying>,
}

/// None where one of its procedures cannot be carried out.
pub fn invent(plan: &Plan, glassware: GlasswareTable) -> Option<Term> {
    let mut rng = ChaCha20Rng::seed_from_u64(plan.seed);
    let mut term = Term::new(plan.course.clone(), glassware);
    people(plan, &mut term, &mut rng);
    let mut shelves = BTreeMap::new();
    for planned in &plan.experiments {
        let supplies = Invention {
            planned,
            rng: &mut rng,
            term: &mut term,
            shelves: &shelves,
        }
        .run()?;
        shelves.insert(planned.key.clone(), supplies);
    }
    settle_first(&mut term);
    Some(term)
}

/// The first experiment is over: its assistants have settled what was flagged, and its results are out.
fn settle_first(term: &mut Term) {
    let first = term
        .experiments
        .first()
        .map(|e| (e.key.clone(), e.dates.due));
    let Some((key, due)) = first else { return };
    let Some(due) = term.course.zone.instant(due) else {
        return;
    };
    let days = |n: i64| {
        due.saturating_add(SignedDuration::from_hours(24 * n))
            .unwrap_or(due)
    };
    let waiting: Vec<Slot> = term
        .judge_all()
        .into_iter()
        .filter(|(slot, judged)| slot.experiment == key && judged.status == Status::ToReview)
        .map(|(slot, _)| slot)
        .collect();
    for slot in waiting {
        let section = term.student(&slot.student).map(|s| s.section.clone());
        let assistant = term
            .staff
            .iter()
            .find(|s| section.as_ref().is_some_and(|one| s.sections.contains(one)));
        let by = assistant.map(|s| s.login.clone()).unwrap_or_default();
        let reason = "looked at the notebook: the readings are as written".to_owned();
        let revision = u32::try_from(term.submissions.get(&slot).map_or(0, Vec::len)).unwrap_or(1);
        let decision = Decision {
            ruling: Ruling::Accept,
            revision,
            reason,
            by,
            at: days(5),
        };
        term.decisions.push(&slot, decision);
    }
    term.set_release(&key, None, Some(days(7)));
}

struct Invention<'a> {
    planned: &'a PlannedExperiment,
    rng: &'a mut ChaCha20Rng,
    term: &'a mut Term,
    /// What stood on the shelves of the experiments before.
    shelves: &'a BTreeMap<ExperimentKey, Supplies>,
}

/// What one student does besides titrating.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Conduct {
    Usual,
    Wrong(Mistake),
    Careless,
    WrongDecimals,
    TooFewTrials,
    Late,
    Corrected,
    NoAnswer,
}

/// How often each of them is met (common practice).
const CONDUCT: [(Conduct, f64); 11] = [
    (Conduct::Wrong(Mistake::WholeMillilitre), 0.03),
    (Conduct::Wrong(Mistake::OtherUnknown), 0.02),
    (Conduct::Wrong(Mistake::RatioInverted), 0.02),
    (Conduct::Wrong(Mistake::UnitSlip), 0.02),
    (Conduct::Wrong(Mistake::NominalMolarity), 0.02),
    (Conduct::Careless, 0.03),
    (Conduct::WrongDecimals, 0.06),
    (Conduct::TooFewTrials, 0.03),
    (Conduct::Late, 0.05),
    (Conduct::Corrected, 0.03),
    (Conduct::NoAnswer, 0.02),
];

impl Invention<'_> {
    fn run(mut self) -> Option<Supplies> {
        let planned = self.planned;
        let (key, text, procedure) = &planned.procedure;
        let sources = &mut self.term.sources;
        sources.procedures.insert(key.clone(), text.clone());
        let source = ExperimentSource {
            procedure: key.clone(),
            ..ExperimentSource::default()
        };
        sources.experiments.insert(planned.key.clone(), source);
        self.term.experiments.push(Experiment {
            key: planned.key.clone(),
            procedure: procedure.clone(),
            dates: planned.dates,
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
        });
        let supplies = self.supplies(procedure)?;
        let students: Vec<Student> = self.term.students.to_vec();
        let mut last = usize::MAX;
        for (place, student) in students.iter().enumerate() {
            let mut bottle = self.rng.random_range(0..planned.unknowns);
            if bottle == last {
                bottle = next(bottle, planned.unknowns)?;
            }
            last = bottle;
            let slot = Slot::new(&planned.key, &student.id);
            let code = UnknownCode::new(supplies.code(AuditKind::Unknown, bottle)?);
            self.term.issued.insert(slot.clone(), code);
            // those who have not handed in are spread over the roster
            let every = students.len().checked_div(planned.missing);
            let every = every.unwrap_or(usize::MAX).max(1);
            let absent = place.checked_rem(every)? == every.checked_div(2)?
                && place.checked_div(every)? < planned.missing;
            if !absent {
                let own = self.with_own_titrant(&slot, &supplies);
                self.student(procedure, slot, own.as_ref().unwrap_or(&supplies), bottle)?;
            }
        }
        self.copies(procedure, &students);
        Some(supplies)
    }

    /// Lots a little off their labels, and unknowns whose titres lie between 40 and 70 % of the burette.
    fn supplies(&mut self, procedure: &Procedure) -> Option<Supplies> {
        let mut over_label = || 1.0 + self.rng.random_range(-0.018..0.018);
        let bad = self.planned.bad_bottle;
        let order = Order {
            unknowns: self.planned.unknowns,
            over_label: [over_label(), 1.0],
            excess_over_label: over_label(),
            scale: (0.40, 0.70),
            exact: true,
            wrong: bad.map_or(Wrong::Nothing, |(number, percent)| {
                Wrong::Unknown(number, percent)
            }),
            prefix: Some(self.planned.prefix.clone()),
            ..Order::default()
        };
        let supplies = Supplies::make(procedure, &order, self.rng)?;
        // a prep room states an uncertainty to two figures
        let stated = |assigned: Assigned| Assigned {
            standard_uncertainty: to_figures(assigned.standard_uncertainty, 2),
            ..assigned
        };
        let lots = supplies.lots.values();
        // a titrant carried over is no lot of the prep room
        let made = |lot: &&Lot| self.earlier().is_none() || !is_titrant(&supplies, lot);
        let lots: Vec<Lot> = lots.filter(made).cloned().collect();
        for mut lot in lots {
            let bottle = Bottle::Lot(lot.code.clone());
            self.term.shelf.insert(bottle, made_for(self.planned.dates));
            lot.molarity = stated(lot.molarity);
            self.term.lots.insert(lot.code.clone(), lot);
        }
        let mut unknowns = supplies.unknowns.clone();
        for number in 0..self.planned.unknowns {
            let code = supplies.code(AuditKind::Unknown, number)?;
            unknowns.get_mut(code)?.truth = Sealed::new(stated(supplies.assigned(number)?));
        }
        self.term
            .unknowns
            .insert(self.planned.key.clone(), unknowns.into());
        Some(supplies)
    }

    /// The experiment that the titrant comes from, where the course has it.
    fn earlier(&self) -> Option<&Experiment> {
        let experiment = self.term.experiment(&self.planned.key)?;
        self.term.standardised_in(experiment)
    }

    /// With the bottle that the student standardised, where the titrant is carried over; with the stock of the standards,
    /// where their line is.
    fn with_own_titrant(&self, slot: &Slot, supplies: &Supplies) -> Option<Supplies> {
        let earlier = self.earlier()?;
        if earlier.procedure.line().is_some() {
            return supplies.with_stock_of(self.shelves.get(&earlier.key)?);
        }
        let bottle = Slot::new(&earlier.key, &slot.student);
        let bottle = self.term.issued.get(&bottle)?;
        supplies.with_titrant_of(self.shelves.get(&earlier.key)?, bottle)
    }

    fn student(
        &mut self,
        procedure: &Procedure,
        slot: Slot,
        supplies: &Supplies,
        bottle: usize,
    ) -> Option<()> {
        let conduct = self.conduct();
        let mistake = match conduct {
            Conduct::Wrong(mistake) => Some(mistake),
            _ => None,
        };
        let other = mistake == Some(Mistake::OtherUnknown);
        let taken = if other {
            next(bottle, self.planned.unknowns)?
        } else {
            bottle
        };
        let hands = self.hands(procedure, conduct);
        let mut hand_in = supplies.titrated(procedure, Place::of(taken), &hands, self.rng)?;
        if self.earlier().is_some() {
            hand_in.titrations.iter_mut().for_each(|row| row.lot = None);
        }
        let line = self.term.carried_line(&slot);
        let taken_over = line.map_or_else(Vec::new, |line| line.standards);
        if procedure.line_taken_over().is_some() && self.earlier().is_some() {
            let standard = |row: &Titration| matches!(row.trial, TrialLabel::Standard(_));
            hand_in.titrations.retain(|row| !standard(row));
        }
        if other && self.rng.random::<bool>() {
            let code = supplies.code(AuditKind::Unknown, taken);
            let rows = hand_in.titrations.iter_mut();
            rows.for_each(|row| row.unknown = code.map(UnknownCode::new));
        }
        let misread = |hand_in: &HandIn, rng: &mut ChaCha20Rng| {
            let wrong = Mistake::WholeMillilitre.misread(procedure, hand_in, rng);
            wrong.unwrap_or_else(|| hand_in.clone())
        };
        if mistake == Some(Mistake::WholeMillilitre) {
            hand_in = misread(&hand_in, self.rng);
        }
        let carried = self.term.carried_titrant(&slot);
        let read = HandIn {
            titrations: [taken_over, hand_in.titrations.clone()].concat(),
            ..hand_in.clone()
        };
        let notebook = Notebook::of(&Case {
            carried: carried.as_ref(),
            ..supplies.case(procedure, &read, bottle)
        });
        let in_the_sum = mistake.filter(|mistake| !mistake.is_at_the_bench());
        // where the mistake cannot be made the sum comes out right
        let wrong = in_the_sum.and_then(|_| notebook.answer(in_the_sum, self.rng));
        let answer = wrong.or_else(|| notebook.answer(None, self.rng));
        hand_in.reported = answer.filter(|_| conduct != Conduct::NoAnswer);
        let at = self.handed_in_at(conduct);
        let mut revisions = Vec::new();
        let mut reason = "";
        if conduct == Conduct::Corrected {
            reason = "copied a reading wrongly from my notebook";
            let first = misread(&hand_in, self.rng);
            revisions.push(revision(first, later(at, -25), ""));
        }
        revisions.push(revision(hand_in, at, reason));
        self.term.submissions.insert(slot.clone(), revisions);
        if let Some(most) = procedure.marking.by_hand {
            let share = Decimal::new(self.rng.random_range(5..=10), 1);
            let points = to_decimals(most.saturating_mul(share), 1).normalize();
            self.term.by_hand.insert(slot, points);
        }
        Some(())
    }

    fn conduct(&mut self) -> Conduct {
        let mut draw = self.rng.random::<f64>();
        let mut all = CONDUCT.iter();
        let drawn = all.find(|(_, share)| {
            draw -= share;
            draw < 0.0
        });
        drawn.map_or(Conduct::Usual, |(conduct, _)| *conduct)
    }

    fn hands(&mut self, procedure: &Procedure, conduct: Conduct) -> Hands {
        let ordinary = Population::ORDINARY.hands(procedure, self.rng);
        let ordinary = Hands {
            rough: self.rng.random::<f64>() < 0.3,
            ..ordinary
        };
        match conduct {
            Conduct::Careless => Hands {
                rough: ordinary.rough,
                ..Hands::careful(procedure, 4.0)
            },
            Conduct::WrongDecimals => Hands {
                wrong_decimals: 0.5,
                ..ordinary
            },
            Conduct::TooFewTrials => Hands {
                trials: ordinary.trials.saturating_sub(1).max(1),
                ..ordinary
            },
            _ => ordinary,
        }
    }

    fn handed_in_at(&mut self, conduct: Conduct) -> Timestamp {
        let due = self.term.course.zone.instant(self.planned.dates.due);
        let due = due.unwrap_or(Timestamp::UNIX_EPOCH);
        let minutes = match conduct {
            _ if self.planned.open => self.rng.random_range(-60 * 24 * 7..-60 * 24 * 3 - 60),
            Conduct::Late => self.rng.random_range(60 * 20..60 * 80),
            _ => self.rng.random_range(-60 * 70..-30),
        };
        later(due, minutes)
    }

    /// Pairs in roster order of one section and bottle, who both handed in once.
    fn copies(&mut self, procedure: &Procedure, students: &[Student]) {
        let mut ways = self.planned.copying.iter();
        let mut taken: Vec<Slot> = Vec::new();
        for (place, from) in students.iter().enumerate() {
            let Some(how) = ways.as_slice().first() else {
                return;
            };
            let original = Slot::new(&self.planned.key, &from.id);
            let mate = students.iter().skip(place.saturating_add(1)).find(|by| {
                let slot = Slot::new(&self.planned.key, &by.id);
                let issued = &self.term.issued;
                by.section == from.section
                    && issued.get(&slot) == issued.get(&original)
                    && !taken.contains(&slot)
                    && self.once(&slot).is_some()
            });
            let (Some(by), false) = (mate, taken.contains(&original)) else {
                continue;
            };
            let Some((hand_in, at)) = self.once(&original) else {
                continue;
            };
            let (hand_in, at) = (hand_in.clone(), later(at, 9));
            let Some(mut copy) = copied(*how, procedure, &hand_in, self.rng) else {
                continue;
            };
            copy.reported = hand_in.reported;
            let copier = Slot::new(&self.planned.key, &by.id);
            let revisions = vec![revision(copy, at, "")];
            self.term.submissions.insert(copier.clone(), revisions);
            taken.extend([original, copier]);
            ways.next();
        }
    }

    /// What was handed in there, if just once, with when.
    fn once(&self, slot: &Slot) -> Option<(&HandIn, Timestamp)> {
        match self.term.submissions.get(slot).map(Vec::as_slice) {
            Some([only]) => Some((&only.hand_in, only.submitted_at?)),
            _ => None,
        }
    }
}

fn is_titrant(supplies: &Supplies, lot: &Lot) -> bool {
    supplies.code(AuditKind::Lot, 0) == Some(lot.code.as_str())
}

/// The number after that one, of so many in a circle.
fn next(number: usize, count: usize) -> Option<usize> {
    number.saturating_add(1).checked_rem(count)
}

fn later(at: Timestamp, minutes: i64) -> Timestamp {
    at.saturating_add(SignedDuration::from_mins(minutes))
        .unwrap_or(at)
}

fn revision(mut hand_in: HandIn, at: Timestamp, reason: &str) -> Revision {
    // files keep whole seconds
    let at = Timestamp::from_second(at.as_second()).unwrap_or(at);
    let rows = hand_in.titrations.iter_mut();
    rows.for_each(|row| row.submitted_at = Some(at));
    Revision {
        hand_in: hand_in.into(),
        submitted_at: Some(at),
        reason: reason.to_owned(),
        receipt: None,
    }
}

/// Made some days before the experiment opens, good for some days after it is due.
fn made_for(dates: Dates) -> ShelfLife {
    const DAY: SignedDuration = SignedDuration::from_hours(24);
    let made = dates.opens.date().saturating_sub(DAY.saturating_mul(4));
    let expires = dates.due.date().saturating_add(DAY.saturating_mul(4));
    ShelfLife {
        made: Some(made),
        expires: Some(expires),
    }
}

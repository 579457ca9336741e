//! A rehearsed term: students with a seed, whose bottles and lots are what they are and not what they are assigned to
//! be, and some of whom copy. What is wrong is known, so what the judgement and the audit make of it can be counted.

use std::collections::BTreeMap;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use crate::course::{Course, Experiment, StaffMember, StaffRole, Student, Zone};
use crate::ids::{ExperimentKey, LotCode, SectionName, StudentId, UnknownCode};
use crate::judge::copying::{Copying, copied};
use crate::judge::rehearsal::{Bench, Hand, simulate};
use crate::judge::signal::{Signal, result_at};
use crate::judge::{AuditKind, GroupName};
use crate::measure::{GlasswareTable, Reading, as_f64, from_f64, to_figures};
use crate::procedure::{Dates, Procedure, Scheme};
use crate::submission::{HandIn, TrialLabel};
use crate::term::{ExperimentAudit, ExperimentSource, Judged, Revision, Slot, Term};
use crate::truth::{Assigned, Lot, Sealed, Unknown};

pub use super::wrong::Wrong;

/// Key of the experiment of a rehearsed term.
pub const EXPERIMENT: &str = "e";

/// A class to rehearse.
#[derive(Clone, Debug)]
pub struct Class {
    /// What is titrated, and its text.
    pub procedure: Procedure,
    /// Text of its file.
    pub text: String,
    /// What it may be done with.
    pub glassware: GlasswareTable,
    /// For each section, the numbers of its lots, dealt from place to place.
    pub lots_of: Vec<Vec<usize>>,
    /// For each section, the number of its lot of excess reagent, where there is one.
    pub excess_of: Vec<usize>,
    /// For each section, the number of its assistant.
    pub assistant_of: Vec<usize>,
    /// Students in each section.
    pub per_section: usize,
    /// Bottles, dealt from place to place.
    pub unknowns: usize,
    /// Numbered burettes, one to a place at the bench; 0 for none.
    pub burettes: usize,
    /// Reading and endpoint errors as multiples of what the procedure states: everybody's lie between these two.
    pub care: (f64, f64),
    /// Share of students who go wrong: a third each take another bottle, work carelessly, misread by a millilitre.
    pub slips: f64,
    /// In each section, for each of these one student who has another's bottle and copies the readings in that way.
    pub copying: Vec<Copying>,
    pub wrong: Wrong,
}

/// Relative standard uncertainty of lots and of bottles: what a prep room reaches with a balance and flasks.
const LOT_UNCERTAINTY: f64 = 0.0008;
const BOTTLE_UNCERTAINTY: f64 = 0.001;

impl Class {
    /// Four sections of 24 with two lots, across assistants: lots 0 1 0 1, assistants 0 0 1 1; eight bottles.
    pub fn crossed(procedure: Procedure, text: String, glassware: GlasswareTable) -> Self {
        Self {
            procedure,
            text,
            glassware,
            lots_of: [0, 1, 0, 1].map(|lot| vec![lot]).to_vec(),
            excess_of: vec![0, 1, 1, 0],
            assistant_of: vec![0, 0, 1, 1],
            per_section: 24,
            unknowns: 8,
            burettes: 24,
            care: (1.0, 1.0),
            slips: 0.0,
            copying: Vec::new(),
            wrong: Wrong::Nothing,
        }
    }

    /// One section of 24 with one lot and six bottles.
    pub fn in_one_section(self) -> Self {
        Self {
            lots_of: vec![vec![0]],
            excess_of: vec![0],
            assistant_of: vec![0],
            unknowns: 6,
            burettes: 0,
            ..self
        }
    }

    /// Four sections of 24, where one lot went to every other student of two of them: 24 students.
    pub fn divided(self) -> Self {
        Self {
            lots_of: vec![vec![0, 1], vec![0, 1], vec![0], vec![0]],
            ..self
        }
    }

    /// Four sections of 24 with two lots and sixteen bottles: six students have the same.
    pub fn with_many_bottles(self) -> Self {
        Self {
            unknowns: 16,
            ..self
        }
    }

    /// The same class with something wrong.
    pub fn but(self, wrong: Wrong) -> Self {
        Self { wrong, ..self }
    }

    /// The class at work, in UTC. The same seed gives the same term. None where the procedure cannot be carried out.
    pub fn rehearse(&self, seed: u64) -> Option<Rehearsed> {
        let course = Course {
            title: "Rehearsal".into(),
            term: String::new(),
            zone: Zone::new("UTC").ok()?,
        };
        let mut term = Term::new(course, self.glassware.clone());
        let key = self.procedure.key.clone();
        term.sources
            .procedures
            .insert(key.clone(), self.text.clone());
        let source = ExperimentSource {
            procedure: key,
            ..ExperimentSource::default()
        };
        term.sources
            .experiments
            .insert(ExperimentKey::new(EXPERIMENT), source);
        term.experiments.push(Experiment {
            key: ExperimentKey::new(EXPERIMENT),
            procedure: self.procedure.clone(),
            dates: Dates {
                opens: jiff::civil::date(2026, 9, 14).at(9, 0, 0, 0),
                due: jiff::civil::date(2026, 9, 14).at(17, 0, 0, 0),
            },
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
        });
        let mut at_work = AtWork {
            class: self,
            rehearsed: Rehearsed {
                term,
                really: BTreeMap::new(),
                copies: Vec::new(),
            },
            rng: ChaCha20Rng::seed_from_u64(seed),
        };
        at_work.everything()?;
        Some(at_work.rehearsed)
    }
}

/// A term, and what is known of it.
pub struct Rehearsed {
    /// As the course knows it.
    pub term: Term,
    /// What its bottles and lots really hold.
    pub really: BTreeMap<GroupName, f64>,
    /// Who copied from whom, and how.
    pub copies: Vec<Copy>,
}

/// One student's readings, written down by another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copy {
    /// Id of the student who read them.
    pub from: String,
    /// Id of the one who copied.
    pub by: String,
    pub how: Copying,
}

impl Rehearsed {
    /// Everything handed in, judged.
    pub fn judged(&self) -> Vec<(Slot, Judged)> {
        self.term.judge_all()
    }

    /// The audit of what was judged. None where nothing has a result.
    pub fn audit(&self, judged: &[(Slot, Judged)]) -> Option<ExperimentAudit> {
        let judged = judged.iter().map(|(slot, one)| (slot, one));
        self.term.audit(judged).into_iter().next()
    }
}

struct AtWork<'a> {
    class: &'a Class,
    rehearsed: Rehearsed,
    rng: ChaCha20Rng,
}

impl AtWork<'_> {
    fn everything(&mut self) -> Option<()> {
        let class = self.class;
        let count = most(class.lots_of.iter().flatten());
        let reagent = class.procedure.lot_reagent();
        let reagent = reagent.map(|(species, nominal)| (species.written().to_owned(), nominal));
        let lots = match reagent {
            Some(reagent) => self.lots((AuditKind::Lot, "L"), &reagent, count)?,
            None => Vec::new(),
        };
        let excess = class.procedure.excess.as_ref();
        let excess = match excess.map(|e| (e.species.written().to_owned(), e.nominal)) {
            Some(reagent) => {
                let count = most(class.excess_of.iter());
                self.lots((AuditKind::ExcessLot, "X"), &reagent, count)?
            }
            None => Vec::new(),
        };
        let bottles = self.bottles(&lots, &excess)?;
        self.people();
        for place in 0..self.rehearsed.term.students.len() {
            self.student(place, &lots, &excess, &bottles)?;
        }
        for section in 0..class.lots_of.len() {
            self.copy(section);
        }
        Some(())
    }

    fn student(
        &mut self,
        place: usize,
        lots: &[Lot],
        excess: &[Lot],
        bottles: &[f64],
    ) -> Option<()> {
        let class = self.class;
        let (section, seat) = (place / class.per_section, place % class.per_section);
        // the deal goes on from section to section
        let bottle = (place + section) % class.unknowns;
        let own = &class.lots_of[section];
        // in pairs, so that every bottle meets every lot
        let lot = own[(seat / 2) % own.len()];
        // the generator is asked only where somebody may go wrong, so that careful classes stay as they are
        let slip = (class.slips > 0.0 && self.rng.random::<f64>() < class.slips)
            .then(|| self.rng.random_range(0..3));
        let taken = if slip == Some(0) {
            (bottle + 1) % class.unknowns
        } else {
            bottle
        };
        let bench = Bench {
            truth: bottles[taken],
            lot: lots.get(lot),
            excess_lot: class.excess_of.get(section).and_then(|n| excess.get(*n)),
            blank: BLANK,
        };
        let (least, most) = class.care;
        let care = if most > least {
            self.rng.random_range(least..most)
        } else {
            least
        };
        let hand = Hand {
            care: if slip == Some(1) { 6.0 } else { care },
            sloppy_decimals: 0.0,
            trials: class.procedure.trials.minimum,
            rough: false,
        };
        let mut hand_in = simulate(&class.procedure, &bench, &hand, &mut self.rng)?;
        if slip == Some(2) {
            read_further(&mut hand_in, Decimal::ONE);
        }
        if let Wrong::Section(wrong, further) = class.wrong
            && wrong == section
        {
            read_further(&mut hand_in, from_f64(further, 2)?);
        }
        if let Some(number) = seat.checked_rem(class.burettes) {
            let rows = hand_in.titrations.iter_mut();
            rows.for_each(|row| row.instrument = Some(format!("B{number}")));
        }
        let slot = self.slot(place)?;
        let term = &mut self.rehearsed.term;
        term.issued
            .insert(slot.clone(), UnknownCode::new(format!("U{bottle}")));
        term.submissions.insert(slot, vec![revision(hand_in)]);
        Some(())
    }

    fn slot(&self, place: usize) -> Option<Slot> {
        let student = self.rehearsed.term.students.get(place)?;
        Some(Slot::new(&ExperimentKey::new(EXPERIMENT), &student.id))
    }

    /// Somebody of the section copies in each of the ways asked for, everybody at most once; where the readings cannot
    /// be copied so, nobody does.
    fn copy(&mut self, section: usize) {
        let class = self.class;
        let mut seats: Vec<usize> = (0..class.per_section).collect();
        for how in &class.copying {
            if seats.len() < 2 {
                return;
            }
            let mut drawn = || {
                let seat = self.rng.random_range(0..seats.len());
                section * class.per_section + seats.swap_remove(seat)
            };
            let (from, by) = (drawn(), drawn());
            let (Some(from), Some(by)) = (self.slot(from), self.slot(by)) else {
                return;
            };
            let original = self.rehearsed.term.submissions.get(&from);
            let original = original.and_then(|revisions| revisions.last());
            let copy = original
                .and_then(|last| copied(*how, &class.procedure, &last.hand_in, &mut self.rng));
            if let Some(copy) = copy {
                let term = &mut self.rehearsed.term;
                if let Some(bottle) = term.issued.get(&from).cloned() {
                    term.issued.insert(by.clone(), bottle);
                }
                term.submissions.insert(by.clone(), vec![revision(copy)]);
                self.rehearsed.copies.push(Copy {
                    from: from.student.to_string(),
                    by: by.student.to_string(),
                    how: *how,
                });
            }
        }
    }

    /// Lots as they are; the term learns what they are assigned to be.
    fn lots(
        &mut self,
        (kind, letter): (AuditKind, &str),
        (species, nominal): &(String, Decimal),
        count: usize,
    ) -> Option<Vec<Lot>> {
        let one = |number: usize| {
            let lot = Lot {
                code: LotCode::new(format!("{letter}{number}")),
                reagent: species.clone(),
                molarity: assigned(*nominal, LOT_UNCERTAINTY)?,
                version: 1,
            };
            let name = GroupName::new(kind, &*lot.code);
            self.rehearsed
                .term
                .lots
                .insert(lot.code.clone(), lot.clone());
            let mut really = lot;
            really.molarity.value = self.really(name, *nominal, LOT_UNCERTAINTY)?;
            Some(really)
        };
        (0..count).map(one).collect()
    }

    /// What the bottles hold, for titres of 40 to 60 % of the burette; the term learns what they are assigned to hold.
    fn bottles(&mut self, lots: &[Lot], excess: &[Lot]) -> Option<Vec<f64>> {
        let bench = Bench {
            truth: 1.0,
            lot: lots.first(),
            excess_lot: excess.first(),
            blank: BLANK,
        };
        let procedure = &self.class.procedure;
        let full = Signal::of(procedure).full;
        let label = procedure.titrant.as_ref().map(|t| as_f64(t.nominal));
        let label = label.filter(|_| procedure.scheme == Scheme::Standardisation);
        let count = self.class.unknowns;
        let one = |number: usize| {
            let share = self.rng.random::<f64>();
            let held = match label {
                Some(label) => label * (0.95 + 0.1 * share),
                None => result_at(procedure, &bench, full * (0.4 + 0.2 * share))?,
            };
            let value = to_figures(from_f64(held, 8)?, 5);
            let unknown = Unknown {
                code: UnknownCode::new(format!("U{number}")),
                truth: Sealed::new(assigned(value, BOTTLE_UNCERTAINTY)?),
                version: 1,
            };
            let name = GroupName::new(AuditKind::Unknown, &*unknown.code);
            let of = self
                .rehearsed
                .term
                .unknowns
                .entry(ExperimentKey::new(EXPERIMENT))
                .or_default();
            of.insert(unknown.code.clone(), unknown);
            self.really(name, value, BOTTLE_UNCERTAINTY).map(as_f64)
        };
        (0..count).map(one).collect()
    }

    /// What is really there: off by what its uncertainty says, and by what is wrong with it.
    fn really(&mut self, name: GroupName, assigned: Decimal, relative: f64) -> Option<Decimal> {
        let off = self.class.wrong.with(&name) + 100.0 * relative * normal(&mut self.rng);
        let factor = from_f64(1.0 + off / 100.0, 12)?;
        self.rehearsed
            .really
            .insert(name, as_f64(assigned * factor));
        Some(assigned * factor)
    }

    fn people(&mut self) {
        let (class, term) = (self.class, &mut self.rehearsed.term);
        for section in 0..class.lots_of.len() {
            for seat in 0..class.per_section {
                term.students.push(Student {
                    id: StudentId::new(format!("s{section}-{seat:02}")),
                    family_name: format!("Family{seat:02}"),
                    given_name: "Given".into(),
                    section: SectionName::new(format!("S{section}")),
                    email: String::new(),
                    left: None,
                });
            }
        }
        for number in 0..most(class.assistant_of.iter()) {
            let own = class.assistant_of.iter().enumerate();
            let own = own.filter(|(_, assistant)| **assistant == number);
            term.staff.push(StaffMember {
                login: format!("a{number}"),
                name: format!("Assistant {number}"),
                role: StaffRole::Assistant,
                sections: own
                    .map(|(section, _)| SectionName::new(format!("S{section}")))
                    .collect(),
            });
        }
    }
}

/// Every end but a blank's is read too far.
fn read_further(hand_in: &mut HandIn, further: Decimal) {
    let rows = hand_in.titrations.iter_mut();
    let rows = rows.filter(|row| row.trial != TrialLabel::Blank);
    for piece in rows.flat_map(|row| &mut row.burette) {
        let end = (piece.end.value() + further).min(Decimal::new(4999, 2));
        if let Ok(end) = Reading::parse(&end.to_string()) {
            piece.end = end;
        }
    }
}

/// What a blank takes, mL.
const BLANK: f64 = 0.12;

/// One more than the largest.
fn most<'a>(numbers: impl Iterator<Item = &'a usize>) -> usize {
    numbers.max().map_or(0, |most| most + 1)
}

fn assigned(value: Decimal, relative: f64) -> Option<Assigned> {
    let relative = from_f64(relative, 6)?;
    Some(Assigned {
        value,
        standard_uncertainty: value * relative,
    })
}

fn revision(hand_in: HandIn) -> Revision {
    Revision {
        hand_in,
        submitted_at: None,
        reason: String::new(),
        receipt: None,
    }
}

/// Standard normal, by Box and Muller.
pub fn normal(rng: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

//! A simulated class through a whole term: its bottles and lots are what they are and not what they are assigned to be,
//! and some of its students slip or copy. What is wrong is known, so what the judgement and the audit make of it can be
//! counted.

use std::collections::{BTreeMap, BTreeSet};
use std::iter;

use jiff::{Timestamp, ToSpan};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use super::arithmetic::Notebook;
use super::copying::{Copying, copied};
use super::hands::{Care, Hands, Population};
use super::mistakes::written;
use super::supplies::{Order, Place, Supplies, Wrong};
use crate::columns::Column;
use crate::course::{Course, Experiment, StaffMember, StaffRole, Student, Zone};
use crate::ids::{ExperimentKey, SectionName, StudentId, UnknownCode};
use crate::judge::{AuditKind, GroupName};
use crate::measure::{GlasswareTable, from_f64};
use crate::procedure::{Dates, Procedure};
use crate::submission::{HandIn, TrialLabel};
use crate::term::{ExperimentAudit, ExperimentSource, Judged, Revision, Slot, Term};

/// Key of the first experiment of a rehearsed term; those after it are e2, e3 and so on.
pub const EXPERIMENT: &str = "e";

/// A class to simulate.
#[derive(Clone, Debug)]
pub struct SimulatedClass {
    pub procedure: Procedure,
    /// Text of its file.
    pub text: String,
    /// What it may be done with.
    pub glassware: GlasswareTable,
    /// What is titrated in the weeks after, each with the text of its file; every time with new bottles.
    pub later: Vec<(Procedure, String)>,
    /// For each section, the numbers of its lots, dealt from place to place.
    pub lots_of: Vec<Vec<usize>>,
    /// For each section, the number of its lot of excess reagent, where there is one.
    pub excess_of: Vec<usize>,
    /// For each section, the number of its assistant.
    pub assistant_of: Vec<usize>,
    /// For each section, the day on which it works, from 0; empty where no time is noted.
    pub day_of: Vec<usize>,
    /// Students in each section.
    pub per_section: usize,
    /// Bottles, dealt from place to place.
    pub unknowns: usize,
    /// Numbered burettes, one to a place at the bench; 0 for none.
    pub burettes: usize,
    pub population: Population,
    /// Whether they write answers down, which follow from their readings.
    pub answers: bool,
    /// Share of students who go wrong: a third each take another bottle, work carelessly, misread by a millilitre.
    pub slips: f64,
    /// In each section, for each of these one student who has another's bottle and copies the readings in that way.
    pub copying: Vec<Copying>,
    /// Whether the readings are those of somebody of the next section.
    pub across_sections: bool,
    /// In each section, that many students who titrate nothing the whole term and invent what they hand in.
    pub inventing: usize,
    pub wrong: Wrong,
}

/// How much further off than what the procedure states careless work is.
const CARELESS: f64 = 6.0;

impl SimulatedClass {
    /// Four sections of 24 with two lots, across assistants: lots 0 1 0 1, assistants 0 0 1 1; eight bottles.
    pub fn crossed(procedure: Procedure, text: String, glassware: GlasswareTable) -> Self {
        Self {
            procedure,
            text,
            glassware,
            later: Vec::new(),
            answers: false,
            lots_of: [0, 1, 0, 1].map(|lot| vec![lot]).to_vec(),
            excess_of: vec![0, 1, 1, 0],
            assistant_of: vec![0, 0, 1, 1],
            day_of: Vec::new(),
            per_section: 24,
            unknowns: 8,
            burettes: 24,
            population: Population::CAREFUL,
            slips: 0.0,
            copying: Vec::new(),
            across_sections: false,
            inventing: 0,
            wrong: Wrong::Nothing,
        }
    }

    /// One section of 24 with one lot and six bottles: four students have the same.
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

    /// Five sections of 24 that share one lot, each on a day of its own.
    pub fn over_a_week(self) -> Self {
        Self {
            lots_of: vec![vec![0]; 5],
            excess_of: vec![0; 5],
            assistant_of: vec![0, 1, 0, 1, 0],
            day_of: (0..5).collect(),
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
            language: crate::language::Language::default(),
        };
        let mut at_work = AtWork {
            class: self,
            rehearsed: Rehearsed {
                term: Term::new(course, self.glassware.clone()),
                really: BTreeMap::new(),
                copies: Vec::new(),
                inventors: Vec::new(),
                careful: BTreeSet::new(),
            },
            seed,
            rng: ChaCha20Rng::seed_from_u64(seed),
        };
        let first = (&self.procedure, &self.text);
        let later = self.later.iter().map(|(procedure, text)| (procedure, text));
        for (number, (procedure, text)) in (1..).zip(iter::once(first).chain(later)) {
            at_work.experiment(number, procedure, text)?;
        }
        Some(at_work.rehearsed)
    }
}

/// A term, and what is known of it.
pub struct Rehearsed {
    /// As the course knows it.
    pub term: Term,
    /// What the bottles and lots of its first experiment really hold.
    pub really: BTreeMap<GroupName, f64>,
    /// Who copied from whom, and how.
    pub copies: Vec<Copied>,
    /// Ids of those who invented all they handed in.
    pub inventors: Vec<StudentId>,
    /// Ids of careful people who did nothing wrong.
    pub careful: BTreeSet<StudentId>,
}

/// One student's readings, written down by another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copied {
    /// Id of the student who read them.
    pub from: StudentId,
    /// Id of the one who copied.
    pub by: StudentId,
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
    class: &'a SimulatedClass,
    rehearsed: Rehearsed,
    seed: u64,
    rng: ChaCha20Rng,
}

impl AtWork<'_> {
    fn experiment(&mut self, number: usize, procedure: &Procedure, text: &str) -> Option<()> {
        let class = self.class;
        let later = number > 1;
        let key = ExperimentKey::new(if later {
            format!("{EXPERIMENT}{number}")
        } else {
            EXPERIMENT.to_owned()
        });
        self.add(&key, number, procedure, text);
        let order = Order {
            lots: most(class.lots_of.iter().flatten()),
            excess_lots: most(class.excess_of.iter()),
            unknowns: class.unknowns,
            wrong: class.wrong,
            prefix: later.then(|| format!("E{number}")),
            ..Order::default()
        };
        let supplies = Supplies::make(procedure, &order, &mut self.rng)?;
        let term = &mut self.rehearsed.term;
        term.lots.extend(supplies.lots.clone());
        term.unknowns
            .insert(key.clone(), supplies.unknowns.clone().into());
        if !later {
            self.rehearsed.really = supplies.really();
            self.people();
        }
        for place in 0..self.rehearsed.term.students.len() {
            self.student(&key, procedure, place, &supplies)?;
        }
        for section in 0..class.lots_of.len() {
            self.copy(&key, procedure, section);
        }
        Some(())
    }

    /// The experiment of that number, a week after the one before it.
    fn add(&mut self, key: &ExperimentKey, number: usize, procedure: &Procedure, text: &str) {
        let (class, term) = (self.class, &mut self.rehearsed.term);
        let name = procedure.key.clone();
        let sources = &mut term.sources;
        sources.procedures.insert(name.clone(), text.to_owned());
        let source = ExperimentSource {
            procedure: name,
            ..ExperimentSource::default()
        };
        sources.experiments.insert(key.clone(), source);
        let weeks = i64::try_from(number).unwrap_or(1).saturating_sub(1);
        let days = class.day_of.iter().max().map_or(0, |day| *day as i64);
        let opens = jiff::civil::date(2026, 9, 14).at(9, 0, 0, 0);
        let opens = opens.saturating_add(weeks.weeks());
        let due = opens.saturating_add(8.hours()).saturating_add(days.days());
        term.experiments.push(Experiment {
            key: key.clone(),
            procedure: procedure.clone(),
            dates: Dates { opens, due },
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
        });
    }

    fn student(
        &mut self,
        key: &ExperimentKey,
        procedure: &Procedure,
        place: usize,
        supplies: &Supplies,
    ) -> Option<()> {
        let class = self.class;
        let (section, seat) = (place / class.per_section, place % class.per_section);
        // the deal goes on from section to section
        let bottle = (place + section) % class.unknowns;
        let lots = &class.lots_of[section];
        let day = class.day_of.get(section).copied();
        // in pairs, so that every bottle meets every lot
        let lot = lots[(seat / 2) % lots.len()];
        // the generator is asked only where somebody may go wrong, so that careful classes stay as they are
        let slip = (class.slips > 0.0 && self.rng.random::<f64>() < class.slips)
            .then(|| self.rng.random_range(0..3));
        let taken = if slip == Some(0) {
            (bottle + 1) % class.unknowns
        } else {
            bottle
        };
        let invents = seat >= class.per_section.saturating_sub(class.inventing);
        let population = if invents {
            Population::Inventing
        } else {
            class.population
        };
        let hands = population.hands(procedure, &mut self.person(place));
        if slip.is_none() && !invents && hands.care == Care::Careful {
            let id = self.rehearsed.term.students.get(place)?.id.clone();
            self.rehearsed.careful.insert(id);
        }
        let careless = Hands::careful(procedure, CARELESS);
        let hands = if slip == Some(1) { careless } else { hands };
        let mut at = Place {
            lot,
            excess_lot: class.excess_of.get(section).copied().unwrap_or(0),
            day: day.unwrap_or(0),
            ..Place::of(taken)
        };
        if invents {
            // what somebody else got
            at.share += self.rng.random_range(-0.01..0.01);
        }
        let mut hand_in = supplies.titrated(procedure, at, &hands, &mut self.rng)?;
        if slip == Some(2) {
            read_further(&mut hand_in, Decimal::ONE);
        }
        if let Wrong::Section(wrong, further) = class.wrong
            && wrong == section
        {
            read_further(&mut hand_in, from_f64(further, 2)?);
        }
        if class.answers {
            let notebook = Notebook::of(&supplies.case(procedure, &hand_in, bottle));
            hand_in.reported = notebook.answer(None, &mut self.rng);
        }
        if let Some(number) = seat.checked_rem(class.burettes) {
            let rows = hand_in.titrations.iter_mut();
            rows.for_each(|row| row.instrument = Some(format!("B{number}")));
        }
        let slot = self.slot(key, place)?;
        let at = day.and_then(|day| self.hour_of(key, day));
        if invents && *key == EXPERIMENT {
            self.rehearsed.inventors.push(slot.student.clone());
        }
        let code = UnknownCode::new(supplies.code(AuditKind::Unknown, bottle)?);
        let term = &mut self.rehearsed.term;
        term.issued.insert(slot.clone(), code);
        term.submissions.insert(slot, vec![revision(hand_in, at)]);
        Some(())
    }

    /// What one person is drawn from, so that the same has the same hands all term.
    fn person(&self, place: usize) -> ChaCha20Rng {
        let mut person = ChaCha20Rng::seed_from_u64(self.seed);
        // the term itself is drawn from the first stream
        person.set_stream(place as u64 + 1);
        person
    }

    /// An hour before the end of that day of the experiment.
    fn hour_of(&self, key: &str, day: usize) -> Option<Timestamp> {
        let term = &self.rehearsed.term;
        let opens = term.experiment(key)?.dates.opens;
        let hour = opens.checked_add((day as i64).days()).ok()?;
        term.course.zone.instant(hour.checked_add(7.hours()).ok()?)
    }

    fn slot(&self, key: &ExperimentKey, place: usize) -> Option<Slot> {
        let student = self.rehearsed.term.students.get(place)?;
        Some(Slot::new(key, &student.id))
    }

    /// Somebody of the section copies in each of the ways asked for, everybody at most once; where the readings cannot
    /// be copied so, nobody does.
    fn copy(&mut self, key: &ExperimentKey, procedure: &Procedure, section: usize) {
        let class = self.class;
        let next = if class.across_sections {
            (section + 1) % class.lots_of.len()
        } else {
            section
        };
        let mut seats: Vec<usize> = (0..class.per_section).collect();
        for how in &class.copying {
            if seats.len() < 2 {
                return;
            }
            let mut drawn = |section: usize| {
                let seat = self.rng.random_range(0..seats.len());
                section * class.per_section + seats.swap_remove(seat)
            };
            let (from, by) = (drawn(next), drawn(section));
            let (Some(from), Some(by)) = (self.slot(key, from), self.slot(key, by)) else {
                return;
            };
            let original = self.rehearsed.term.submissions.get(&from);
            let original = original.and_then(|revisions| revisions.last());
            let Some((original, at)) = original.map(|last| (&last.hand_in, last.submitted_at))
            else {
                continue;
            };
            let Some(mut copy) = copied(*how, procedure, original, &mut self.rng) else {
                continue;
            };
            copy.reported = original.reported.clone();
            let term = &mut self.rehearsed.term;
            if let Some(bottle) = term.issued.get(&from).cloned() {
                term.issued.insert(by.clone(), bottle);
            }
            term.submissions
                .insert(by.clone(), vec![revision(copy, at)]);
            self.rehearsed.copies.push(Copied {
                from: from.student,
                by: by.student,
                how: *how,
            });
        }
    }

    fn people(&mut self) {
        let (class, term) = (self.class, &mut self.rehearsed.term);
        for section in 0..class.lots_of.len() {
            for seat in 0..class.per_section {
                term.students.put(&Student {
                    id: StudentId::new(format!("s{section}-{seat:02}")),
                    family_name: format!("Family{seat:02}"),
                    given_name: "Given".into(),
                    section: SectionName::new(format!("S{section}")),
                    email: String::new(),
                    sourced_id: String::new(),
                    left: None,
                });
            }
        }
        for number in 0..most(class.assistant_of.iter()) {
            let assistants = class.assistant_of.iter().enumerate();
            let sections = assistants.filter(|(_, assistant)| **assistant == number);
            term.staff.push(StaffMember {
                login: format!("a{number}"),
                name: format!("Assistant {number}"),
                role: StaffRole::Assistant,
                sections: sections
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
    let readings = rows.flat_map(|row| &mut row.readings);
    for (_, reading) in readings.filter(|(column, _)| matches!(column, Column::BuretteEnd(_))) {
        let end = (reading.value() + further).min(Decimal::new(4999, 2));
        if let Some(end) = written(end, end.scale()) {
            *reading = end;
        }
    }
}

/// One more than the largest.
fn most<'a>(numbers: impl Iterator<Item = &'a usize>) -> usize {
    numbers.max().map_or(0, |most| most + 1)
}

fn revision(hand_in: HandIn, submitted_at: Option<Timestamp>) -> Revision {
    Revision {
        hand_in: hand_in.into(),
        submitted_at,
        reason: String::new(),
        receipt: None,
    }
}

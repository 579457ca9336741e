//! A rehearsed term: careful students with a seed, whose bottles and lots are what they are and not what they are
//! assigned to be.

use std::collections::BTreeMap;

use concordant::course::{Course, Experiment, StaffMember, StaffRole, Student, Zone};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::rehearsal::{Bench, Hand, simulate};
use concordant::judge::signal::{Signal, result_at};
use concordant::judge::{AuditKind, GroupName};
use concordant::measure::{Reading, as_f64, from_f64, to_figures};
use concordant::procedure::{Dates, Procedure};
use concordant::submission::{HandIn, TrialLabel};
use concordant::term::{ExperimentAudit, ExperimentSource, Revision, Slot, Term};
use concordant::truth::{Assigned, Lot, Sealed, Unknown};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

/// What is wrong with a class, in percent of what is assigned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wrong {
    Nothing,
    /// The lot of that number holds so much more than its label says.
    Lot(usize, f64),
    /// The lot of excess reagent of that number holds so much more than its label says.
    Excess(usize, f64),
    /// The bottle of that number holds so much more than its label says.
    Unknown(usize, f64),
    /// The section of that number titrates so many mL too far.
    Section(usize, f64),
    /// A lot and a bottle.
    Both([(usize, f64); 2]),
}

/// A class to rehearse.
#[derive(Clone, Debug)]
pub struct Class {
    /// Key of a shipped procedure.
    pub procedure: &'static str,
    /// For each section, the numbers of its lots, dealt from place to place.
    pub lots_of: Vec<Vec<usize>>,
    /// For each section, the number of its lot of excess reagent, where there is one.
    pub excess_of: Vec<usize>,
    /// For each section, the number of its assistant.
    pub assistant_of: Vec<usize>,
    pub per_section: usize,
    pub unknowns: usize,
    /// Numbered burettes, one to a place at the bench; 0 for none.
    pub burettes: usize,
    /// Share of students who go wrong: a third each take another bottle, work carelessly, misread by a millilitre.
    pub slips: f64,
    pub wrong: Wrong,
}

/// Relative standard uncertainty of lots and of bottles: what a prep room reaches with a balance and flasks.
const LOT_UNCERTAINTY: f64 = 0.0008;
const BOTTLE_UNCERTAINTY: f64 = 0.001;

impl Class {
    /// Four sections of 24 with two lots, across assistants: lots 0 1 0 1, assistants 0 0 1 1; eight bottles.
    pub fn crossed(procedure: &'static str) -> Self {
        Self {
            procedure,
            lots_of: [0, 1, 0, 1].map(|lot| vec![lot]).to_vec(),
            excess_of: vec![0, 1, 1, 0],
            assistant_of: vec![0, 0, 1, 1],
            per_section: 24,
            unknowns: 8,
            burettes: 24,
            slips: 0.0,
            wrong: Wrong::Nothing,
        }
    }

    /// One section of 24 with one lot and six bottles.
    pub fn one_section(procedure: &'static str) -> Self {
        Self {
            lots_of: vec![vec![0]],
            assistant_of: vec![0],
            unknowns: 6,
            burettes: 0,
            ..Self::crossed(procedure)
        }
    }

    /// Four sections of 24, where one lot went to every other student of two of them: 24 students.
    pub fn divided(procedure: &'static str) -> Self {
        Self {
            lots_of: vec![vec![0, 1], vec![0, 1], vec![0], vec![0]],
            ..Self::crossed(procedure)
        }
    }

    /// Four sections of 24 with two lots and sixteen bottles: six students have the same.
    pub fn many_bottles(procedure: &'static str) -> Self {
        Self {
            unknowns: 16,
            ..Self::crossed(procedure)
        }
    }

    /// The same class with something wrong.
    pub fn but(self, wrong: Wrong) -> Self {
        Self { wrong, ..self }
    }

    /// The class at work. The same seed gives the same term.
    pub fn rehearse(&self, seed: u64) -> Rehearsed {
        let glassware = shipped_glassware();
        let text = shipped_procedure(self.procedure).expect("is shipped");
        let procedure = read_procedure("p.toml", &text, &glassware).expect("is sound");
        let zone = Zone::new("UTC").expect("is a zone");
        let course = Course {
            title: "Rehearsal".into(),
            term: "t".into(),
            zone,
        };
        let mut term = Term::new(course, glassware);
        let key = procedure.key.clone();
        term.sources.procedures.insert(key.clone(), text);
        let source = ExperimentSource {
            procedure: key,
            ..ExperimentSource::default()
        };
        term.sources.experiments.insert("e".into(), source);
        term.experiments.push(Experiment {
            key: "e".into(),
            procedure: procedure.clone(),
            dates: Dates {
                opens: "2026-09-14T09:00:00".parse().expect("is a time"),
                due: "2026-09-14T17:00:00".parse().expect("is a time"),
            },
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
        });
        let mut at_work = AtWork {
            class: self,
            procedure,
            rehearsed: Rehearsed {
                term,
                really: BTreeMap::new(),
            },
            rng: ChaCha20Rng::seed_from_u64(seed),
        };
        at_work.everything();
        at_work.rehearsed
    }

    /// The class judged and audited.
    pub fn audit(&self, seed: u64) -> ExperimentAudit {
        self.rehearse(seed).audit()
    }
}

/// A term, and what its bottles and lots really hold.
pub struct Rehearsed {
    pub term: Term,
    pub really: BTreeMap<GroupName, f64>,
}

impl Rehearsed {
    pub fn audit(&self) -> ExperimentAudit {
        let judged = self.term.judge_all();
        let judged = judged.iter().map(|(slot, one)| (slot, one));
        self.term.audit(judged).remove(0)
    }
}

struct AtWork<'a> {
    class: &'a Class,
    procedure: Procedure,
    rehearsed: Rehearsed,
    rng: ChaCha20Rng,
}

impl AtWork<'_> {
    fn everything(&mut self) {
        let class = self.class;
        let titrant = self.procedure.lot_reagent().expect("has a titrant");
        let titrant = (titrant.0.written().to_owned(), titrant.1);
        let count = most(class.lots_of.iter().flatten());
        let lots = self.lots((AuditKind::Lot, "L"), &titrant, count);
        let excess = self.procedure.excess.clone();
        let excess = excess.map(|e| (e.species.written().to_owned(), e.nominal));
        let excess = excess.map(|reagent| {
            let count = most(class.excess_of.iter());
            self.lots((AuditKind::ExcessLot, "X"), &reagent, count)
        });
        let bottles = self.bottles(&lots, excess.as_deref());
        self.people();
        for (place, student) in self.rehearsed.term.students.clone().iter().enumerate() {
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
                lot: Some(&lots[lot]),
                excess_lot: excess.as_ref().map(|lots| &lots[class.excess_of[section]]),
                blank: BLANK,
            };
            let hand = Hand {
                care: if slip == Some(1) { 6.0 } else { 1.0 },
                sloppy_decimals: 0.0,
                trials: self.procedure.trials.minimum,
                rough: false,
            };
            let hand_in = simulate(&self.procedure, &bench, &hand, &mut self.rng);
            let mut hand_in = hand_in.expect("can be titrated");
            if slip == Some(2) {
                read_further(&mut hand_in, Decimal::ONE);
            }
            if let Wrong::Section(wrong, further) = class.wrong
                && wrong == section
            {
                read_further(&mut hand_in, from_f64(further, 2).expect("is a number"));
            }
            if let Some(number) = seat.checked_rem(class.burettes) {
                let rows = hand_in.titrations.iter_mut();
                rows.for_each(|row| row.instrument = Some(format!("B{number}")));
            }
            let slot = Slot::new("e", &student.id);
            let term = &mut self.rehearsed.term;
            term.issued.insert(slot.clone(), format!("U{bottle}"));
            let revision = Revision {
                hand_in,
                submitted_at: None,
                reason: String::new(),
                receipt: None,
            };
            term.submissions.insert(slot, vec![revision]);
        }
    }

    /// Lots as they are; the term learns what they are assigned to be.
    fn lots(
        &mut self,
        (kind, letter): (AuditKind, &str),
        (species, nominal): &(String, Decimal),
        count: usize,
    ) -> Vec<Lot> {
        let one = |number: usize| {
            let lot = Lot {
                code: format!("{letter}{number}"),
                reagent: species.clone(),
                molarity: assigned(*nominal, LOT_UNCERTAINTY),
                version: 1,
            };
            let name = GroupName::new(kind, &lot.code);
            self.rehearsed
                .term
                .lots
                .insert(lot.code.clone(), lot.clone());
            let mut really = lot;
            really.molarity.value = self.really(name, *nominal, LOT_UNCERTAINTY);
            really
        };
        (0..count).map(one).collect()
    }

    /// What the bottles hold, for titres of 40 to 60 % of the burette; the term learns what they are assigned to hold.
    fn bottles(&mut self, lots: &[Lot], excess: Option<&[Lot]>) -> Vec<f64> {
        let bench = Bench {
            truth: 1.0,
            lot: lots.first(),
            excess_lot: excess.and_then(<[Lot]>::first),
            blank: BLANK,
        };
        let full = Signal::of(&self.procedure).full;
        let count = self.class.unknowns;
        let one = |number: usize| {
            let titre = full * (0.4 + 0.2 * self.rng.random::<f64>());
            let held = result_at(&self.procedure, &bench, titre).expect("has a result");
            let value = to_figures(from_f64(held, 8).expect("is a number"), 5);
            let unknown = Unknown {
                code: format!("U{number}"),
                truth: Sealed::new(assigned(value, BOTTLE_UNCERTAINTY)),
                version: 1,
            };
            let name = GroupName::new(AuditKind::Unknown, &unknown.code);
            let of = self.rehearsed.term.unknowns.entry("e".into()).or_default();
            of.insert(unknown.code.clone(), unknown);
            as_f64(self.really(name, value, BOTTLE_UNCERTAINTY))
        };
        (0..count).map(one).collect()
    }

    /// What is really there: off by what its uncertainty says, and by what is wrong with it.
    fn really(&mut self, name: GroupName, assigned: Decimal, relative: f64) -> Decimal {
        let off = self.class.wrong.with(&name) + 100.0 * relative * normal(&mut self.rng);
        let factor = from_f64(1.0 + off / 100.0, 12).expect("is a number");
        self.rehearsed
            .really
            .insert(name, as_f64(assigned * factor));
        assigned * factor
    }

    fn people(&mut self) {
        let (class, term) = (self.class, &mut self.rehearsed.term);
        for section in 0..class.lots_of.len() {
            for seat in 0..class.per_section {
                term.students.push(Student {
                    id: format!("s{section}-{seat:02}"),
                    family_name: format!("Family{seat:02}"),
                    given_name: "Given".into(),
                    section: format!("S{section}"),
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
                sections: own.map(|(section, _)| format!("S{section}")).collect(),
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
        piece.end = Reading::parse(&end.to_string()).expect("is a reading");
    }
}

/// What a blank takes, mL.
const BLANK: f64 = 0.12;

impl Wrong {
    /// Percent by which what is in that bottle is more than it should be.
    fn with(self, name: &GroupName) -> f64 {
        let is = |kind: AuditKind, letter: &str, number: usize| {
            *name == GroupName::new(kind, format!("{letter}{number}"))
        };
        let lot = |(number, percent)| {
            if is(AuditKind::Lot, "L", number) {
                percent
            } else {
                0.0
            }
        };
        let bottle = |(number, percent)| {
            if is(AuditKind::Unknown, "U", number) {
                percent
            } else {
                0.0
            }
        };
        match self {
            Self::Nothing | Self::Section(..) => 0.0,
            Self::Lot(number, percent) => lot((number, percent)),
            Self::Excess(number, percent) if is(AuditKind::ExcessLot, "X", number) => percent,
            Self::Excess(..) => 0.0,
            Self::Unknown(number, percent) => bottle((number, percent)),
            Self::Both([wrong_lot, wrong_bottle]) => lot(wrong_lot) + bottle(wrong_bottle),
        }
    }
}

/// One more than the largest.
fn most<'a>(numbers: impl Iterator<Item = &'a usize>) -> usize {
    numbers.max().map_or(0, |most| most + 1)
}

fn assigned(value: Decimal, relative: f64) -> Assigned {
    let relative = from_f64(relative, 6).expect("is a number");
    Assigned {
        value,
        standard_uncertainty: value * relative,
    }
}

/// Standard normal, by Box and Muller.
pub fn normal(rng: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

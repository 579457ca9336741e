//! A rehearsed term: careful students with a seed, whose bottles and lots are what they are and not what they are
//! assigned to be.

use std::collections::BTreeMap;

use concordant::course::{Course, Experiment, StaffMember, StaffRole, Student, Zone};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::rehearsal::{Bench, Hand, simulate};
use concordant::measure::{from_f64, to_figures};
use concordant::procedure::{Dates, Procedure};
use concordant::term::{ExperimentAudit, Revision, Slot, Term};
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
    /// The bottle of that number holds so much more than its label says.
    Unknown(usize, f64),
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
    /// For each section, the number of its assistant.
    pub assistant_of: Vec<usize>,
    pub per_section: usize,
    pub unknowns: usize,
    /// Numbered burettes, one to a place at the bench; 0 for none.
    pub burettes: usize,
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
            assistant_of: vec![0, 0, 1, 1],
            per_section: 24,
            unknowns: 8,
            burettes: 24,
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
    pub fn term(&self, seed: u64) -> Term {
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
        let rng = &mut ChaCha20Rng::seed_from_u64(seed);
        let lots = self.lots(&procedure, &mut term, rng);
        let truths = self.bottles(&procedure, &mut term, rng);
        self.people(&mut term);
        term.experiments.push(Experiment {
            key: "e".into(),
            procedure: procedure.clone(),
            dates: Dates {
                opens: "2026-09-14T09:00:00".parse().expect("is a time"),
                due: "2026-09-14T17:00:00".parse().expect("is a time"),
            },
            section_lots: BTreeMap::new(),
        });
        for (place, student) in term.students.clone().iter().enumerate() {
            let (section, seat) = (place / self.per_section, place % self.per_section);
            // the deal goes on from section to section
            let bottle = (place + section) % self.unknowns;
            let own = &self.lots_of[section];
            // in pairs, so that every bottle meets every lot
            let lot = own[(seat / 2) % own.len()];
            let bench = Bench {
                truth: truths[bottle],
                lot: Some(&lots[lot]),
                excess_lot: None,
                blank: 0.12,
            };
            let hand = Hand {
                care: 1.0,
                sloppy_decimals: 0.0,
                trials: procedure.trials.minimum,
                rough: false,
            };
            let mut hand_in = simulate(&procedure, &bench, &hand, rng).expect("can be titrated");
            if let Some(number) = seat.checked_rem(self.burettes) {
                let rows = hand_in.titrations.iter_mut();
                rows.for_each(|row| row.instrument = Some(format!("B{number}")));
            }
            let slot = Slot::new("e", &student.id);
            term.issued.insert(slot.clone(), format!("U{bottle}"));
            let revision = Revision {
                hand_in,
                submitted_at: None,
                reason: String::new(),
                receipt: None,
            };
            term.submissions.insert(slot, vec![revision]);
        }
        term
    }

    /// The class judged and audited.
    pub fn audit(&self, seed: u64) -> ExperimentAudit {
        let term = self.term(seed);
        let judged = term.judge_all();
        let mut audits = term.audit(judged.iter().map(|(slot, one)| (slot, one)));
        audits.remove(0)
    }

    /// Lots as they are; the term learns what they are assigned to be.
    fn lots(&self, procedure: &Procedure, term: &mut Term, rng: &mut impl Rng) -> Vec<Lot> {
        let (species, nominal) = procedure.lot_reagent().expect("has a titrant");
        let count = self
            .lots_of
            .concat()
            .into_iter()
            .max()
            .map_or(0, |most| most + 1);
        let one = |number: usize| {
            let lot = Lot {
                code: format!("L{number}"),
                reagent: species.written().to_owned(),
                molarity: assigned(nominal, LOT_UNCERTAINTY),
                version: 1,
            };
            term.lots.insert(lot.code.clone(), lot.clone());
            let off = self.wrong.of_lot(number) + 100.0 * LOT_UNCERTAINTY * normal(rng);
            let mut really = lot;
            really.molarity.value = off_by(nominal, off);
            really
        };
        (0..count).map(one).collect()
    }

    /// What the bottles hold; the term learns what they are assigned to hold.
    fn bottles(&self, procedure: &Procedure, term: &mut Term, rng: &mut impl Rng) -> Vec<f64> {
        // titres between 20 and 30 mL with the nominal titrant
        let (low, high) = match procedure.key.as_str() {
            "spring-chloride" => (142.0, 213.0),
            _ => (4.80, 7.20),
        };
        let one = |number: usize| {
            let held = low + (high - low) * rng.random::<f64>();
            let value = to_figures(from_f64(held, 8).expect("is a number"), 5);
            let unknown = Unknown {
                code: format!("U{number}"),
                truth: Sealed::new(assigned(value, BOTTLE_UNCERTAINTY)),
                version: 1,
            };
            let of = term.unknowns.entry("e".into()).or_default();
            of.insert(unknown.code.clone(), unknown);
            let off = self.wrong.of_unknown(number) + 100.0 * BOTTLE_UNCERTAINTY * normal(rng);
            concordant::measure::as_f64(off_by(value, off))
        };
        (0..self.unknowns).map(one).collect()
    }

    fn people(&self, term: &mut Term) {
        for section in 0..self.lots_of.len() {
            for seat in 0..self.per_section {
                term.students.push(Student {
                    id: format!("s{section}-{seat:02}"),
                    family_name: "F".into(),
                    given_name: "G".into(),
                    section: format!("S{section}"),
                    email: String::new(),
                });
            }
        }
        let count = self.assistant_of.iter().max().map_or(0, |most| most + 1);
        for number in 0..count {
            let own = self.assistant_of.iter().enumerate();
            let own = own.filter(|(_, assistant)| **assistant == number);
            term.staff.push(StaffMember {
                login: format!("a{number}"),
                name: format!("A{number}"),
                role: StaffRole::Assistant,
                sections: own.map(|(section, _)| format!("S{section}")).collect(),
            });
        }
    }
}

impl Wrong {
    fn of_lot(self, number: usize) -> f64 {
        match self {
            Self::Lot(wrong, percent) if wrong == number => percent,
            Self::Both([(wrong, percent), _]) if wrong == number => percent,
            _ => 0.0,
        }
    }

    fn of_unknown(self, number: usize) -> f64 {
        match self {
            Self::Unknown(wrong, percent) if wrong == number => percent,
            Self::Both([_, (wrong, percent)]) if wrong == number => percent,
            _ => 0.0,
        }
    }
}

fn assigned(value: Decimal, relative: f64) -> Assigned {
    let relative = from_f64(relative, 6).expect("is a number");
    Assigned {
        value,
        standard_uncertainty: value * relative,
    }
}

fn off_by(value: Decimal, percent: f64) -> Decimal {
    value * from_f64(1.0 + percent / 100.0, 12).expect("is a number")
}

/// Standard normal, by Box and Muller.
fn normal(rng: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

//! Slips rehearsed: a class of simulated students, each with one slip or none, and what the judgement makes of them.

use std::collections::{BTreeMap, BTreeSet};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use super::case::{Case, DefaultLots, Settlement};
use super::evaluate::evaluate;
use super::mistakes::{answer, is_of_reading, misread};
use super::rehearsal::{Bench, Hand, simulate};
use super::signal::{Signal, result_at};
use super::slips::{SlipCode, distances, wrong_answers};
use crate::ids::{LotCode, UnknownCode};
use crate::measure::{from_f64, to_figures};
use crate::procedure::{Procedure, Scheme};
use crate::submission::HandIn;
use crate::truth::{Assigned, Lot, Sealed, Unknown};

/// What came of slips made on purpose, and of clean work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Confusion {
    /// By the slip made, in the order of [`SlipCode::ALL`]; slips that cannot be made with the procedure are left out.
    pub slips: BTreeMap<SlipCode, Count>,
    /// Students without a slip.
    pub clean: usize,
    /// Of those, with a slip put forward.
    pub clean_accused: usize,
}

/// What came of one kind of slip.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Count {
    pub made: usize,
    /// Made where the number is off by more than three expanded uncertainties and no other slip comes within three of
    /// explaining it.
    pub identifiable: usize,
    /// Of those, put forward by its name.
    pub named: usize,
    /// Of all made, put forward by its name.
    pub named_of_all: usize,
    /// Of all made, another put forward, by its name.
    pub mistaken: BTreeMap<SlipCode, usize>,
    /// Of all made, listed among several.
    pub one_of: usize,
}

/// Three expanded uncertainties, in standard ones.
const APART: f64 = 6.0;
/// Bottles of the class.
const BOTTLES: u32 = 8;

/// Simulates so many students per slip, and ten times as many without one. The same seed gives the same class.
pub fn confusion(procedure: &Procedure, students: usize, seed: u64) -> Option<Confusion> {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let class = Class::of(procedure)?;
    let mut found = Confusion::default();
    for code in SlipCode::ALL {
        for _ in 0..students {
            class.student(Some(code), &mut found, &mut rng);
        }
    }
    for _ in 0..students.saturating_mul(10) {
        class.student(None, &mut found, &mut rng);
    }
    Some(found)
}

struct Class<'p> {
    procedure: &'p Procedure,
    lots: BTreeMap<LotCode, Lot>,
    unknowns: BTreeMap<UnknownCode, Unknown>,
    /// What the bottles hold, in order.
    truths: Vec<Assigned>,
}

impl<'p> Class<'p> {
    fn of(procedure: &'p Procedure) -> Option<Self> {
        let mut lots = BTreeMap::new();
        let mut add = |code: &str, reagent: &str, nominal: Decimal, permille: i64| {
            let factor = Decimal::new(permille, 3);
            let value = to_figures(nominal.saturating_mul(factor), 4);
            let standard_uncertainty = value.saturating_mul(Decimal::new(5, 4));
            let lot = Lot {
                code: LotCode::new(code),
                reagent: reagent.to_owned(),
                molarity: Assigned {
                    value,
                    standard_uncertainty,
                },
                version: 1,
            };
            lots.insert(lot.code.clone(), lot);
        };
        if let Some((species, nominal)) = procedure.lot_reagent() {
            add(OWN, species.written(), nominal, 1027);
            add(OTHER, species.written(), nominal, 951);
        }
        if let Some(excess) = &procedure.excess {
            add(EXCESS, excess.species.written(), excess.nominal, 1013);
        }
        let mut class = Self {
            procedure,
            lots,
            unknowns: BTreeMap::new(),
            truths: Vec::new(),
        };
        for n in 0..BOTTLES {
            let share = 0.40 + 0.04 * f64::from(n);
            let truth = if procedure.scheme == Scheme::Standardisation {
                let label = procedure.titrant.as_ref().map(|t| t.nominal)?;
                crate::measure::as_f64(label) * (0.90 + 0.025 * f64::from(n))
            } else {
                let signal = Signal::of(procedure).full * share;
                result_at(procedure, &class.bench(1.0, OWN), signal).filter(|r| *r > 0.0)?
            };
            let value = to_figures(from_f64(truth, 8)?, 5);
            let standard_uncertainty = value.saturating_mul(Decimal::new(5, 4));
            let code = UnknownCode::new(format!("U-{n}"));
            let assigned = Assigned {
                value,
                standard_uncertainty,
            };
            class.truths.push(assigned);
            let truth = Sealed::new(assigned);
            class.unknowns.insert(
                code.clone(),
                Unknown {
                    code,
                    truth,
                    version: 1,
                },
            );
        }
        Some(class)
    }

    fn bench(&self, truth: f64, lot: &str) -> Bench<'_> {
        Bench {
            truth,
            lot: self.lots.get(lot),
            excess_lot: self.lots.get(EXCESS),
            blank: 0.12,
        }
    }

    /// One student with a slip or without, counted.
    fn student(&self, code: Option<SlipCode>, found: &mut Confusion, rng: &mut ChaCha20Rng) {
        let Some((own, hand_in)) = self.hand_in(code, rng) else {
            return;
        };
        let Some(truth) = self.truths.get(own).copied() else {
            return;
        };
        let own = format!("U-{own}");
        self.with_case(&own, &hand_in, |case| {
            let judged = evaluate(case);
            let Some(code) = code else {
                let explained = [&judged.reading_slips, &judged.calculation_slips];
                found.clean = found.clean.saturating_add(1);
                let accused = explained.iter().any(|e| e.likely().is_some());
                found.clean_accused = found.clean_accused.saturating_add(usize::from(accused));
                return;
            };
            let count = found.slips.entry(code).or_default();
            let of_reading = is_of_reading(code);
            let explained = if of_reading {
                &judged.reading_slips
            } else {
                &judged.calculation_slips
            };
            let likely = explained.likely().map(|c| c.code);
            let work_up = case.work_up();
            let tried = distances(case, &work_up, of_reading.then_some(truth));
            let others = tried.iter().filter(|(other, _)| *other != code);
            let visible = !tried.is_empty() && self.is_far(case, &work_up, of_reading, truth);
            let identifiable = visible && others.into_iter().all(|(_, off)| *off > APART);
            let named = likely == Some(code);
            let add = |n: &mut usize, one: bool| *n = n.saturating_add(usize::from(one));
            add(&mut count.made, true);
            add(&mut count.identifiable, identifiable);
            add(&mut count.named, identifiable && named);
            add(&mut count.named_of_all, named);
            let listed = explained.candidates.iter().any(|c| c.code == code);
            add(&mut count.one_of, likely.is_none() && listed);
            if let Some(other) = likely.filter(|other| *other != code) {
                add(count.mistaken.entry(other).or_default(), true);
            }
        });
    }

    /// Whether the number is off by more than three expanded uncertainties.
    fn is_far(
        &self,
        case: &Case,
        work_up: &crate::workup::WorkUp,
        of_reading: bool,
        truth: Assigned,
    ) -> bool {
        let (Some(value), Some(budget)) = (work_up.value(), &work_up.budget) else {
            return false;
        };
        let float = crate::measure::as_f64;
        if of_reading {
            let joined = budget.standard.hypot(float(truth.standard_uncertainty));
            (float(value) - float(truth.value)).abs() > APART * joined
        } else {
            // an answer that agrees has nothing to explain
            case.hand_in.reported.is_some()
        }
    }

    fn hand_in(&self, code: Option<SlipCode>, rng: &mut ChaCha20Rng) -> Option<(usize, HandIn)> {
        let own = rng.random_range(0..self.truths.len());
        let taken = match code {
            Some(SlipCode::OtherUnknown) => {
                let step = rng.random_range(1..self.truths.len());
                own.saturating_add(step).checked_rem(self.truths.len())?
            }
            _ => own,
        };
        let lot = if code == Some(SlipCode::OtherLot) {
            self.lots.get(OTHER)?;
            OTHER
        } else {
            OWN
        };
        let truth = crate::measure::as_f64(self.truths.get(taken)?.value);
        let bench = self.bench(truth, lot);
        let hand = Hand {
            care: 1.0,
            sloppy_decimals: 0.0,
            trials: self.procedure.trials.minimum,
            rough: true,
        };
        let mut hand_in = simulate(self.procedure, &bench, &hand, rng)?;
        for row in &mut hand_in.titrations {
            row.lot = self.lots.contains_key(OWN).then(|| LotCode::new(OWN));
        }
        let hand_in = match code {
            Some(code) if is_of_reading(code) => match code {
                SlipCode::OtherUnknown | SlipCode::OtherLot => hand_in,
                _ => misread(code, self.procedure, &hand_in, rng)?,
            },
            _ => hand_in,
        };
        let code_of_answer = code.filter(|code| !is_of_reading(*code));
        let reported = self.with_case(&format!("U-{own}"), &hand_in, |case| {
            let work_up = case.work_up();
            let Some(code) = code_of_answer else {
                return work_up.value();
            };
            let ways: Vec<Decimal> = wrong_answers(case, &work_up)
                .into_iter()
                .filter(|(other, ..)| *other == code)
                .map(|(.., prediction)| prediction)
                .collect();
            ways.get(rng.random_range(0..ways.len().max(1))).copied()
        })?;
        let reported = answer(reported).filter(|answer| answer.value() > Decimal::ZERO)?;
        Some((
            own,
            HandIn {
                reported: Some(reported),
                ..hand_in
            },
        ))
    }

    fn with_case<T>(&self, own: &str, hand_in: &HandIn, use_case: impl FnOnce(&Case) -> T) -> T {
        use_case(&Case {
            procedure: self.procedure,
            hand_in,
            revision: 1,
            lots: &self.lots,
            default_lots: &DefaultLots {
                titrant: self.lots.contains_key(OWN).then(|| LotCode::new(OWN)),
                excess: self.lots.contains_key(EXCESS).then(|| LotCode::new(EXCESS)),
                assigned: false,
            },
            unknowns: &self.unknowns,
            issued: Some(own),
            submitted_at: None,
            due: None,
            by_hand: None,
            likenesses: &[],
            settlement: &Settlement {
                left_out: BTreeSet::new(),
                ..Settlement::default()
            },
        })
    }
}

const OWN: &str = "T-1";
const OTHER: &str = "T-2";
const EXCESS: &str = "X-1";

impl Confusion {
    pub fn add(&mut self, other: &Self) {
        let add = |n: &mut usize, more: usize| *n = n.saturating_add(more);
        for (code, more) in &other.slips {
            let count = self.slips.entry(*code).or_default();
            add(&mut count.made, more.made);
            add(&mut count.identifiable, more.identifiable);
            add(&mut count.named, more.named);
            add(&mut count.named_of_all, more.named_of_all);
            add(&mut count.one_of, more.one_of);
            for (mistaken, n) in &more.mistaken {
                add(count.mistaken.entry(*mistaken).or_default(), *n);
            }
        }
        add(&mut self.clean, other.clean);
        add(&mut self.clean_accused, other.clean_accused);
    }

    /// Identifiable slips and how many of them were named.
    pub fn named(&self) -> (usize, usize) {
        let identifiable = self.slips.values().map(|c| c.identifiable).sum();
        (identifiable, self.slips.values().map(|c| c.named).sum())
    }
}

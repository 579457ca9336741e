//! Mistakes made on purpose: simulated students, each with one or none, and what the judgement makes of them.

use std::collections::BTreeMap;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::arithmetic::Notebook;
use super::hands::{Hands, Population};
use super::mistakes::Mistake;
use super::supplies::{Order, Place, Supplies};
use crate::ids::LotCode;
use crate::judge::{AuditKind, Case, SlipCode, evaluate, slips::distances};
use crate::measure::as_f64;
use crate::procedure::Procedure;
use crate::submission::HandIn;
use crate::truth::Assigned;
use crate::workup::WorkUp;

/// What came of mistakes made on purpose, and of clean work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Confusion {
    /// By the mistake made; those that cannot be made with the procedure are left out.
    pub slips: BTreeMap<Mistake, Count>,
    /// Students without a mistake.
    pub clean: usize,
    /// Of those, with a slip put forward.
    pub clean_accused: usize,
}

/// What came of one kind of mistake.
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
const BOTTLES: usize = 8;

/// Simulates so many students per mistake, and ten times as many without one. The same seed gives the same class. None
/// where the procedure cannot be carried out.
pub fn confusion(
    procedure: &Procedure,
    population: Population,
    students: usize,
    seed: u64,
) -> Option<Confusion> {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let class = Rehearsal::make(procedure, population, &mut rng)?;
    let mut found = Confusion::default();
    for mistake in Mistake::ALL {
        for _ in 0..students {
            class.wrong(mistake, &mut found, &mut rng);
        }
    }
    for _ in 0..students.saturating_mul(10) {
        class.clean(&mut found, &mut rng);
    }
    Some(found)
}

/// A class with a lot and bottles that are far enough from others for a slip to show.
pub(super) struct Rehearsal<'p> {
    procedure: &'p Procedure,
    population: Population,
    supplies: Supplies,
}

impl<'p> Rehearsal<'p> {
    pub fn make(
        procedure: &'p Procedure,
        population: Population,
        rng: &mut ChaCha20Rng,
    ) -> Option<Self> {
        let order = Order {
            lots: 2,
            unknowns: BOTTLES,
            // far enough from the label and from each other that a slip between them shows
            over_label: [1.027, 0.951],
            excess_over_label: 1.013,
            scale: (0.40, 0.68),
            lot_uncertainty: 0.000_5,
            unknown_uncertainty: 0.000_5,
            exact: true,
            ..Order::default()
        };
        Some(Self {
            procedure,
            population,
            supplies: Supplies::make(procedure, &order, rng)?,
        })
    }

    pub fn case<'a>(&'a self, hand_in: &'a HandIn, bottle: usize) -> Case<'a> {
        self.supplies.case(self.procedure, hand_in, bottle)
    }

    /// What a sound determination would come to if it were of another bottle, or with another lot.
    pub fn other_results(&self, bottle: usize) -> Vec<f64> {
        let assigned = |number: usize| Some(as_f64(self.supplies.assigned(number)?.value));
        let bottles = (0..BOTTLES).filter(|other| *other != bottle);
        let mut results: Vec<f64> = bottles.filter_map(assigned).collect();
        let molarity = |number: usize| {
            let code = self.supplies.code(AuditKind::Lot, number)?;
            Some(as_f64(self.supplies.lots.get(code)?.molarity.value))
        };
        if let (Some(own), Some(one), Some(other)) = (assigned(bottle), molarity(0), molarity(1)) {
            results.extend([own * one / other, own * other / one]);
        }
        results
    }

    fn clean(&self, found: &mut Confusion, rng: &mut ChaCha20Rng) {
        let Some((bottle, hand_in)) = self.hand_in(None, rng) else {
            return;
        };
        let judged = evaluate(&self.supplies.case(self.procedure, &hand_in, bottle));
        let accused = judged.explanations().iter().any(|e| e.likely().is_some());
        count(&mut found.clean, true);
        count(&mut found.clean_accused, accused);
    }

    fn wrong(&self, mistake: Mistake, found: &mut Confusion, rng: &mut ChaCha20Rng) {
        let Some((bottle, hand_in)) = self.hand_in(Some(mistake), rng) else {
            return;
        };
        let case = self.supplies.case(self.procedure, &hand_in, bottle);
        let judged = evaluate(&case);
        let at_the_bench = mistake.is_at_the_bench();
        let explained = if at_the_bench {
            &judged.reading_slips
        } else {
            &judged.calculation_slips
        };
        // what is seen inside a trial is seen whatever the result
        let in_a_trial = judged.trial_slips.likely().filter(|_| at_the_bench);
        let likely = in_a_trial.or(explained.likely()).map(|c| c.code);
        let named = likely.is_some() && likely == mistake.slip();
        let tally = found.slips.entry(mistake).or_default();
        count(&mut tally.made, true);
        count(&mut tally.named_of_all, named);
        if self.is_identifiable(mistake, &case, bottle) {
            count(&mut tally.identifiable, true);
            count(&mut tally.named, named);
        }
        let mut codes = explained.candidates.iter().map(|c| Some(c.code));
        let listed = codes.any(|code| code == mistake.slip());
        count(&mut tally.one_of, likely.is_none() && listed);
        if let Some(other) = likely.filter(|_| !named) {
            count(tally.mistaken.entry(other).or_default(), true);
        }
    }

    /// Whether it shows, and nothing else that is tried comes near to explaining it.
    fn is_identifiable(&self, mistake: Mistake, case: &Case, bottle: usize) -> bool {
        let Some(slip) = mistake.slip() else {
            return false;
        };
        let work_up = case.work_up();
        let truth = self.supplies.assigned(bottle);
        let truth = truth.filter(|_| mistake.is_at_the_bench());
        let far = truth.is_none_or(|truth| is_far(&work_up, truth));
        let tried = distances(case, &work_up, truth);
        let mut others = tried.iter().filter(|(other, _)| *other != slip);
        far && !tried.is_empty() && others.all(|(_, off)| *off > APART)
    }

    /// The bottle that was issued, and what was handed in.
    fn hand_in(&self, mistake: Option<Mistake>, rng: &mut ChaCha20Rng) -> Option<(usize, HandIn)> {
        let hands = Hands {
            rough: true,
            ..self.population.hands(self.procedure, rng)
        };
        let (bottle, mut hand_in) = self.titrated(mistake, &hands, rng)?;
        let at_the_bench = mistake.filter(|mistake| mistake.is_at_the_bench());
        hand_in = match at_the_bench {
            Some(Mistake::OtherUnknown | Mistake::OtherLot | Mistake::WrongPipette) | None => {
                hand_in
            }
            Some(mistake) => mistake.misread(self.procedure, &hand_in, rng)?,
        };
        let in_the_sum = mistake.filter(|mistake| !mistake.is_at_the_bench());
        Some((bottle, self.answered(in_the_sum, bottle, hand_in, rng)?))
    }

    /// The bottle that was issued, and what is read: of another one or with other glassware, if that is the mistake.
    pub fn titrated(
        &self,
        mistake: Option<Mistake>,
        hands: &Hands,
        rng: &mut ChaCha20Rng,
    ) -> Option<(usize, HandIn)> {
        let bottle = rng.random_range(0..BOTTLES);
        let taken = match mistake {
            Some(Mistake::OtherUnknown) => {
                let step = rng.random_range(1..BOTTLES);
                bottle.saturating_add(step).checked_rem(BOTTLES)?
            }
            _ => bottle,
        };
        let mut place = Place::of(taken);
        if mistake == Some(Mistake::OtherLot) {
            self.supplies.code(AuditKind::Lot, 1)?;
            place.lot = 1;
        }
        if let Some(mistake) = mistake {
            place.share = mistake.share_taken(self.procedure, rng)?;
        }
        let mut hand_in = self.supplies.titrated(self.procedure, place, hands, rng)?;
        for row in &mut hand_in.titrations {
            row.lot = self.supplies.code(AuditKind::Lot, 0).map(LotCode::new);
        }
        Some((bottle, hand_in))
    }

    /// With an answer, and that mistake in it.
    pub fn answered(
        &self,
        mistake: Option<Mistake>,
        bottle: usize,
        hand_in: HandIn,
        rng: &mut ChaCha20Rng,
    ) -> Option<HandIn> {
        let reported = Notebook::of(&self.case(&hand_in, bottle)).answer(mistake, rng)?;
        Some(HandIn {
            reported: Some(reported),
            ..hand_in
        })
    }
}

/// Whether the result is off by more than three expanded uncertainties.
fn is_far(work_up: &WorkUp, truth: Assigned) -> bool {
    let (Some(value), Some(budget)) = (work_up.value(), &work_up.budget) else {
        return false;
    };
    let joined = budget.standard.hypot(as_f64(truth.standard_uncertainty));
    (as_f64(value) - as_f64(truth.value)).abs() > APART * joined
}

fn count(n: &mut usize, one: bool) {
    *n = n.saturating_add(usize::from(one));
}

impl Confusion {
    pub fn add(&mut self, other: &Self) {
        let add = |n: &mut usize, more: usize| *n = n.saturating_add(more);
        for (mistake, more) in &other.slips {
            let tally = self.slips.entry(*mistake).or_default();
            add(&mut tally.made, more.made);
            add(&mut tally.identifiable, more.identifiable);
            add(&mut tally.named, more.named);
            add(&mut tally.named_of_all, more.named_of_all);
            add(&mut tally.one_of, more.one_of);
            for (code, n) in &more.mistaken {
                add(tally.mistaken.entry(*code).or_default(), *n);
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

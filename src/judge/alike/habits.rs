//! How often honest students would coincide: from the readings of all the others.

use std::cell::RefCell;

use smallvec::SmallVec;

use super::index::{Counts, IndexedFact, Kind};
use super::sheet::{Amount, Sheet};
use crate::measure::as_f64;
use crate::procedure::Procedure;
use crate::stats::mean_and_s;
use crate::workup::titre_scatter;

/// Steps to either side of a reading over which its neighbourhood is smoothed.
const AROUND: i64 = 5;
/// The same for differences of two titres, which lie closer together.
const NEXT: i64 = 2;
/// How many steps these are.
const CELLS_AROUND: f64 = 11.0;
const CELLS_NEXT: f64 = 5.0;
/// Least chance that two students both fill to a mark, and both to zero.
const AT_A_MARK: f64 = 0.1;
const AT_ZERO: f64 = 0.5;
/// Share of students who titrate another bottle than their own, or so wrongly that it looks like it.
const STRAYED: f64 = 0.05;
/// Fewest volumes of a bottle from which it is told which are usual.
const FEWEST_OF_BOTTLE: f64 = 12.0;
/// How many volumes of those that the model expects are added to those counted.
const ADDED_TO_BOTTLE: f64 = 0.5;
const ADDED_TO_APART: f64 = 20.0;
/// Fewest degrees of freedom from which a own scatter of the students is taken.
const FEWEST_FREEDOM: f64 = 10.0;

/// What titres and digits are like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Titration {
    /// Chance that two delivered volumes of one bottle and lot coincide to one readable step.
    pub coincide: f64,
    /// Ten times the chance that two last digits are the same.
    preference: f64,
    /// The readable step, in units.
    pub step: i64,
}

impl Titration {
    /// Two volumes of standard deviation σ, written in steps of h, differ by nothing with probability at most
    /// h / (2 √π σ): the density of their difference at zero. σ is the smaller of what reading and endpoint predict and
    /// what the students show, rounding included; where they prefer some last digits, coincidences are as much
    /// more frequent as pairs of like digits are.
    pub fn of(procedure: &Procedure, sheets: &[&Sheet]) -> Option<Self> {
        let step = procedure.burette()?.readable_step()?;
        let (h, step) = (as_f64(step), super::sheet::in_units(step));
        let predicted = titre_scatter(procedure)?.hypot(h / 6_f64.sqrt());
        let seen = seen_scatter(sheets, 2.0 * predicted);
        let sigma = seen.map_or(predicted, |seen| seen.clamp(h / 2.0, predicted));
        let coincide = h / (2.0 * std::f64::consts::PI.sqrt() * sigma);
        // and by ten steps, which may be a digit altered
        let coincide = coincide * (1.0 + 2.0 * (-(5.0 * h / sigma).powi(2)).exp());
        let preference = digit_preference(sheets, step);
        Some(Self {
            coincide: (coincide * preference).min(1.0),
            preference,
            step,
        })
    }
}

/// Pooled standard deviation of the delivered volumes of each student, mL; who scatters more than `most` counts as that.
fn seen_scatter(sheets: &[&Sheet], most: f64) -> Option<f64> {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for sheet in sheets {
        let rows = sheet.numbered();
        let volumes: Vec<f64> = rows
            .iter()
            .filter_map(|row| sheet.rows.get(*row)?.titres.first())
            .map(|titre| titre.delivered as f64 / 1e6)
            .collect();
        let Some((_, s)) = mean_and_s(&volumes) else {
            continue;
        };
        let own = volumes.len() as f64 - 1.0;
        squares += own * s.min(most).powi(2);
        freedom += own;
    }
    (freedom >= FEWEST_FREEDOM).then(|| (squares / freedom).sqrt())
}

/// Ten times the chance that two burette readings end in the same digit; 1 where digits are even.
fn digit_preference(sheets: &[&Sheet], step: i64) -> f64 {
    let mut counts = [0.0_f64; 10];
    for titre in sheets.iter().flat_map(|sheet| sheet.titres()) {
        for reading in [titre.start, titre.end] {
            let digit = reading
                .checked_div(step)
                .and_then(|steps| steps.checked_rem(10));
            let digit = usize::try_from(digit.unwrap_or(0)).unwrap_or(0);
            // an exact zero is a filling and not an estimate
            if reading != 0
                && let Some(count) = counts.get_mut(digit)
            {
                *count += 1.0;
            }
        }
    }
    let all: f64 = counts.iter().sum();
    let pairs: f64 = counts.iter().map(|count| count * (count - 1.0)).sum();
    if all < 20.0 {
        return 1.0;
    }
    (10.0 * pairs / (all * (all - 1.0))).max(1.0)
}

/// Of which facts it is told how likely they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    WhatCoincides,
    Everything,
}

/// Counts of [`Others::near`] by kind, number and steps.
pub(super) type Counted = RefCell<SmallVec<[((Kind, i64, i64), (f64, f64)); 32]>>;

/// Everything read in an experiment, without what the two who are compared read.
#[derive(Clone, Copy)]
pub(super) struct Others<'a> {
    pub counts: &'a Counts,
    /// What was counted before: the layouts of a pair ask for the same few numbers over and over.
    pub counted: &'a Counted,
    pub told: Told,
    /// What the two hold.
    pub without: [&'a [IndexedFact]; 2],
    /// Bottles of the two, where they are known.
    pub bottles: [Option<u32>; 2],
    pub titration: Option<Titration>,
}

impl Others<'_> {
    pub fn is_told(&self, coincides: bool) -> bool {
        self.told == Told::Everything || coincides
    }

    pub fn step(&self) -> i64 {
        self.titration.map_or(1, |titration| titration.step).max(1)
    }

    /// How many of a kind lie no more than so many steps away, and how many there are.
    fn near(&self, kind: Kind, number: i64, steps: i64) -> (f64, f64) {
        let asked = (kind, number, steps);
        let before = self
            .counted
            .borrow()
            .iter()
            .find(|(one, _)| *one == asked)
            .copied();
        if let Some((_, counted)) = before {
            return counted;
        }
        let width = self.step().saturating_mul(steps);
        let between = number.saturating_sub(width)..=number.saturating_add(width);
        let counted = self.counts.count(kind, between, &self.without);
        self.counted.borrow_mut().push((asked, counted));
        counted
    }

    fn share(&self, kind: Kind, number: i64) -> f64 {
        let (same, all) = self.near(kind, number, 0);
        (same + 1.0) / (all + 1.0)
    }

    /// Chance that a burette is filled to that reading, before the first titration or before a later one: the larger of
    /// how often exactly that was read, counting it half a time more than it was, and how often it or one of its
    /// neighbours was, shared out among them.
    pub fn filling(&self, reading: i64, first: bool) -> f64 {
        let kind = if first {
            Kind::FIRST_FILLING
        } else {
            Kind::LATER_FILLING
        };
        let (same, all) = self.near(kind, reading, 0);
        let (around, _) = self.near(kind, reading, AROUND);
        if all == 0.0 {
            return 1.0;
        }
        let exactly: f64 = (same + 0.5) / (all + 0.5);
        let chance = exactly.max(around / (all * CELLS_AROUND));
        match reading.checked_rem(self.step().saturating_mul(10)) {
            _ if reading == 0 => chance.max(AT_ZERO),
            Some(0) => chance.max(AT_A_MARK),
            _ => chance,
        }
    }

    /// Chance that a meniscus is read again so far from where it was read before.
    pub fn read_again(&self, apart: i64) -> f64 {
        self.share(Kind::READ_AGAIN, apart)
    }

    /// Chance of that weighing or volume.
    pub fn amount(&self, amount: Amount, reading: i64) -> f64 {
        self.share(Kind::amount(amount), reading)
    }

    /// Chance that a student finds the same weighing or volume in two rows: who keeps to one mark will again.
    pub fn repeated(&self, amount: Amount) -> f64 {
        self.share(Kind::repeated(amount), 1)
    }

    /// Chance that two students take that volume for a nominal sample in the first of their numbered trials. With one
    /// bottle it is how often that is taken from it; with two, one of them has gone astray.
    pub fn first_volume(&self, volume: i64) -> f64 {
        let Some(titration) = self.titration else {
            return 1.0;
        };
        let [Some(one), Some(other)] = self.bottles else {
            return titration.coincide;
        };
        let strayed = STRAYED * self.in_any_bottle(volume);
        let from = |bottle| Some(self.in_bottle(bottle, volume)? + strayed);
        let (Some(of_one), Some(of_other)) = (from(one), from(other)) else {
            return titration.coincide;
        };
        let chance = if one == other {
            of_one
        } else {
            2.0 * of_one.min(of_other)
        };
        (chance * titration.preference).min(1.0)
    }

    /// None where too little is known of the bottle.
    fn in_bottle(&self, bottle: u32, volume: i64) -> Option<f64> {
        let (around, all) = self.near(Kind::of_bottle(bottle), volume, AROUND);
        let model = ADDED_TO_BOTTLE * self.titration?.coincide;
        let chance = (around / CELLS_AROUND + model) / (all + ADDED_TO_BOTTLE);
        (all >= FEWEST_OF_BOTTLE).then_some(chance)
    }

    fn in_any_bottle(&self, volume: i64) -> f64 {
        let (around, all) = self.near(Kind::OF_ANY_BOTTLE, volume, AROUND);
        (around + 1.0) / (CELLS_AROUND * (all + 1.0))
    }

    /// Chance that a student takes so much more in another titration than in the first numbered one.
    pub fn apart(&self, kind: Kind, apart: i64) -> f64 {
        let Some(titration) = self.titration else {
            return 1.0;
        };
        let (same, all) = self.near(kind, apart, 0);
        let (around, _) = self.near(kind, apart, NEXT);
        let model = ADDED_TO_APART * titration.coincide;
        let smooth = (around / CELLS_NEXT + model) / (all + ADDED_TO_APART);
        let exactly = (same + 0.5) / (all + ADDED_TO_APART);
        (smooth * titration.preference).max(exactly).min(1.0)
    }

    /// Chance that two readings which are not the same differ by whole tens of steps.
    pub fn but_for_a_digit(&self) -> f64 {
        let preference = self
            .titration
            .map_or(10.0, |titration| titration.preference);
        0.1 * preference
    }
}

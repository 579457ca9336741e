//! Results of an experiment as realistic hands get them, made here from what instructors say of their sections and apart
//! from the simulation of the program: four in five careful (a titre to 0.025–0.030 mL, three of them), 15 % sloppy (three
//! to four times as much, and a pipette that is 0.4 % off), 5 % poor (the same with heavy tails, 0.6 %), and now and then
//! a millilitre misread or another bottle taken.

use std::collections::BTreeMap;

use concordant::judge::{AuditKind, GroupName, Observed};
use concordant::simulate::hands::normal;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

/// Who shares what, and when.
#[derive(Clone)]
pub struct Design {
    /// For each section of 24, its lots, dealt in pairs.
    pub lots_of: Vec<Vec<usize>>,
    /// For each section, its day.
    pub day_of: Vec<usize>,
    /// Dealt at random.
    pub bottles: usize,
}

/// What is off, in percent of the result.
#[derive(Clone, Copy)]
pub enum Off {
    Nothing,
    Lot(usize, f64),
    Bottle(usize, f64),
    /// A lot, so much each day.
    Drift(usize, f64),
    /// Sections.
    Sections(&'static [(usize, f64)]),
    /// A lot, so much each day, and a section.
    DriftAndSection((usize, f64), (usize, f64)),
}

#[derive(Clone, Copy)]
struct Person {
    titre: f64,
    pipette: f64,
    heavy: bool,
    gross: f64,
}

/// A class for a term.
pub struct Class {
    people: Vec<Person>,
    rng: ChaCha20Rng,
}

impl Design {
    /// Six sections of 24 on four days with two lots.
    pub fn six_sections(bottles: usize) -> Self {
        Self {
            lots_of: [0, 1, 0, 1, 0, 1].map(|lot| vec![lot]).to_vec(),
            day_of: vec![0, 0, 1, 1, 2, 3],
            bottles,
        }
    }
}

impl Class {
    pub fn of(students: usize, seed: u64) -> Self {
        let mut rng = ChaCha20Rng::seed_from_u64(seed);
        let people = (0..students).map(|_| Person::draw(&mut rng)).collect();
        Self { people, rng }
    }

    /// Everybody's result, and the standard uncertainties of what was assigned.
    pub fn results(
        &mut self,
        design: &Design,
        off: Off,
    ) -> (Vec<Observed>, BTreeMap<GroupName, f64>) {
        const PER_SECTION: usize = 24;
        let (lot_percent, bottle_percent) = (0.08, 0.05);
        let rng = &mut self.rng;
        let lots = design
            .lots_of
            .iter()
            .flatten()
            .max()
            .map_or(0, |last| last + 1);
        let lots: Vec<f64> = (0..lots).map(|_| lot_percent * normal(rng)).collect();
        let bottles: Vec<f64> = (0..design.bottles)
            .map(|_| bottle_percent * normal(rng))
            .collect();
        let students = PER_SECTION * design.lots_of.len();
        let mut dealt: Vec<usize> = (0..students).map(|at| at % design.bottles).collect();
        for at in (1..dealt.len()).rev() {
            dealt.swap(at, rng.random_range(0..=at));
        }
        let mut all = Vec::new();
        for (place, bottle) in dealt.into_iter().enumerate() {
            let (section, seat) = (place / PER_SECTION, place % PER_SECTION);
            let shares = &design.lots_of[section];
            let lot = shares[(seat / 2) % shares.len()];
            let day = design.day_of[section];
            let at_days = day as f64 + rng.random_range(0.60..0.62);
            let shift = off.shift(lot, bottle, section, day);
            let error = self.people[place].error(rng) + lots[lot] + bottles[bottle];
            let groups = [
                (AuditKind::Unknown, format!("U{bottle:02}")),
                (AuditKind::Lot, format!("L{lot}")),
                (AuditKind::Section, format!("S{section}")),
                (AuditKind::Assistant, format!("a{}", section / 2)),
                (AuditKind::Instrument, format!("B{seat:02}")),
                (AuditKind::Day, format!("2026-09-{:02}", 14 + day)),
            ];
            all.push(Observed {
                error_percent: error + shift,
                standard_percent: 0.15,
                at_days: Some(at_days),
                groups: groups
                    .into_iter()
                    .map(|(kind, key)| GroupName::new(kind, key))
                    .collect(),
            });
        }
        let mut stated = BTreeMap::new();
        for name in all.iter().flat_map(|one| &one.groups) {
            let percent = match name.kind {
                AuditKind::Lot => lot_percent,
                AuditKind::Unknown | AuditKind::Instrument => bottle_percent,
                _ => continue,
            };
            stated.insert(name.clone(), percent);
        }
        (all, stated)
    }
}

impl Off {
    fn shift(self, lot: usize, bottle: usize, section: usize, day: usize) -> f64 {
        let of = |(wrong, percent): (usize, f64), here: usize| {
            if wrong == here { percent } else { 0.0 }
        };
        match self {
            Self::Nothing => 0.0,
            Self::Lot(wrong, percent) => of((wrong, percent), lot),
            Self::Bottle(wrong, percent) => of((wrong, percent), bottle),
            Self::Drift(wrong, percent) => of((wrong, percent), lot) * day as f64,
            Self::Sections(wrong) => wrong.iter().map(|one| of(*one, section)).sum(),
            Self::DriftAndSection(drift, wrong) => of(drift, lot) * day as f64 + of(wrong, section),
        }
    }
}

impl Person {
    fn draw(rng: &mut ChaCha20Rng) -> Self {
        let careful = rng.random_range(0.025..0.030);
        let worse = careful * rng.random_range(3.0..4.0);
        let sort: f64 = rng.random();
        let (titre, pipette, gross) = match sort {
            sort if sort < 0.80 => (careful, 0.05, 0.01),
            sort if sort < 0.95 => (worse, 0.4, 0.03),
            _ => (worse, 0.6, 0.1),
        };
        Self {
            titre,
            pipette: pipette * normal(rng),
            heavy: sort >= 0.95,
            gross,
        }
    }

    /// What three titrations of 12 to 25 mL are off by on the mean, percent.
    fn error(self, rng: &mut ChaCha20Rng) -> f64 {
        let volume = rng.random_range(12.0..25.0);
        let mut titres = 0.0;
        for _ in 0..3 {
            // Student's t with three degrees of freedom
            let tails = if self.heavy {
                let squares: f64 = (0..3).map(|_| normal(rng).powi(2)).sum();
                (squares / 3.0).sqrt().max(0.05)
            } else {
                1.0
            };
            titres += self.titre * normal(rng) / tails;
        }
        let gross = if rng.random::<f64>() < self.gross {
            match rng.random_range(0..3) {
                0 => 100.0 / 3.0 / volume,
                1 => 100.0 / volume,
                _ => rng.random_range(-20.0..20.0),
            }
        } else {
            0.0
        };
        // a burette and a flask of class A
        100.0 * titres / 3.0 / volume + self.pipette + 0.08 * normal(rng) + gross
    }
}

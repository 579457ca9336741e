//! Sections rehearsed: what clean work raises by chance, which copies are found, and whether a bad lot is.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::class::{Class, EXPERIMENT, Rehearsed, Wrong};
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::copying::Copying;
use crate::judge::{AuditKind, FlagCode, GroupName, Likeness};
use crate::term::Slot;

/// Care of an ordinary class, as multiples of the errors that a procedure states.
const ORDINARY: (f64, f64) = (0.6, 1.1);
/// By how much the bad lot is off, percent.
pub const BAD_LOT_PERCENT: f64 = 1.0;

/// What came of rehearsed sections.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sections {
    pub clean: usize,
    pub students: usize,
    /// Flags that clean work raised.
    pub flags: BTreeMap<FlagCode, Raised>,
    /// Honest pairs with one bottle and lot, and how many of them were taken for copies.
    pub honest: Share,
    /// Copies by how they were made, and how many of them were found.
    pub copies: BTreeMap<Copying, Share>,
    /// Groups of clean sections, and how many of them looked off.
    pub groups: Share,
    /// Sections with a lot that is off, and how many of them showed it. None are made where no lot is used.
    pub bad_lots: Share,
}

/// A kind of flag.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Raised {
    /// How many were raised.
    pub raised: usize,
    /// Chance that clean work of one student raises it; 0 where chance has no part.
    pub chance: f64,
}

/// So many of so many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// Those that are meant.
    pub found: usize,
    pub of: usize,
}

impl Share {
    fn count(&mut self, found: bool) {
        self.found += usize::from(found);
        self.of += 1;
    }

    fn add(&mut self, other: Self) {
        self.found += other.found;
        self.of += other.of;
    }
}

/// Rehearses that many sections of 24 of each sort: ordinary students who work honestly, ordinary students of whom some
/// copy, and careful students with a lot that is 1 % off. The same seed gives the same sections. None where the
/// procedure cannot be carried out.
pub fn sections(class: &Class, count: usize, seed: u64) -> Option<Sections> {
    let one_section = class.clone().in_one_section();
    let ordinary = Class {
        care: ORDINARY,
        ..one_section.clone()
    };
    let copying = Class {
        copying: Copying::ALL.to_vec(),
        ..ordinary.clone()
    };
    let bad_lot = one_section.but(Wrong::Lot(0, BAD_LOT_PERCENT));
    // numbers of sections, far apart for each sort
    let seeds = |sort: u64| {
        let first = seed.wrapping_mul(1_000_003).wrapping_add(sort << 40);
        (0..count as u64).map(move |n| first.wrapping_add(n))
    };
    let of = |class: &Class, sort: u64, look: fn(&Rehearsed, &mut Sections)| {
        let one = |seed| {
            let mut found = Sections::default();
            look(&class.rehearse(seed)?, &mut found);
            Some(found)
        };
        let each: Option<Vec<Sections>> = seeds(sort)
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(one)
            .collect();
        each
    };
    let mut sum = Sections::default();
    let uses_lot = class.procedure.lot_reagent().is_some();
    for found in [
        of(&ordinary, 0, clean)?,
        of(&copying, 1, copies)?,
        if uses_lot {
            of(&bad_lot, 2, lot)?
        } else {
            Vec::new()
        },
    ] {
        found.iter().for_each(|one| sum.add(one));
    }
    Some(sum)
}

fn clean(rehearsed: &Rehearsed, found: &mut Sections) {
    let judged = rehearsed.judged();
    found.clean += 1;
    found.students += judged.len();
    for flag in judged.iter().flat_map(|(_, one)| &one.evaluation.flags) {
        let raised = found.flags.entry(flag.code).or_default();
        raised.raised += 1;
        raised.chance = flag.chance;
    }
    let audit = rehearsed.audit(&judged);
    for group in audit.iter().flat_map(|audit| &audit.groups) {
        found.groups.count(group.verdict.is_off());
    }
    let (term, alike) = (&rehearsed.term, likenesses(rehearsed));
    for (place, one) in term.students.iter().enumerate() {
        for other in term.students.iter().skip(place + 1) {
            let bottle = |id: &str| {
                term.issued.get(&Slot::new(
                    &ExperimentKey::new(EXPERIMENT),
                    &StudentId::new(id),
                ))
            };
            if bottle(&one.id) == bottle(&other.id) {
                found.honest.count(are_alike(&alike, &one.id, &other.id));
            }
        }
    }
}

fn copies(rehearsed: &Rehearsed, found: &mut Sections) {
    let alike = likenesses(rehearsed);
    for copy in &rehearsed.copies {
        let share = found.copies.entry(copy.how).or_default();
        share.count(are_alike(&alike, &copy.from, &copy.by));
    }
}

fn lot(rehearsed: &Rehearsed, found: &mut Sections) {
    let bad = GroupName::new(AuditKind::Lot, "L0");
    let audit = rehearsed.audit(&rehearsed.judged());
    let group = audit.as_ref().and_then(|audit| audit.group(&bad));
    found
        .bad_lots
        .count(group.is_some_and(|group| group.verdict.is_named()));
}

type Alike = BTreeMap<String, Vec<Likeness>>;

/// What the students of the one section share.
fn likenesses(rehearsed: &Rehearsed) -> Alike {
    let term = &rehearsed.term;
    let section = term.students.first().map(|student| &student.section);
    match (term.experiment(EXPERIMENT), section) {
        (Some(experiment), Some(section)) => term.likenesses(experiment, section),
        _ => Alike::new(),
    }
}

fn are_alike(alike: &Alike, one: &str, other: &str) -> bool {
    let names = |like: &Likeness| like.others.iter().any(|id| id == other);
    alike.get(one).is_some_and(|all| all.iter().any(names))
}

impl Sections {
    pub fn add(&mut self, other: &Self) {
        self.clean += other.clean;
        self.students += other.students;
        for (code, more) in &other.flags {
            let raised = self.flags.entry(*code).or_default();
            raised.raised += more.raised;
            raised.chance = more.chance;
        }
        for (how, more) in &other.copies {
            self.copies.entry(*how).or_default().add(*more);
        }
        self.honest.add(other.honest);
        self.groups.add(other.groups);
        self.bad_lots.add(other.bad_lots);
    }

    /// Flags that chance alone raised, per section.
    pub fn chance_flags_per_section(&self) -> f64 {
        let by_chance = self.flags.values().filter(|raised| raised.chance > 0.0);
        let raised: usize = by_chance.map(|raised| raised.raised).sum();
        raised as f64 / self.clean.max(1) as f64
    }
}

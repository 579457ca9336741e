//! Sections simulated through whole terms: what clean work raises by chance, which copies and invented reports are
//! found, and whether a bad lot or bottle is.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::class::{EXPERIMENT, Rehearsed, SimulatedClass};
use super::copying::Copying;
use super::hands::Population;
use super::supplies::Wrong;
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::{AuditKind, FlagCode, GroupName, Likeness};
use crate::term::{Slot, Status};

/// By how much the bad lot is off, percent.
pub const BAD_LOT_PERCENT: f64 = 1.0;
/// By how much the bad bottle is off, which four students have, percent.
pub const BAD_BOTTLE_PERCENT: f64 = 5.0;
/// What the decaying lot loses in four days, percent.
pub const DECAY_PERCENT: f64 = 1.0;
/// Experiments of the term that somebody invents.
const EXPERIMENTS: usize = 5;

/// What is made in a simulated section, or looked at there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Clean submissions, and those with that flag.
    Flag(FlagCode),
    /// Clean sections, and the flags in them that chance alone raised.
    ChanceFlags,
    /// Clean submissions, and those that wait for a person.
    Waiting,
    /// Honest pairs with one bottle and lot, and those taken for copies.
    HonestPair,
    /// Groups of clean sections, and those that look off.
    Group,
    /// Copies of readings of the same section.
    Copy(Copying),
    /// Copies of readings of another section.
    CopyAcross(Copying),
    /// Students who invent every report of a term.
    Inventor,
    Lot,
    Bottle,
    Decay,
}

/// So many made, and so many of them found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub made: usize,
    pub found: usize,
}

/// What came of simulated sections.
pub type Sections = BTreeMap<Kind, Tally>;

/// Adds what came of others.
pub fn add(sum: &mut Sections, more: &Sections) {
    for (kind, tally) in more {
        let to = sum.entry(*kind).or_default();
        to.made += tally.made;
        to.found += tally.found;
    }
}

fn count(found: &mut Sections, kind: Kind, is_found: bool) {
    let tally = found.entry(kind).or_default();
    tally.made += 1;
    tally.found += usize::from(is_found);
}

/// Simulates that many sections of 24 of each sort: clean; with copies, of the same section and of another; with
/// somebody who invents a whole term; with a bad lot, a bad bottle, a decaying lot. The same seed gives the same
/// sections. None where the procedure cannot be carried out.
pub fn sections(class: &SimulatedClass, count: usize, seed: u64) -> Option<Sections> {
    let one_section = class.clone().in_one_section();
    let clean_class = SimulatedClass {
        population: ordinary(class.population),
        ..one_section.clone()
    };
    let copying = SimulatedClass {
        copying: Copying::ALL.to_vec(),
        ..clean_class.clone()
    };
    let across = SimulatedClass {
        lots_of: vec![vec![0]; 2],
        excess_of: vec![0; 2],
        assistant_of: vec![0, 1],
        copying: vec![Copying::Exact, Copying::Differences],
        across_sections: true,
        ..clean_class.clone()
    };
    let inventing = SimulatedClass {
        experiments: EXPERIMENTS,
        inventing: 1,
        ..clean_class.clone()
    };
    let bad_lot = one_section.clone().but(Wrong::Lot(0, BAD_LOT_PERCENT));
    let bad_bottle = one_section.but(Wrong::Unknown(3, BAD_BOTTLE_PERCENT));
    let week = class.clone().over_a_week();
    let decay = week.but(Wrong::Decay(0, DECAY_PERCENT / 4.0));
    type Look = fn(&Rehearsed, &mut Sections);
    let sorts: [(&SimulatedClass, bool, Look); 7] = [
        (&clean_class, false, clean),
        (&copying, false, copies),
        (&bad_lot, true, lot),
        (&bad_bottle, false, bottle),
        (&decay, true, decaying),
        (&across, false, copies_across),
        (&inventing, false, inventors),
    ];
    let mut sum = Sections::new();
    for (sort, (class, needs_lot, look)) in (0..).zip(sorts) {
        if needs_lot && !class.procedure.uses_titrant_lot() {
            continue;
        }
        // numbers of sections, far apart for each sort
        let first = seed.wrapping_mul(1_000_003).wrapping_add(sort << 40);
        let one = |number| {
            let mut found = Sections::new();
            look(&class.rehearse(first.wrapping_add(number))?, &mut found);
            Some(found)
        };
        let each: Option<Vec<Sections>> = (0..count as u64).into_par_iter().map(one).collect();
        each?.iter().for_each(|one| add(&mut sum, one));
    }
    Some(sum)
}

/// Careful people, some more than others; other populations are mixed as they are.
fn ordinary(population: Population) -> Population {
    match (population, Population::ORDINARY) {
        (Population::Careful { spread, .. }, Population::Careful { least, most, .. }) => {
            Population::Careful {
                least,
                most,
                spread,
            }
        }
        _ => population,
    }
}

fn clean(rehearsed: &Rehearsed, found: &mut Sections) {
    let judged = rehearsed.judged();
    let mut by_chance = 0;
    for (_, one) in &judged {
        let flags = &one.evaluation.flags;
        for code in FlagCode::ALL {
            let raised = flags.iter().any(|flag| flag.code == code);
            count(found, Kind::Flag(code), raised);
        }
        by_chance += flags.iter().filter(|flag| flag.chance > 0.0).count();
        count(found, Kind::Waiting, one.status == Status::ToReview);
    }
    let chance_flags = found.entry(Kind::ChanceFlags).or_default();
    chance_flags.made += 1;
    chance_flags.found += by_chance;
    let audit = rehearsed.audit(&judged);
    for group in audit.iter().flat_map(|audit| &audit.groups) {
        count(found, Kind::Group, group.verdict.is_off());
    }
    let (term, alike) = (&rehearsed.term, likenesses(rehearsed));
    for (place, one) in term.students.iter().enumerate() {
        for other in term.students.iter().skip(place + 1) {
            let bottle = |id: &StudentId| term.issued.get(&slot(id));
            if bottle(&one.id) == bottle(&other.id) {
                let taken = are_alike(&alike, &one.id, &other.id);
                count(found, Kind::HonestPair, taken);
            }
        }
    }
}

fn copies(rehearsed: &Rehearsed, found: &mut Sections) {
    let alike = likenesses(rehearsed);
    for copy in &rehearsed.copies {
        let seen = are_alike(&alike, &copy.from, &copy.by);
        count(found, Kind::Copy(copy.how), seen);
    }
}

fn copies_across(rehearsed: &Rehearsed, found: &mut Sections) {
    let judged: BTreeMap<Slot, _> = rehearsed.judged().into_iter().collect();
    for copy in &rehearsed.copies {
        let one = judged.get(&slot(&copy.by));
        let mut flags = one.into_iter().flat_map(|one| &one.evaluation.flags);
        let seen = flags.any(|flag| flag.code == FlagCode::Alike);
        count(found, Kind::CopyAcross(copy.how), seen);
    }
}

fn inventors(rehearsed: &Rehearsed, found: &mut Sections) {
    let judged = rehearsed.judged();
    for id in &rehearsed.inventors {
        let reports = judged.iter().filter(|(slot, _)| slot.student == *id);
        let mut flags = reports.flat_map(|(_, one)| &one.evaluation.flags);
        let seen = flags.any(|flag| flag.code == FlagCode::ScatterLow);
        count(found, Kind::Inventor, seen);
    }
}

fn lot(rehearsed: &Rehearsed, found: &mut Sections) {
    let bad = GroupName::new(AuditKind::Lot, "L0");
    count(found, Kind::Lot, is_named(rehearsed, &bad));
}

fn bottle(rehearsed: &Rehearsed, found: &mut Sections) {
    let bad = GroupName::new(AuditKind::Unknown, "U3");
    count(found, Kind::Bottle, is_named(rehearsed, &bad));
}

fn decaying(rehearsed: &Rehearsed, found: &mut Sections) {
    let bad = GroupName::new(AuditKind::Lot, "L0");
    count(found, Kind::Decay, is_named(rehearsed, &bad));
}

fn is_named(rehearsed: &Rehearsed, name: &GroupName) -> bool {
    let audit = rehearsed.audit(&rehearsed.judged());
    let group = audit.as_ref().and_then(|audit| audit.group(name));
    group.is_some_and(|group| group.verdict.is_named())
}

type Alike = BTreeMap<String, Vec<Likeness>>;

/// What the students share in the experiment that is looked at.
fn likenesses(rehearsed: &Rehearsed) -> Alike {
    let term = &rehearsed.term;
    let experiment = term.experiment(EXPERIMENT);
    experiment.map_or_else(Alike::new, |one| term.likenesses(one))
}

fn are_alike(alike: &Alike, one: &str, other: &str) -> bool {
    let names = |like: &Likeness| like.others.iter().any(|id| id == other);
    alike.get(one).is_some_and(|all| all.iter().any(names))
}

fn slot(student: &StudentId) -> Slot {
    Slot::new(&ExperimentKey::new(EXPERIMENT), student)
}

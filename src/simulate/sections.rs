//! Sections simulated through whole terms: what clean work raises by chance, which copies and invented reports are
//! found, whom a bad lot accuses, and whether it or a bad bottle is found.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::class::{EXPERIMENT, Rehearsed, SimulatedClass};
use super::copying::Copying;
use super::hands::Population;
use super::supplies::Wrong;
use super::table::{Counts, Kind, add, count};
use crate::columns::Column;
use crate::ids::{ExperimentKey, StudentId};
use crate::judge::{AuditKind, Evaluation, FlagCode, GroupName, Likeness, Part, SlipCode};
use crate::submission::TrialLabel;
use crate::term::{Slot, Status};

/// By how much the bad lot is off, percent.
pub const BAD_LOT_PERCENT: f64 = 1.0;
/// By how much the bad bottle is off, which three students have, percent.
pub const BAD_BOTTLE_PERCENT: f64 = 5.0;
/// What the decaying lot loses in four days, percent.
pub const DECAY_PERCENT: f64 = 1.0;
/// By how much the lot is off for which careful students are not to be accused, percent.
pub const ACCUSING_LOT_PERCENT: f64 = 2.0;
/// Bottles of a section: three students have the same.
const BOTTLES: usize = 8;
/// Sections of the course in which a bottle is off.
const SECTIONS: usize = 6;

/// Simulates that many sections of 24 of each sort: clean; with copies, of the same section and of another; with a lot
/// off by a little or more, a bad bottle, a decaying lot and one that does not. The same seed gives the same sections.
/// None where the procedure cannot be carried out.
pub fn sections(class: &SimulatedClass, count: usize, seed: u64) -> Option<Counts> {
    let one_section = SimulatedClass {
        unknowns: BOTTLES,
        answers: true,
        ..class.clone().in_one_section()
    };
    let clean_class = SimulatedClass {
        population: ordinary(class.population),
        ..one_section.clone()
    };
    let copying = SimulatedClass {
        copying: Copying::ALL.to_vec(),
        ..clean_class.clone()
    };
    let mut across = vec![Copying::Exact];
    if Column::of_row(&class.procedure, TrialLabel::Numbered(1), 1)
        .iter()
        .any(|column| column.is_of_container())
    {
        across.push(Copying::Differences);
    }
    let across = SimulatedClass {
        lots_of: vec![vec![0]; 2],
        excess_of: vec![0; 2],
        assistant_of: vec![0, 1],
        copying: across,
        across_sections: true,
        ..clean_class.clone()
    };
    let bad_lot = one_section.clone().but(Wrong::Lot(0, BAD_LOT_PERCENT));
    let accusing = clean_class.clone().but(Wrong::Lot(0, ACCUSING_LOT_PERCENT));
    // three students of a course have it: in one section there are too few others to lay them beside
    let course = SimulatedClass {
        unknowns: BOTTLES * SECTIONS,
        lots_of: vec![vec![0]; SECTIONS],
        excess_of: vec![0; SECTIONS],
        assistant_of: (0..SECTIONS).collect(),
        ..one_section
    };
    let bad_bottle = course.but(Wrong::Unknown(3, BAD_BOTTLE_PERCENT));
    let week = class.clone().over_a_week();
    let decay = week.clone().but(Wrong::Decay(0, DECAY_PERCENT / 4.0));
    let sorts: [(&SimulatedClass, bool, Look); 8] = [
        (&clean_class, false, clean),
        (&copying, false, copies),
        (&bad_lot, true, lot),
        (&accusing, true, accused),
        (&bad_bottle, false, bottle),
        (&decay, true, |one, counts| {
            drifting(one, Kind::Decay, counts)
        }),
        (&week, true, |one, counts| {
            drifting(one, Kind::NoDecay, counts)
        }),
        (&across, false, copies_across),
    ];
    let mut sum = Counts::new();
    for (sort, (class, needs_lot, look)) in (0..).zip(sorts) {
        if !needs_lot || class.procedure.uses_titrant_lot() {
            add(&mut sum, &each(class, count, (seed, sort), look)?);
        }
    }
    Some(sum)
}

/// That many terms in which one student of a section invents every report.
pub fn inventing(class: &SimulatedClass, count: usize, seed: u64) -> Option<Counts> {
    let class = SimulatedClass {
        population: ordinary(class.population),
        inventing: 1,
        answers: true,
        ..class.clone().in_one_section()
    };
    each(&class, count, (seed, u64::from(u8::MAX)), inventors)
}

type Look = fn(&Rehearsed, &mut Counts);

fn each(
    class: &SimulatedClass,
    count: usize,
    (seed, sort): (u64, u64),
    look: Look,
) -> Option<Counts> {
    // numbers of sections, far apart for each sort
    let first = seed.wrapping_mul(1_000_003).wrapping_add(sort << 40);
    let one = |number| {
        let mut counts = Counts::new();
        look(&class.rehearse(first.wrapping_add(number))?, &mut counts);
        Some(counts)
    };
    let all: Option<Vec<Counts>> = (0..count as u64).into_par_iter().map(one).collect();
    let mut sum = Counts::new();
    all?.iter().for_each(|one| add(&mut sum, one));
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

fn clean(rehearsed: &Rehearsed, found: &mut Counts) {
    let judged = rehearsed.judged();
    let mut by_chance = 0;
    for (slot, one) in &judged {
        if rehearsed.careful.contains(&slot.student) {
            careful(&one.evaluation, found);
        }
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
    let groups = audit.iter().flat_map(|audit| &audit.groups);
    let mut bottles = groups.filter(|group| group.name.kind == AuditKind::Unknown);
    let called = bottles.any(|group| group.verdict.is_named());
    count(found, Kind::SoundBottles, called);
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

fn careful(evaluation: &Evaluation, found: &mut Counts) {
    let flagged = |code| evaluation.flags.iter().any(|flag| flag.code == code);
    count(found, Kind::CleanSlip, flagged(FlagCode::LikelySlip));
    let scatters = flagged(FlagCode::ScatterHigh);
    count(found, Kind::ScatterHigh, scatters);
    let agreement = evaluation.marks.part(Part::Agreement);
    if agreement.is_some_and(|part| part.points == part.possible) {
        count(found, Kind::ScatterAtFullPoints, scatters);
    }
}

/// Whom the bottle of the prep room makes look wrong.
fn accused(rehearsed: &Rehearsed, found: &mut Counts) {
    let judged = rehearsed.judged();
    let careful = judged
        .iter()
        .filter(|(slot, _)| rehearsed.careful.contains(&slot.student));
    for (_, one) in careful {
        let evaluation = &one.evaluation;
        let mut flags = evaluation.flags.iter();
        let inconsistent = flags.any(|flag| flag.code == FlagCode::InconsistentTruth);
        let slip = evaluation.reading_slips.likely().map(|slip| slip.code);
        let accuses = [
            SlipCode::OtherUnknown,
            SlipCode::OtherLot,
            SlipCode::Overshoot,
        ];
        let slipped = slip.is_some_and(|code| accuses.contains(&code));
        count(found, Kind::AccusedByLot, inconsistent || slipped);
    }
}

fn copies(rehearsed: &Rehearsed, found: &mut Counts) {
    let alike = likenesses(rehearsed);
    for copy in &rehearsed.copies {
        let seen = are_alike(&alike, &copy.from, &copy.by);
        count(found, Kind::Copy(copy.how), seen);
    }
}

fn copies_across(rehearsed: &Rehearsed, found: &mut Counts) {
    let judged: BTreeMap<Slot, _> = rehearsed.judged().into_iter().collect();
    for copy in &rehearsed.copies {
        let one = judged.get(&slot(&copy.by));
        let mut flags = one.into_iter().flat_map(|one| &one.evaluation.flags);
        let seen = flags.any(|flag| flag.code == FlagCode::Alike);
        count(found, Kind::CopyAcross(copy.how), seen);
    }
}

fn inventors(rehearsed: &Rehearsed, found: &mut Counts) {
    let judged = rehearsed.judged();
    for student in &rehearsed.term.students {
        let reports = judged.iter().filter(|(slot, _)| slot.student == student.id);
        let mut flags = reports.flat_map(|(_, one)| &one.evaluation.flags);
        let seen = flags.any(|flag| flag.code == FlagCode::ScatterLow);
        let kind = if rehearsed.inventors.contains(&student.id) {
            Kind::Inventor
        } else {
            Kind::HonestAsInventor
        };
        count(found, kind, seen);
    }
}

fn lot(rehearsed: &Rehearsed, found: &mut Counts) {
    let bad = GroupName::new(AuditKind::Lot, "L0");
    count(found, Kind::Lot, is_named(rehearsed, &bad));
}

fn bottle(rehearsed: &Rehearsed, found: &mut Counts) {
    let bad = GroupName::new(AuditKind::Unknown, "U3");
    count(found, Kind::Bottle, is_named(rehearsed, &bad));
}

/// Whether the lot is said to drift, in the words of its verdict.
fn drifting(rehearsed: &Rehearsed, kind: Kind, found: &mut Counts) {
    let audit = rehearsed.audit(&rehearsed.judged());
    let lot = GroupName::new(AuditKind::Lot, "L0");
    let group = audit.as_ref().and_then(|audit| audit.group(&lot));
    let drifts = group.is_some_and(|group| group.verdict.words().contains("drift"));
    count(found, kind, drifts);
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

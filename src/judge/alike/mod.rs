//! Readings that two students of a section share, though they do not share a bench.
//!
//! Every two sets of readings of one experiment in a section are laid beside each other: row by row as they stand, with
//! all burette readings shifted by one amount, and with trials in another order. In each layout every start of the
//! burette, every delivered volume and every weighing is a fact that coincides to the last digit written or does not,
//! and has a bound on the chance that honest students coincide in it: for volumes from the scatter of titres of one
//! bottle, for starts and weighings from what the others of the section write, for what a student repeats from how
//! often students repeat themselves. What coincides is summed up by weight, and the sum's exact tail is the chance of
//! the layout. A digit altered here or there takes one fact away and leaves the others.
//!
//! What is computed is a bound: facts are taken at their most likely and layouts are added up. Honest students come
//! below a bound of b in fewer than b / [`GENEROUS`] of their pairs, which is measured on simulated sections of many
//! habits. The bounds of all pairs of a section add up to at most [`SECTION_BOUND`], half of it for pairs who were given
//! the same bottle, where titres are alike anyway.

mod compare;
mod habits;
mod layouts;
mod sheet;

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::flags::{Flag, FlagCode};
use crate::measure::{from_f64, plain, to_figures};
use crate::procedure::Procedure;
use crate::submission::{HandIn, TrialLabel};
use compare::{Fact, What, chance, facts, least_chance};
use habits::{Others, Titration};
use layouts::{Weighed, layouts};
use sheet::{Sheet, from_units, tells_apart};

/// What the bounds of all pairs of a section add up to at most, in one experiment.
const SECTION_BOUND: f64 = 0.8;
/// Most that the bound of a pair may be, however few pairs there are.
const PAIR_BOUND: f64 = 0.006;
/// How many times less often than its bound says a pair of honest students comes below it, at least.
pub const GENEROUS: f64 = 10.0;
/// Fewest sets of readings of a section from which the habits of the others can be told.
const FEWEST_SETS: usize = 8;
/// Fewest rows to compare, and fewest telling coincidences in them.
const FEWEST_ROWS: usize = 3;
const FEWEST_FACTS: usize = 4;

/// One set of readings of a section in an experiment.
#[derive(Clone, Debug)]
pub struct Peer<'a> {
    /// Ids of those for whom it counts: one, or several of a bench group.
    pub students: Vec<&'a str>,
    pub group: Option<&'a str>,
    /// Code of the bottle, issued or written.
    pub unknown: Option<&'a str>,
    /// What was handed in last.
    pub hand_in: &'a HandIn,
}

/// What a student's readings share with another's, beyond chance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Likeness {
    /// Ids of the others: one, or several of a bench group.
    pub others: Vec<String>,
    /// Trials laid beside each other: own, the other's.
    pub rows: Vec<(TrialLabel, TrialLabel)>,
    /// By how much the own burette readings are higher, mL; 0 where they are the same.
    pub shift: Decimal,
    /// Delivered volumes that coincide, and all compared.
    pub volumes: (usize, usize),
    /// Starts of the burette that coincide (shifted), and all compared.
    pub starts: (usize, usize),
    /// Weighings and sample volumes that coincide, and all compared.
    pub amounts: (usize, usize),
    /// Of delivered volumes that coincide, those that do but for a digit.
    pub but_for_a_digit: usize,
    /// At most this is the chance that two honest students of the section share as much.
    pub bound: f64,
    /// Chance that a student of the section who copied from nobody gets the flag.
    pub flag_chance: f64,
}

/// Finds the pairs of a section that share readings beyond chance; by student.
pub fn likenesses(procedure: &Procedure, peers: &[Peer]) -> BTreeMap<String, Vec<Likeness>> {
    let mut found = BTreeMap::new();
    if peers.len() < FEWEST_SETS || !tells_apart(procedure) {
        return found;
    }
    let sheets: Vec<Sheet> = peers
        .iter()
        .map(|peer| Sheet::of(procedure, peer.hand_in))
        .collect();
    let section = Section {
        titration: Titration::of(procedure, &sheets),
        sheets: &sheets,
        peers,
        limits: Limits::of(peers),
    };
    for (one, peer) in peers.iter().enumerate() {
        for (other, mate) in peers.iter().enumerate().skip(one.saturating_add(1)) {
            let Some(likeness) = section.likeness(one, other) else {
                continue;
            };
            for (own, others, likeness) in [
                (&mate.students, &peer.students, likeness.clone()),
                (&peer.students, &mate.students, likeness.turned()),
            ] {
                let others: Vec<String> = others.iter().map(|id| (*id).to_owned()).collect();
                for student in own {
                    let all: &mut Vec<Likeness> = found.entry((*student).to_owned()).or_default();
                    all.push(Likeness {
                        others: others.clone(),
                        ..likeness.clone()
                    });
                }
            }
        }
    }
    found
}

/// What the chance of a pair has to stay below.
struct Limits {
    same_bottle: f64,
    other_bottle: f64,
    flag_chance: f64,
}

impl Limits {
    fn of(peers: &[Peer]) -> Self {
        let (mut same, mut other) = (0.0, 0.0);
        for (index, one) in peers.iter().enumerate() {
            for mate in peers.iter().skip(index.saturating_add(1)) {
                if share_bottle(one, mate) {
                    same += 1.0;
                } else {
                    other += 1.0;
                }
            }
        }
        // where all are of one kind, that kind has the whole level
        let share = if same == 0.0 || other == 0.0 {
            1.0
        } else {
            0.5
        };
        let limit = |pairs: f64| (share * SECTION_BOUND / pairs).min(PAIR_BOUND);
        let students: usize = peers.iter().map(|peer| peer.students.len()).sum();
        let bounds = same * limit(same) + other * limit(other);
        Self {
            same_bottle: limit(same),
            other_bottle: limit(other),
            // a pair is two students
            flag_chance: 2.0 * bounds / GENEROUS / students as f64,
        }
    }
}

/// Bottles that nobody knows apart count as the same.
fn share_bottle(one: &Peer, other: &Peer) -> bool {
    match (one.unknown, other.unknown) {
        (Some(one), Some(other)) => one.eq_ignore_ascii_case(other),
        _ => true,
    }
}

struct Section<'a> {
    titration: Option<Titration>,
    sheets: &'a [Sheet],
    peers: &'a [Peer<'a>],
    limits: Limits,
}

impl Section<'_> {
    /// What two sets share beyond chance, as seen from the second.
    fn likeness(&self, one: usize, other: usize) -> Option<Likeness> {
        let (a, b) = (self.peers.get(one)?, self.peers.get(other)?);
        if a.group.is_some() && a.group == b.group {
            return None;
        }
        let limit = if share_bottle(a, b) {
            self.limits.same_bottle
        } else {
            self.limits.other_bottle
        };
        let (a, b) = (self.sheets.get(one)?, self.sheets.get(other)?);
        let others = Others {
            sheets: self.sheets,
            pair: (one, other),
            step: self.titration.map_or(1, |titration| titration.step),
        };
        let mut best: Option<Likeness> = None;
        for weighed in layouts(a, b) {
            let Weighed {
                layout,
                turned,
                weight,
            } = weighed;
            let laid = if turned { (b, a) } else { (a, b) };
            let found = facts(laid, &layout, self.titration, others);
            let told = found.iter().filter(|fact| fact.coincides).count();
            if told < FEWEST_FACTS
                || layout.rows.len() < FEWEST_ROWS
                || least_chance(&found) > limit * weight
            {
                continue;
            }
            let bound = (chance(&found) / weight).min(1.0);
            if bound <= limit && best.as_ref().is_none_or(|best| bound < best.bound) {
                let trial = |sheet: &Sheet, place: usize| Some(sheet.rows.get(place)?.trial);
                let rows = layout.rows.iter().filter_map(|(of_first, of_second)| {
                    let pair = (trial(laid.1, *of_second)?, trial(laid.0, *of_first)?);
                    Some(if turned { (pair.1, pair.0) } else { pair })
                });
                let mut rows: Vec<_> = rows.collect();
                rows.sort_unstable();
                best = Some(Likeness {
                    others: Vec::new(),
                    rows,
                    shift: from_units(layout.shift),
                    volumes: tally(&found, What::Volume),
                    starts: tally(&found, What::Start),
                    amounts: tally(&found, What::Amount),
                    but_for_a_digit: found.iter().filter(|fact| fact.but_for_a_digit).count(),
                    bound,
                    flag_chance: self.limits.flag_chance,
                });
            }
        }
        best
    }
}

fn tally(facts: &[Fact], what: What) -> (usize, usize) {
    let of = || facts.iter().filter(|fact| fact.what == what);
    (of().filter(|fact| fact.coincides).count(), of().count())
}

impl Likeness {
    /// The same, seen from the other.
    fn turned(&self) -> Self {
        let mut rows: Vec<_> = self
            .rows
            .iter()
            .map(|(own, other)| (*other, *own))
            .collect();
        rows.sort_unstable();
        Self {
            rows,
            shift: Decimal::ZERO.saturating_sub(self.shift),
            ..self.clone()
        }
    }

    /// Whether trials are laid beside others than those of the same number.
    pub fn is_reordered(&self) -> bool {
        self.rows.iter().any(|(own, other)| own != other)
    }

    /// The evidence in a sentence; it names the others by their ids, for staff.
    pub fn words(&self) -> String {
        let mut what = Vec::new();
        let digit = match self.but_for_a_digit {
            0 => String::new(),
            n => format!(" ({n} of them but for a digit)"),
        };
        for ((coincide, all), name, but) in [
            (self.volumes, "delivered volumes", digit.as_str()),
            (self.starts, "starts of the burette", ""),
            (self.amounts, "weighings or sample volumes", ""),
        ] {
            if all > 0 {
                what.push(format!("{coincide} of {all} {name}{but}"));
            }
        }
        let mut how = String::new();
        if self.is_reordered() {
            let pairs = self
                .rows
                .iter()
                .map(|(own, other)| format!("{own} as {other}"));
            let pairs: Vec<String> = pairs.collect();
            how = format!(" with trials in another order ({})", pairs.join(", "));
        }
        if !self.shift.is_zero() {
            let way = if self.shift > Decimal::ZERO {
                "higher"
            } else {
                "lower"
            };
            let by = plain(self.shift.abs());
            how.push_str(&format!(" with all burette readings {by} mL {way}"));
        }
        let among = from_f64(1.0 / self.bound, 2).map_or_else(String::new, |n| thousands(&n));
        format!(
            "with {}{how}: {}; honest students share as much in fewer than one pair of {among}",
            self.others.join(", "),
            what.join(", "),
        )
    }
}

/// A count to two figures, in groups of three digits.
fn thousands(count: &Decimal) -> String {
    let digits = plain(to_figures(*count, 2).trunc());
    let mut grouped = String::with_capacity(digits.len().saturating_add(8));
    for (place, digit) in digits.chars().enumerate() {
        let behind = digits.len().saturating_sub(place);
        if place > 0 && behind.checked_rem(3) == Some(0) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    grouped
}

/// The flag of a student whose readings another shares.
pub(super) fn alike(found: &[Likeness]) -> Option<Flag> {
    let evidence: Vec<String> = found.iter().map(Likeness::words).collect();
    let chance = found.first()?.flag_chance;
    Some(Flag::by_chance(
        FlagCode::Alike,
        evidence.join("; "),
        chance,
    ))
}

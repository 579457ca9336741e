//! Readings that two students share, though they do not share a bench: of one section or of two.
//!
//! Everything that a set of readings says is a fact: where the burette was filled to, what it delivered, what was
//! weighed and what between two weighings, last digits. An index says who holds each. Sets that share enough rare facts
//! are laid beside each other: row by row as they stand, with all burette readings shifted by one amount, with trials in
//! another order, by differences alone. In each layout every start of the burette, every delivered volume and every
//! amount coincides to the last digit written or does not, and has a bound on the chance that honest students coincide
//! in it: from how many others hold it, by the same index. A first titre is looked for among those of the two bottles;
//! others by how far they lie from the first. What coincides is summed up by weight, and the sum's exact tail is the
//! chance of the layout. A digit altered here or there, or a trial of one's own, takes facts away and leaves the others.
//!
//! What is computed is a bound: facts are taken at their most likely and layouts are added up. Honest students come
//! below a bound of b in fewer than b / [`GENEROUS`] of their pairs, which is measured on simulated courses of many
//! habits. The bounds of all pairs of an experiment add up to at most what [`limits`] says.

mod compare;
mod habits;
mod index;
mod layouts;
mod likeness;
mod limits;
mod sheet;

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::measure::{as_f64, from_f64};
use crate::procedure::Procedure;
use crate::submission::{HandIn, TrialLabel};
use compare::{Fact, What, chance, facts, least_chance};
use habits::{Others, Titration};
use index::{Index, IndexedFact, facts_of};
use layouts::{Weighed, layouts};
use limits::Limits;
use sheet::{Sheet, from_units, tells_apart};

pub use likeness::Likeness;
pub(super) use likeness::alike;

/// How many times less often than its bound says a pair of honest students comes below it, at least.
pub const GENEROUS: f64 = 5.0;
/// Fewest sets of readings from which the habits of the others can be told.
const FEWEST_SETS: usize = 8;
/// Fewest rows to compare, and fewest telling coincidences in them.
const FEWEST_ROWS: usize = 3;
const FEWEST_FACTS: usize = 4;
/// Share of what a bound has to say that shared facts of the index have to say before two sets are laid beside each
/// other; facts that the index does not know, like a meniscus read again, say the rest.
const MEET_FROM: f64 = 0.7;
/// So few sets are all laid beside each other: among them the commonest volumes may be told from nothing rarer.
const FEW_SETS: usize = 64;

/// One set of readings of an experiment.
#[derive(Clone, Debug)]
pub struct Peer<'a> {
    /// Ids of those for whom it counts: one, or several of a bench group.
    pub students: Vec<&'a str>,
    pub section: &'a str,
    /// Bench group, by a name that no other group of the experiment has.
    pub group: Option<&'a str>,
    /// Code of the bottle, issued or written.
    pub unknown: Option<&'a str>,
    /// What was handed in last.
    pub hand_in: &'a HandIn,
}

/// Finds the pairs of an experiment that share readings beyond chance; by student.
pub fn likenesses(procedure: &Procedure, peers: &[Peer]) -> BTreeMap<String, Vec<Likeness>> {
    LikenessIndex::of(procedure, peers).all()
}

/// All sets of readings of an experiment, indexed by what they say.
#[derive(Clone, Debug)]
pub struct LikenessIndex {
    members: Vec<Member>,
    bottles: BTreeMap<String, usize>,
    index: Index,
    titration: Option<Titration>,
    limits: Limits,
    /// Chance that a student gets the flag who copied from nobody.
    flag_chance: f64,
    is_telling: bool,
}

#[derive(Clone, Debug)]
struct Member {
    students: Vec<String>,
    section: String,
    group: Option<String>,
    bottle: Option<usize>,
    sheet: Sheet,
    facts: Vec<IndexedFact>,
}

impl Member {
    fn of(procedure: &Procedure, peer: &Peer, bottle: Option<usize>) -> Self {
        let sheet = Sheet::of(procedure, peer.hand_in);
        Self {
            students: peer.students.iter().map(|id| (*id).to_owned()).collect(),
            section: peer.section.to_owned(),
            group: peer.group.map(str::to_owned),
            bottle,
            facts: facts_of(&sheet, bottle),
            sheet,
        }
    }

    fn is_of_bench(&self, other: &Self) -> bool {
        self.group.is_some() && self.group == other.group
            || self.students.iter().any(|id| other.students.contains(id))
    }
}

impl LikenessIndex {
    pub fn of(procedure: &Procedure, peers: &[Peer]) -> Self {
        let mut bottles: BTreeMap<String, usize> = BTreeMap::new();
        let mut members = Vec::with_capacity(peers.len());
        for peer in peers {
            let next = bottles.len();
            let code = peer.unknown.map(str::to_ascii_lowercase);
            let bottle = code.map(|code| *bottles.entry(code).or_insert(next));
            members.push(Member::of(procedure, peer, bottle));
        }
        let sheets: Vec<&Sheet> = members.iter().map(|member| &member.sheet).collect();
        let titration = Titration::of(procedure, &sheets);
        let limits = Limits::of(&members);
        let students: usize = members.iter().map(|member| member.students.len()).sum();
        // a pair is two students; two figures come back from a document as they were
        let chance = 2.0 * limits.sum / GENEROUS / students.max(1) as f64;
        Self {
            flag_chance: from_f64(chance, 2).map_or(chance, as_f64),
            index: Index::of(members.iter().map(|m| m.facts.as_slice())),
            is_telling: members.len() >= FEWEST_SETS && tells_apart(procedure),
            titration,
            limits,
            bottles,
            members,
        }
    }

    /// All pairs that share readings beyond chance; by student.
    pub fn all(&self) -> BTreeMap<String, Vec<Likeness>> {
        let mut found: BTreeMap<String, Vec<Likeness>> = BTreeMap::new();
        let pairs: Vec<(&Member, &Member, Likeness)> = self
            .members
            .par_iter()
            .enumerate()
            .flat_map_iter(|(place, member)| self.pairs_of(member, place.saturating_add(1)))
            .collect();
        for (one, other, likeness) in pairs {
            for (own, mates, likeness) in [
                (other, one, likeness.clone()),
                (one, other, likeness.turned()),
            ] {
                for student in &own.students {
                    let all = found.entry(student.clone()).or_default();
                    all.push(seen_by(own, mates, likeness.clone()));
                }
            }
        }
        found
    }

    /// What one set shares with those here, of which it may be one or a later version of one.
    pub fn shared_by(&self, procedure: &Procedure, peer: &Peer) -> Vec<Likeness> {
        let code = peer.unknown.map(str::to_ascii_lowercase);
        // a bottle that nobody else has is another than all
        let number = |code: &String| {
            let known = self.bottles.get(code).copied();
            known.unwrap_or(self.bottles.len())
        };
        let member = Member::of(procedure, peer, code.as_ref().map(number));
        let pairs = self.pairs_of(&member, 0);
        pairs
            .into_iter()
            .map(|(own, mates, likeness)| seen_by(own, mates, likeness.turned()))
            .collect()
    }

    /// Pairs of one with those from a place on.
    fn pairs_of<'a>(
        &'a self,
        one: &'a Member,
        from: usize,
    ) -> Vec<(&'a Member, &'a Member, Likeness)> {
        if !self.is_telling {
            return Vec::new();
        }
        let met = if self.members.len() <= FEW_SETS {
            let places = from..self.members.len();
            places.map(|place| (place, f64::INFINITY)).collect()
        } else {
            self.index.met(&one.facts, from)
        };
        let mut pairs = Vec::new();
        for (place, score) in met {
            let Some(other) = self.members.get(place) else {
                continue;
            };
            let limit = self.limits.of_pair(one, other);
            if score < -MEET_FROM * limit.ln() || one.is_of_bench(other) {
                continue;
            }
            if let Some(likeness) = self.likeness(one, other, limit) {
                pairs.push((one, other, likeness));
            }
        }
        pairs
    }

    /// What two sets share beyond chance, as seen from the second.
    fn likeness(&self, one: &Member, other: &Member, limit: f64) -> Option<Likeness> {
        let (a, b) = (&one.sheet, &other.sheet);
        let others = Others {
            index: Some(&self.index),
            without: [&one.facts, &other.facts],
            bottles: [one.bottle, other.bottle],
            titration: self.titration,
        };
        let mut best: Option<Likeness> = None;
        for weighed in layouts(a, b) {
            let Weighed {
                layout,
                turned,
                weight,
            } = weighed;
            let laid = if turned { (b, a) } else { (a, b) };
            if layout.rows.len() < FEWEST_ROWS {
                continue;
            }
            // most layouts of most pairs coincide in little: that is seen without asking how likely it is
            let silent = Others {
                index: None,
                ..others
            };
            let coincide = facts(laid, &layout, silent);
            if coincide.iter().filter(|fact| fact.coincides).count() < FEWEST_FACTS {
                continue;
            }
            let found = facts(laid, &layout, others);
            if least_chance(&found) > limit * weight {
                continue;
            }
            let bound = (chance(&found) / weight).min(1.0);
            if bound <= limit && best.as_ref().is_none_or(|best| bound < best.bound) {
                best = Some(Likeness {
                    others: Vec::new(),
                    section: None,
                    rows: rows(laid, &layout.rows, turned),
                    shift: from_units(layout.shift),
                    volumes: tally(&found, What::Volume),
                    starts: tally(&found, What::Start),
                    differences: tally(&found, What::Difference),
                    amounts: tally(&found, What::Amount),
                    but_for_a_digit: found.iter().filter(|fact| fact.but_for_a_digit).count(),
                    bound,
                    flag_chance: self.flag_chance,
                });
            }
        }
        best
    }
}

/// A likeness as somebody sees it who shares it with others.
fn seen_by(own: &Member, others: &Member, likeness: Likeness) -> Likeness {
    Likeness {
        others: others.students.clone(),
        section: (own.section != others.section).then(|| others.section.clone()),
        ..likeness
    }
}

/// Trials laid beside each other: the second's, the first's.
fn rows(
    laid: (&Sheet, &Sheet),
    places: &[(usize, usize)],
    turned: bool,
) -> Vec<(TrialLabel, TrialLabel)> {
    let trial = |sheet: &Sheet, place: usize| Some(sheet.rows.get(place)?.trial);
    let rows = places.iter().filter_map(|(of_first, of_second)| {
        let pair = (trial(laid.1, *of_second)?, trial(laid.0, *of_first)?);
        Some(if turned { (pair.1, pair.0) } else { pair })
    });
    let mut rows: Vec<_> = rows.collect();
    rows.sort_unstable();
    rows
}

fn tally(facts: &[Fact], what: What) -> (usize, usize) {
    let of = || facts.iter().filter(|fact| fact.what == what);
    (of().filter(|fact| fact.coincides).count(), of().count())
}

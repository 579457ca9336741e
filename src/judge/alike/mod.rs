//! Readings that two students share, though they do not share a bench: of one section or of two.
//!
//! Everything that a set of readings says is a fact: where the burette was filled to, what it delivered, what was
//! weighed and what between two weighings, last digits. An index says who holds each. Sets that share enough rare facts
//! are laid beside each other: row by row as they stand, with all burette readings shifted by one amount, with trials in
//! another order, with both, by differences alone. In each layout every start of the burette, every delivered volume and every
//! amount coincides to the last digit written or does not, and has a bound on the chance that honest students coincide
//! in it: from how many others hold it, by the same index. A first titre is looked for among those of the two bottles;
//! others by how far they lie from the first. What coincides is summed up by weight, and the sum's exact tail is the
//! chance of the layout. A digit altered here or there, or a trial of one's own, takes facts away and leaves the others.
//!
//! What is computed is a bound: facts are taken at their most likely and layouts are added up. Honest students come
//! below a bound of b in fewer than b / [`GENEROUS`] of their pairs, which is measured on simulated courses of many
//! habits. The bounds of all pairs of an experiment add up to at most what [`limits`] says.

mod compare;
mod earlier;
mod habits;
mod index;
mod layouts;
mod likeness;
mod limits;
mod mates;
mod member;
mod sheet;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::Timestamp;
use rayon::prelude::*;

use crate::measure::{as_f64, from_f64};
use crate::procedure::Procedure;
use crate::submission::HandIn;
use compare::{What, chance, coincide_at_most, facts, least_chance, rows, tally};
use habits::{Counted, Others, Titration, Told};
use index::{Asked, Counts, Holders, IndexedFact, Met};
use layouts::{Weighed, layouts};
use limits::Limits;
use mates::{Mates, Near};
use member::{Came, Member, Members};
use sheet::{Sheet, from_units, tells_apart};

pub use earlier::{EarlierLikeness, EarlierSets};
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
    /// Its place in the roster, which no other set has.
    pub place: usize,
    /// Ids of those for whom it counts: one, or several of a bench group.
    pub students: Vec<&'a str>,
    pub section: &'a str,
    /// Bench group, by a name that no other group of the experiment has.
    pub group: Option<&'a str>,
    /// When the first version of it came; none where no file says.
    pub at: Option<Timestamp>,
    /// The first version, with the bottle by which it stood; none where there is but one.
    pub first: Option<(&'a HandIn, Option<&'a str>)>,
    /// Code of the bottle, issued or written.
    pub unknown: Option<&'a str>,
    /// What was handed in last.
    pub hand_in: &'a HandIn,
}

/// Finds the pairs of an experiment that share readings beyond chance; by student.
pub fn likenesses(procedure: &Procedure, peers: &[Peer]) -> BTreeMap<String, Vec<Likeness>> {
    LikenessIndex::of(procedure, peers).all()
}

/// All sets of readings of an experiment, indexed by what they say, with the pairs that share too much of it. What one set
/// shares with the others is found from its own facts.
///
/// How likely a fact is, is told from first versions, in the order in which they came, and told anew only when a
/// sixteenth more of them are there: so a correction alters nobody else's chances, and a hand-in seldom does.
#[derive(Clone, Debug)]
pub struct LikenessIndex {
    /// By place.
    members: Members,
    /// By student.
    places: HashMap<String, usize>,
    /// In which order first versions came.
    order: BTreeSet<Came>,
    bottles: BTreeMap<String, u32>,
    holders: Holders,
    mates: Mates,
    chances: Chances,
    /// By place, then by the place of the other.
    found: BTreeMap<usize, BTreeMap<usize, Likeness>>,
}

/// What is likely among honest students.
#[derive(Clone, Debug, Default)]
struct Chances {
    counts: Counts,
    titration: Option<Titration>,
    limits: Limits,
    /// Chance that a student gets the flag who copied from nobody.
    flag_chance: f64,
    is_telling: bool,
    /// The sets it was told from.
    places: BTreeSet<usize>,
    /// The last of them.
    last: Option<Came>,
}

/// Of so many sets, how many are told from: all of up to 16, and no fewer than fifteen in sixteen.
fn told_from(sets: usize) -> usize {
    let figures = usize::BITS.saturating_sub(sets.leading_zeros());
    let left_out = figures.saturating_sub(4);
    sets.checked_shr(left_out)
        .and_then(|kept| kept.checked_shl(left_out))
        .unwrap_or(sets)
}

impl LikenessIndex {
    pub fn of(procedure: &Procedure, peers: &[Peer]) -> Self {
        let mut index = Self::empty();
        for peer in peers {
            let member = index.member(procedure, peer);
            index.put(member);
        }
        index.tell(procedure);
        index
    }

    fn empty() -> Self {
        Self {
            members: Members::default(),
            places: HashMap::new(),
            order: BTreeSet::new(),
            bottles: BTreeMap::new(),
            holders: Holders::default(),
            mates: Mates::default(),
            chances: Chances::default(),
            found: BTreeMap::new(),
        }
    }

    /// Whether it is the index of these sets, as it stands.
    pub fn is_of(&self, procedure: &Procedure, peers: &[Peer]) -> bool {
        let mut bottles = self.bottles.clone();
        let mut is_known = |peer: &Peer| {
            let member = Member::of(procedure, peer, &mut bottles);
            self.members.get(member.place) == Some(&member)
        };
        peers.len() == self.members.len()
            && peers.iter().all(&mut is_known)
            && self.chances.titration == self.titration(procedure, &self.chances.places)
            && self.chances.is_telling == is_telling(procedure, &self.chances.places)
    }

    /// Takes in a set, new or another version of one. Returns the places of those whose likenesses may be others now.
    pub fn update(&mut self, procedure: &Procedure, peer: &Peer) -> BTreeSet<usize> {
        self.update_all(procedure, std::slice::from_ref(peer))
    }

    /// The same of several: what each shares with the others is found once all are there, on all cores.
    pub fn update_all(&mut self, procedure: &Procedure, peers: &[Peer]) -> BTreeSet<usize> {
        let (mut updated, mut untold) = (BTreeSet::new(), Vec::new());
        for peer in peers {
            let member = self.member(procedure, peer);
            let before = self.members.get(member.place);
            if !before.is_some_and(|before| before.tells_as(&member)) {
                untold.push(member.came());
            }
            updated.insert(member.place);
            self.put(member);
        }
        if untold.into_iter().any(|came| self.tells_otherwise(came)) {
            let before = std::mem::take(&mut self.found);
            self.tell(procedure);
            let places = before.keys().chain(self.found.keys());
            let is_other = |place: &&usize| before.get(*place) != self.found.get(*place);
            return places.filter(is_other).copied().collect();
        }
        let mut altered = updated.clone();
        for place in &updated {
            for other in self.found.remove(place).unwrap_or_default().into_keys() {
                if let Some(all) = self.found.get_mut(&other) {
                    all.remove(place);
                }
                altered.insert(other);
            }
        }
        let updated = updated.iter().filter_map(|place| self.members.get(*place));
        let updated: Vec<&Member> = updated.collect();
        for (place, other, likeness) in self.pairs(&updated, |_| None) {
            altered.insert(other);
            self.keep(place, other, likeness);
        }
        self.found.retain(|_, all| !all.is_empty());
        altered
    }

    /// What each of some shares with others, or with those after a place alone.
    fn pairs(
        &self,
        members: &[&Member],
        after: impl Fn(&Member) -> Option<usize> + Sync,
    ) -> Vec<(usize, usize, Likeness)> {
        let of_one = |said: &mut Vec<f32>, member: &Member| {
            let pairs = self.pairs_of(member, after(member), said).into_iter();
            let place = member.place;
            pairs.map(move |(other, likeness)| (place, other, likeness))
        };
        if let [] | [_] = members {
            let pairs = members.iter();
            return pairs.flat_map(|one| of_one(&mut Vec::new(), one)).collect();
        }
        let pairs = members.par_iter();
        let pairs = pairs.map_init(Vec::new, |said, member| of_one(said, member));
        pairs.flatten_iter().collect()
    }

    /// All pairs that share readings beyond chance; by student.
    pub fn all(&self) -> BTreeMap<String, Vec<Likeness>> {
        let places = self.found.keys();
        let of_place = |place: &usize| {
            let students = self.members.get(*place).map(|own| own.students.iter());
            let likenesses = self.of_place(*place);
            let students = students.into_iter().flatten();
            students.map(move |student| (student.clone(), likenesses.clone()))
        };
        places.flat_map(of_place).collect()
    }

    /// What a student's readings share with others' beyond chance.
    pub fn of_student(&self, student: &str) -> Vec<Likeness> {
        let place = self.places.get(student);
        place.map(|place| self.of_place(*place)).unwrap_or_default()
    }

    fn of_place(&self, place: usize) -> Vec<Likeness> {
        let Some(own) = self.members.get(place) else {
            return Vec::new();
        };
        let all = self.found.get(&place).into_iter().flatten();
        let seen = all.filter_map(|(other, likeness)| {
            let others = self.members.get(*other)?;
            Some(seen_by(own, others, likeness.clone()))
        });
        seen.collect()
    }

    /// What one set shares with those here, of which it may be one or a later version of one.
    pub fn shared_by(&self, procedure: &Procedure, peer: &Peer) -> Vec<Likeness> {
        let mut bottles = self.bottles.clone();
        let member = Member::of(procedure, peer, &mut bottles);
        let mut pairs = self.pairs_of(&member, None, &mut Vec::new());
        pairs.sort_unstable_by_key(|(other, _)| *other);
        let seen = pairs.into_iter().filter_map(|(other, likeness)| {
            let others = self.members.get(other)?;
            Some(seen_by(&member, others, likeness))
        });
        seen.collect()
    }

    fn member(&mut self, procedure: &Procedure, peer: &Peer) -> Member {
        Member::of(procedure, peer, &mut self.bottles)
    }

    fn put(&mut self, member: Member) {
        let place = member.place;
        if let Some(before) = self.members.remove(place) {
            self.holders.remove(place, before.last.meeting());
            self.mates.remove(&before);
            self.order.remove(&before.came());
        }
        self.holders.insert(place, member.last.meeting());
        self.mates.insert(&member);
        self.order.insert(member.came());
        let students = member.students.iter().cloned();
        self.places.extend(students.map(|student| (student, place)));
        self.members.insert(member);
    }

    /// Whether others say what is likely, now that a set came at that time.
    fn tells_otherwise(&self, came: Came) -> bool {
        let Chances { places, last, .. } = &self.chances;
        let place = came.2;
        let as_many = told_from(self.order.len()) == places.len();
        // most come after all that it was told from: then there is no need to go through them
        let is_later = *last < Some(came) && !places.contains(&place);
        !(as_many && is_later) && self.told_from() != *places
    }

    /// The sets that say what is likely.
    fn told_from(&self) -> BTreeSet<usize> {
        let first = self.order.iter().take(told_from(self.order.len()));
        first.map(|(_, _, place)| *place).collect()
    }

    /// Tells what is likely.
    fn tell_chances(&mut self, procedure: &Procedure) {
        let places = self.told_from();
        let told_from = || places.iter().filter_map(|place| self.members.get(*place));
        let titration = self.titration(procedure, &places);
        let sorts = told_from().map(|member| (member.section.as_str(), member.first().bottle));
        let limits = Limits::of(&sorts.collect::<Vec<_>>());
        let students: usize = told_from().map(|member| member.students.len()).sum();
        // a pair is two students; two figures come back from a document as they were
        let chance = 2.0 * limits.sum / GENEROUS / students.max(1) as f64;
        self.chances = Chances {
            flag_chance: from_f64(chance, 2).map_or(chance, as_f64),
            counts: Counts::of(told_from().map(|member| member.first().facts.as_slice())),
            is_telling: is_telling(procedure, &places),
            titration,
            limits,
            last: told_from().map(Member::came).max(),
            places,
        };
    }

    /// Tells what is likely, and by that all pairs.
    fn tell(&mut self, procedure: &Procedure) {
        self.tell_chances(procedure);
        let members: Vec<&Member> = self.members.all().collect();
        let pairs = self.pairs(&members, |member| Some(member.place));
        self.found.clear();
        for (place, other, likeness) in pairs {
            self.keep(place, other, likeness);
        }
    }

    /// How titrations of the sets of these places come out.
    fn titration(&self, procedure: &Procedure, places: &BTreeSet<usize>) -> Option<Titration> {
        let members = places.iter().filter_map(|place| self.members.get(*place));
        let sheets: Vec<&Sheet> = members.map(|member| &member.first().sheet).collect();
        Titration::of(procedure, &sheets)
    }

    fn keep(&mut self, place: usize, other: usize, likeness: Likeness) {
        let turned = likeness.turned();
        self.found.entry(other).or_default().insert(place, turned);
        self.found.entry(place).or_default().insert(other, likeness);
    }

    /// What one shares with others, or with those after a place alone; `said` is room, as for [`Asked::met`].
    fn pairs_of(
        &self,
        one: &Member,
        after: Option<usize>,
        said: &mut Vec<f32>,
    ) -> Vec<(usize, Likeness)> {
        let chances = &self.chances;
        if !chances.is_telling {
            return Vec::new();
        }
        let near = self.mates.near(one);
        let loosest = chances.limits.loosest_but_for(&near);
        let asked = Asked::of(one.last.meeting(), &chances.counts, says(loosest));
        let are_few = chances.places.len() <= FEW_SETS;
        let met = match are_few {
            true => self
                .members
                .all()
                .map(|one| Met::surely(one.place))
                .collect(),
            false => self.met_by(near, &asked, said),
        };
        let mut pairs = Vec::new();
        for Met { place, said } in met {
            if place == one.place || after.is_some_and(|after| place <= after) {
                continue;
            }
            let Some(other) = self.members.get(place) else {
                continue;
            };
            let theirs = other.last.meeting();
            if !asked.may_share(theirs, said) || one.is_of_bench(other) {
                continue;
            }
            let limit = chances.limits.of_pair(
                (&one.section, one.last.bottle),
                (&other.section, other.last.bottle),
            );
            if !are_few && !asked.shares(theirs, says(limit)) {
                continue;
            }
            // a pair is laid out in one way, whoever asks
            let likeness = if one.came() < other.came() {
                let likeness = self.likeness(one, other, limit);
                likeness.map(|likeness| likeness.turned())
            } else {
                self.likeness(other, one, limit)
            };
            pairs.extend(likeness.map(|likeness| (place, likeness)));
        }
        pairs
    }

    /// Those among whom all are with whom one may share enough: its mates where they are few, and whom it meets by what it
    /// says.
    fn met_by(&self, near: Near, asked: &Asked, said: &mut Vec<f32>) -> Vec<Met> {
        let mut met = asked.met(&self.holders, said);
        met.extend(near.places.into_iter().map(Met::surely));
        met.sort_unstable_by(|a, b| a.place.cmp(&b.place).then(b.said.total_cmp(&a.said)));
        met.dedup_by_key(|one| one.place);
        met
    }

    /// What the counts of facts have of a set.
    fn counted(&self, member: &Member) -> &[IndexedFact] {
        let counted = self.chances.places.contains(&member.place);
        let known = self.members.get(member.place).filter(|_| counted);
        known.map_or(&[], |known| known.first().facts.as_slice())
    }

    /// What two sets share beyond chance, as seen from the second.
    fn likeness(&self, one: &Member, other: &Member, limit: f64) -> Option<Likeness> {
        let (a, b) = (&one.last.sheet, &other.last.sheet);
        let others = Others {
            counts: &self.chances.counts,
            counted: &Counted::default(),
            told: Told::Everything,
            without: [self.counted(one), self.counted(other)],
            bottles: [one.last.bottle, other.last.bottle],
            titration: self.chances.titration,
        };
        let (mut best, step): (Option<Likeness>, _) = (None, others.step());
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
            if coincide_at_most(laid, &layout, step) < FEWEST_FACTS {
                continue;
            }
            // of what is left, most is seen through without asking how likely all of it is
            let found = |told: Told| facts(laid, &layout, Others { told, ..others });
            let coincide = found(Told::WhatCoincides);
            if coincide.iter().filter(|fact| fact.coincides).count() < FEWEST_FACTS
                || least_chance(&coincide) > limit * weight
            {
                continue;
            }
            let found = found(Told::Everything);
            let bound = (chance(&found) / weight).min(1.0);
            if bound <= limit && best.as_ref().is_none_or(|best| bound < best.bound) {
                best = Some(Likeness {
                    others: Vec::new(),
                    section: None,
                    rows: rows(laid, &layout.rows, turned),
                    shift: from_units(match turned {
                        true => layout.shift.saturating_neg(),
                        false => layout.shift,
                    }),
                    volumes: tally(&found, What::Volume),
                    starts: tally(&found, What::Start),
                    differences: tally(&found, What::Difference),
                    amounts: tally(&found, What::Amount),
                    but_for_a_digit: found.iter().filter(|fact| fact.but_for_a_digit).count(),
                    bound,
                    flag_chance: self.chances.flag_chance,
                });
            }
        }
        best
    }
}

/// What shared facts of the index have to say before two sets are laid beside each other whose bound has to stay below that.
fn says(limit: f64) -> f64 {
    -MEET_FROM * limit.ln()
}

/// Whether habits can be told from the sets of these places, and sets from one another.
fn is_telling(procedure: &Procedure, places: &BTreeSet<usize>) -> bool {
    places.len() >= FEWEST_SETS && tells_apart(procedure)
}

/// A likeness as somebody sees it who shares it with others.
fn seen_by(own: &Member, others: &Member, likeness: Likeness) -> Likeness {
    Likeness {
        others: others.students.clone(),
        section: (own.section != others.section).then(|| others.section.clone()),
        ..likeness
    }
}

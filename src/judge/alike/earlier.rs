//! Readings that somebody of an earlier term wrote down first: the same index over the sets of both terms, of which only
//! pairs of the one with the other are asked for.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::member::Member;
use super::{Likeness, LikenessIndex, Peer};
use crate::procedure::Procedure;

/// What hand-ins of earlier terms say, done by one procedure: facts alone, in the order in which they were added.
#[derive(Clone, Debug, Default)]
pub struct EarlierSets {
    members: Vec<Member>,
    bottles: BTreeMap<String, u32>,
}

/// What a set of readings shares with one of an earlier term beyond chance.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierLikeness {
    /// Ids of those for whom the set counts.
    pub students: Vec<String>,
    /// Which of the earlier sets it is, counted from 0 in the order in which they were added.
    pub earlier: usize,
    /// Names nobody: who the others are, whoever asks may not be told.
    pub likeness: Likeness,
}

impl EarlierSets {
    /// Takes in the sets of an experiment of a course. What courses call by one name (a section, a bottle, a student's
    /// number) is another thing in each.
    pub fn add(&mut self, procedure: &Procedure, course: &str, peers: &[Peer]) {
        // no name holds a line break
        let of_course = |name: &str| format!("{course}\n{name}");
        for peer in peers {
            let students: Vec<String> = peer.students.iter().map(|id| of_course(id)).collect();
            let section = of_course(peer.section);
            let group = peer.group.map(of_course);
            let unknown = peer.unknown.map(of_course);
            let first = peer
                .first
                .map(|(hand_in, unknown)| (hand_in, unknown.map(of_course)));
            let apart = Peer {
                place: self.members.len(),
                students: students.iter().map(String::as_str).collect(),
                section: &section,
                group: group.as_deref(),
                at: peer.at,
                first: first.as_ref().map(|(one, code)| (*one, code.as_deref())),
                unknown: unknown.as_deref(),
                hand_in: peer.hand_in,
            };
            let member = Member::of(procedure, &apart, &mut self.bottles);
            self.members.push(member);
        }
    }

    /// How many sets there are.
    pub fn len(&self) -> usize {
        self.members.len()
    }

    pub fn is_empty(&self) -> bool {
        self.members.is_empty()
    }

    /// What sets of a later term share with these. What is likely is told from both terms, and the bounds of all their
    /// pairs together stay below what those of one experiment may come to: more terms ask for more of each.
    pub fn shared_by(&self, procedure: &Procedure, peers: &[Peer]) -> Vec<EarlierLikeness> {
        let Some(last) = peers.iter().map(|peer| peer.place).max() else {
            return Vec::new();
        };
        let first = last.saturating_add(1);
        let mut index = LikenessIndex {
            bottles: self.bottles.clone(),
            ..LikenessIndex::empty()
        };
        for peer in peers {
            let member = index.member(procedure, peer);
            index.put(member);
        }
        for (number, member) in self.members.iter().enumerate() {
            index.put(Member {
                place: first.saturating_add(number),
                ..member.clone()
            });
        }
        index.tell_chances(procedure);
        let members = index.members.all();
        let own: Vec<&Member> = members.take_while(|one| one.place < first).collect();
        let found = own.into_par_iter().map_init(Vec::new, |said, member| {
            let mut pairs = index.pairs_of(member, Some(last), said);
            pairs.sort_unstable_by_key(|(place, _)| *place);
            pairs
                .into_iter()
                .map(move |(place, likeness)| EarlierLikeness {
                    students: member.students.clone(),
                    earlier: place.saturating_sub(first),
                    likeness,
                })
        });
        found.flatten_iter().collect()
    }
}

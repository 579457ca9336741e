//! One set of readings as the index holds it.

use std::collections::BTreeMap;

use jiff::Timestamp;
use smol_str::SmolStr;

use super::Peer;
use super::index::{IndexedFact, facts_of, meeting};
use super::sheet::Sheet;
use crate::procedure::Procedure;
use crate::submission::HandIn;

/// When a set came, then whose it is: the same order however a roster lists people. Its place tells apart whatever is left.
pub(super) type Came = (Option<Timestamp>, SmolStr, usize);

#[derive(Clone, Debug, PartialEq)]
pub(super) struct Member {
    pub place: usize,
    pub students: Vec<String>,
    pub section: String,
    pub group: Option<String>,
    pub at: Option<Timestamp>,
    pub last: Version,
    /// None where it is the last as well.
    pub first: Option<Version>,
}

/// What was handed in at one time.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Version {
    pub bottle: Option<u32>,
    pub sheet: Sheet,
    /// In order.
    pub facts: Vec<IndexedFact>,
    /// So many of them are facts by which it meets others; they stand first.
    meeting: usize,
}

/// Sets by place, which are looked up more often than anything else here.
#[derive(Clone, Debug, Default)]
pub(super) struct Members {
    by_place: Vec<Option<Member>>,
    count: usize,
}

impl Members {
    pub fn get(&self, place: usize) -> Option<&Member> {
        self.by_place.get(place)?.as_ref()
    }

    pub fn insert(&mut self, member: Member) {
        let place = member.place;
        if self.by_place.len() <= place {
            self.by_place.resize_with(place.saturating_add(1), || None);
        }
        if let Some(there) = self.by_place.get_mut(place)
            && there.replace(member).is_none()
        {
            self.count = self.count.saturating_add(1);
        }
    }

    pub fn remove(&mut self, place: usize) -> Option<Member> {
        let removed = self.by_place.get_mut(place)?.take()?;
        self.count = self.count.saturating_sub(1);
        Some(removed)
    }

    pub fn len(&self) -> usize {
        self.count
    }

    /// In order of place.
    pub fn all(&self) -> impl Iterator<Item = &Member> {
        self.by_place.iter().flatten()
    }
}

impl Version {
    pub fn of(procedure: &Procedure, hand_in: &HandIn, bottle: Option<u32>) -> Self {
        let sheet = Sheet::of(procedure, hand_in);
        let facts = facts_of(&sheet, bottle);
        Self {
            bottle,
            meeting: meeting(&facts),
            facts,
            sheet,
        }
    }

    /// Facts by which it meets others.
    pub fn meeting(&self) -> &[IndexedFact] {
        self.facts.get(..self.meeting).unwrap_or_default()
    }
}

impl Member {
    /// Numbers bottles as it meets them.
    pub fn of(procedure: &Procedure, peer: &Peer, bottles: &mut BTreeMap<String, u32>) -> Self {
        let mut number = |code: Option<&str>| {
            let next = u32::try_from(bottles.len()).unwrap_or(u32::MAX);
            let code = code.map(str::to_ascii_lowercase);
            code.map(|code| *bottles.entry(code).or_insert(next))
        };
        let bottle = number(peer.unknown);
        let first = peer.first.map(|(hand_in, unknown)| {
            let bottle = number(unknown);
            Version::of(procedure, hand_in, bottle)
        });
        Self {
            place: peer.place,
            students: peer.students.iter().map(|id| (*id).to_owned()).collect(),
            section: peer.section.to_owned(),
            group: peer.group.map(str::to_owned),
            at: peer.at,
            last: Version::of(procedure, peer.hand_in, bottle),
            first,
        }
    }

    pub fn is_of_bench(&self, other: &Self) -> bool {
        self.group.is_some() && self.group == other.group
            || self.students.iter().any(|id| other.students.contains(id))
    }

    pub fn came(&self) -> Came {
        let first = self.students.iter().min();
        let first = first.map(SmolStr::from).unwrap_or_default();
        (self.at, first, self.place)
    }

    pub fn first(&self) -> &Version {
        self.first.as_ref().unwrap_or(&self.last)
    }

    /// Whether both say the same of what is likely.
    pub fn tells_as(&self, other: &Self) -> bool {
        let (a, b) = (self.first(), other.first());
        self.at == other.at
            && self.section == other.section
            && self.students.len() == other.students.len()
            && (a.bottle, &a.facts) == (b.bottle, &b.facts)
    }
}

//! The students of a course beside each other: whose readings are alike, and what their last digits are.

use std::collections::BTreeMap;

use super::{Slot, Term};
use crate::course::{Experiment, Student};
use crate::judge::{EndDigits, Likeness, OddDigits, Peer, likenesses};
use crate::submission::HandIn;

impl Term {
    /// What the readings of each student share with others' of the experiment beyond chance.
    pub fn likenesses(&self, experiment: &Experiment) -> BTreeMap<String, Vec<Likeness>> {
        likenesses(&experiment.procedure, &self.peers(experiment))
    }

    /// What the last digits of sections show, where they are unlike estimated ones.
    pub fn section_digits<'a>(
        &'a self,
        experiment: &'a Experiment,
    ) -> BTreeMap<&'a str, OddDigits> {
        let mut digits: BTreeMap<&str, EndDigits> = BTreeMap::new();
        for peer in self.peers(experiment) {
            let own = EndDigits::of(&experiment.procedure, peer.hand_in);
            let all = digits.entry(peer.section).or_default();
            *all = all.with(own);
        }
        let odd = digits.into_iter();
        odd.filter_map(|(section, digits)| Some((section, digits.of_section()?)))
            .collect()
    }

    /// The sets of readings that count, in roster order. A bench group's is one, of the section of its first.
    pub(super) fn peers<'a>(&'a self, experiment: &'a Experiment) -> Vec<Peer<'a>> {
        let mut peers: Vec<Peer> = Vec::new();
        let mut known: BTreeMap<&Slot, usize> = BTreeMap::new();
        for (place, student) in self.students.iter().enumerate() {
            let slot = Slot::new(&experiment.key, &student.id);
            let Some((reader, _)) = self.handed_in_by(&slot) else {
                continue;
            };
            let mate = known.get(reader).and_then(|at| peers.get_mut(*at));
            if let Some(peer) = mate {
                peer.students.push(&student.id);
            } else if let Some(peer) = self.peer(experiment, (place, student)) {
                known.insert(reader, peers.len());
                peers.push(peer);
            }
        }
        peers
    }

    /// The set of readings that counts for a student, as if it were theirs alone.
    pub(super) fn peer<'a>(
        &'a self,
        experiment: &'a Experiment,
        (place, student): (usize, &'a Student),
    ) -> Option<Peer<'a>> {
        let slot = Slot::new(&experiment.key, &student.id);
        let (reader, revisions) = self.handed_in_by(&slot)?;
        let unknown = |hand_in: &'a HandIn| {
            let issued = self.bottle_of(&slot, hand_in);
            let issued = issued.or_else(|| self.bottle_of(reader, hand_in));
            issued.or_else(|| hand_in.unknown_written().map(|code| &**code))
        };
        let mut read = revisions
            .iter()
            .filter(|one| !one.hand_in.titrations.is_empty());
        let (first, last) = (read.next()?, revisions.last()?);
        let is_only = std::ptr::eq(first, last);
        let first_hand_in = &*first.hand_in;
        Some(Peer {
            place,
            students: vec![&student.id],
            section: self.works_in(&experiment.key, student),
            group: self.groups.get(reader).map(String::as_str),
            at: first.submitted_at,
            first: (!is_only).then(|| (first_hand_in, unknown(first_hand_in))),
            unknown: unknown(&last.hand_in),
            hand_in: &last.hand_in,
        })
    }
}

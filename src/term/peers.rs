//! The students of a course beside each other: whose readings are alike, and what their last digits are.

use std::collections::BTreeMap;

use super::{Slot, Term};
use crate::course::Experiment;
use crate::judge::{EndDigits, Likeness, OddDigits, Peer, likenesses};

impl Term {
    /// What the readings of each student share with others' of the experiment beyond chance.
    pub fn likenesses(&self, experiment: &Experiment) -> BTreeMap<String, Vec<Likeness>> {
        likenesses(&experiment.procedure, &self.peers(experiment))
    }

    /// What the last digits of a section show, if they are unlike estimated ones.
    pub fn section_digits(&self, experiment: &Experiment, section: &str) -> Option<OddDigits> {
        let peers = self.peers(experiment);
        let digits = peers
            .iter()
            .filter(|peer| peer.section == section)
            .map(|peer| EndDigits::of(&experiment.procedure, peer.hand_in));
        digits
            .fold(EndDigits::default(), EndDigits::with)
            .of_section()
    }

    /// The sets of readings that count, in roster order. A bench group's is one, of the section of its first.
    fn peers(&self, experiment: &Experiment) -> Vec<Peer<'_>> {
        let mut peers: Vec<Peer> = Vec::new();
        let mut places: BTreeMap<&Slot, usize> = BTreeMap::new();
        for student in &self.students {
            let slot = Slot::new(&experiment.key, &student.id);
            let Some((reader, revisions)) = self.handed_in_by(&slot) else {
                continue;
            };
            let known = places.get(reader).and_then(|place| peers.get_mut(*place));
            if let Some(peer) = known {
                peer.students.push(&student.id);
                continue;
            }
            let Some(last) = revisions.last() else {
                continue;
            };
            let issued = self.bottle_of(&slot, &last.hand_in);
            let issued = issued.or_else(|| self.bottle_of(reader, &last.hand_in));
            places.insert(reader, peers.len());
            peers.push(Peer {
                students: vec![&student.id],
                section: self.works_in(&experiment.key, student),
                group: self.groups.get(reader).map(String::as_str),
                unknown: issued.or_else(|| last.hand_in.unknown_written().map(|code| &**code)),
                hand_in: &last.hand_in,
            });
        }
        peers
    }
}

//! The students of a section beside each other: whose readings are alike, and what their last digits are.

use std::collections::{BTreeMap, BTreeSet};

use super::{Slot, Term};
use crate::course::{Experiment, Student};
use crate::judge::{EndDigits, Likeness, OddDigits, Peer, likenesses};

impl Term {
    /// What the readings of each student of a section share with others' beyond chance.
    pub fn likenesses(
        &self,
        experiment: &Experiment,
        section: &str,
    ) -> BTreeMap<String, Vec<Likeness>> {
        likenesses(&experiment.procedure, &self.peers(experiment, section))
    }

    /// The same for everybody of an experiment, section by section.
    pub(super) fn likenesses_of(&self, experiment: &Experiment) -> BTreeMap<String, Vec<Likeness>> {
        let sections = self.students.iter();
        let sections: BTreeSet<&str> = sections
            .map(|student| self.works_in(&experiment.key, student).as_str())
            .collect();
        let found = sections.into_iter();
        found
            .flat_map(|section| self.likenesses(experiment, section))
            .collect()
    }

    /// What the last digits of a section show, if they are unlike estimated ones.
    pub fn section_digits(&self, experiment: &Experiment, section: &str) -> Option<OddDigits> {
        let peers = self.peers(experiment, section);
        let digits = peers
            .iter()
            .map(|peer| EndDigits::of(&experiment.procedure, peer.hand_in));
        digits
            .fold(EndDigits::default(), EndDigits::with)
            .of_section()
    }

    /// The sets of readings that count in a section, in roster order. A bench group's is one.
    fn peers(&self, experiment: &Experiment, section: &str) -> Vec<Peer<'_>> {
        let mut peers: Vec<Peer> = Vec::new();
        let mut places: BTreeMap<&Slot, usize> = BTreeMap::new();
        let of_section = |student: &&Student| self.works_in(&experiment.key, student) == section;
        for student in self.students.iter().filter(of_section) {
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
                group: self.groups.get(reader).map(String::as_str),
                unknown: issued.or_else(|| last.hand_in.unknown_written().map(|code| &**code)),
                hand_in: &last.hand_in,
            });
        }
        peers
    }
}

//! Students of an invented course who copy.

use jiff::{SignedDuration, Timestamp};

use super::{Invention, revision};
use crate::course::Student;
use crate::judge::copying::copied;
use crate::procedure::Procedure;
use crate::submission::HandIn;
use crate::term::Slot;

impl Invention<'_> {
    /// Pairs in roster order of one section and bottle, who both handed in once.
    pub(super) fn copies(&mut self, procedure: &Procedure, students: &[Student]) {
        let mut ways = self.planned.copying.iter();
        let mut taken: Vec<Slot> = Vec::new();
        for (place, from) in students.iter().enumerate() {
            let Some(how) = ways.as_slice().first() else {
                return;
            };
            let original = Slot::new(&self.planned.key, &from.id);
            let mate = students.iter().skip(place + 1).find(|by| {
                let slot = Slot::new(&self.planned.key, &by.id);
                let issued = &self.term.issued;
                by.section == from.section
                    && issued.get(&slot) == issued.get(&original)
                    && !taken.contains(&slot)
                    && self.once(&slot).is_some()
            });
            let (Some(by), false) = (mate, taken.contains(&original)) else {
                continue;
            };
            let Some((hand_in, at)) = self.once(&original) else {
                continue;
            };
            let (hand_in, at) = (hand_in.clone(), at);
            let Some(mut copy) = copied(*how, procedure, &hand_in, self.rng) else {
                continue;
            };
            copy.reported = hand_in.reported;
            let at = at
                .saturating_add(SignedDuration::from_mins(9))
                .unwrap_or(at);
            let copier = Slot::new(&self.planned.key, &by.id);
            let revisions = vec![revision(copy, at, "")];
            self.term.submissions.insert(copier.clone(), revisions);
            taken.extend([original, copier]);
            ways.next();
        }
    }

    /// What was handed in there, if just once, with when.
    fn once(&self, slot: &Slot) -> Option<(&HandIn, Timestamp)> {
        match self.term.submissions.get(slot).map(Vec::as_slice) {
            Some([only]) => Some((&only.hand_in, only.submitted_at?)),
            _ => None,
        }
    }
}

//! A bottle given to a student.

use std::collections::BTreeMap;

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha20Rng;
use serde::{Deserialize, Serialize};

use super::{
    Change, ChangeForm, Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind, Who, experiment,
};
use crate::form::{Faults, Form, Typed};
use crate::ids::{ExperimentKey, UnknownCode};
use crate::term::{Slot, Term};

pub type Issue = OfSlot<Issued>;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Issued {
    pub unknown: UnknownCode,
}

impl SlotKind for Issued {
    const NAME: &'static str = "issue";
    const FILE: Option<fn() -> RecordsOf<Issue>> = None;

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.issued.insert(slot.clone(), self.unknown.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Section(slot.clone())
    }

    /// The first bottle.
    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        let first = term.reissues_of(slot).first().map(|one| &one.instead_of);
        let unknown = first.or_else(|| term.issued.get(slot)).cloned();
        unknown
            .map(|unknown| Self { unknown })
            .into_iter()
            .collect()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        None
    }

    /// First bottles. A folder that knows less of a student’s bottles than is held takes none of them back.
    fn fresh(held: &Term, incoming: &Term) -> Vec<Issue> {
        let mut fresh = Vec::new();
        for (slot, code) in &incoming.issued {
            let known = held.reissues_of(slot);
            let theirs = incoming.reissues_of(slot);
            if known.len() > theirs.len() && known.starts_with(theirs) {
                continue;
            }
            let now = held.issued.get(slot);
            let nothing_new = theirs.iter().all(|one| known.contains(one));
            if now.is_none() || (now != Some(code) && nothing_new) {
                let first = Self::held(incoming, slot).into_iter();
                fresh.extend(first.map(|body| OfSlot {
                    slot: slot.clone(),
                    body,
                }));
            }
        }
        fresh
    }
}

/// An unknown for everybody who has none.
pub struct IssueForm {
    pub experiment: ExperimentKey,
    /// What the draw comes from.
    pub seed: [u8; 32],
}

impl IssueForm {
    /// Bottles of these codes for everybody who has none.
    pub fn deal_out(&self, term: &Term, codes: &[&str]) -> Vec<Change> {
        // neighbours on the roster are neighbours in a section
        let mut students: Vec<_> = term.enrolled().collect();
        students.sort_by(|a, b| a.section.cmp(&b.section));
        let slots: Vec<Slot> = students
            .iter()
            .map(|s| Slot::new(&self.experiment, &s.id))
            .collect();
        let held: Vec<Option<&str>> = slots
            .iter()
            .map(|s| term.issued.get(s).map(UnknownCode::as_str))
            .collect();
        let dealt = deal(&held, codes, &mut ChaCha20Rng::from_seed(self.seed));
        let fresh = slots
            .into_iter()
            .zip(&held)
            .zip(dealt)
            .filter(|((_, held), _)| held.is_none());
        let issue = |((slot, _), code): ((Slot, _), &str)| {
            Change::Issue(Issue {
                slot,
                body: Issued {
                    unknown: UnknownCode::new(code),
                },
            })
        };
        fresh.map(issue).collect()
    }
}

impl ChangeForm for IssueForm {
    fn form(&self, _: &Term, _: &Typed) -> Form {
        Form::default()
            .words("They are dealt out at random: every unknown as often as the others, and never the same one to neighbours on the list of a section. Who has a bottle keeps it.")
            .enter("Issue now")
    }

    fn changes(&self, _: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        experiment(term, &self.experiment)?;
        let unknowns = term.unknowns.get(&self.experiment).into_iter();
        let codes: Vec<&str> = unknowns
            .flat_map(|own| own.keys())
            .map(UnknownCode::as_str)
            .collect();
        if codes.is_empty() {
            let expected = "at least one unknown of the experiment";
            return Err(Faults::found("unknown", "none", expected));
        }
        Ok(self.deal_out(term, &codes))
    }
}

/// A code for everybody: those held stay, the others are drawn from the codes least given out so far that neither
/// neighbour has. With two codes or more, neighbours dealt here differ and counts differ by at most one.
pub fn deal<'a>(held: &[Option<&'a str>], codes: &[&'a str], rng: &mut impl Rng) -> Vec<&'a str> {
    let mut counts: BTreeMap<&str, usize> = codes.iter().map(|code| (*code, 0)).collect();
    for code in held.iter().flatten() {
        let count = counts.entry(code).or_insert(0);
        *count = count.saturating_add(1);
    }
    let mut dealt: Vec<&str> = Vec::with_capacity(held.len());
    for (place, own) in held.iter().enumerate() {
        if let Some(own) = own {
            dealt.push(own);
            continue;
        }
        let before = dealt.last().copied();
        let after = held.get(place.saturating_add(1)).copied().flatten();
        let differs = |code: &&&str| Some(**code) != before && Some(**code) != after;
        let free: Vec<&&str> = codes.iter().filter(differs).collect();
        let open = if free.is_empty() {
            codes.iter().collect()
        } else {
            free
        };
        let fewest = open.iter().map(|code| counts[**code]).min().unwrap_or(0);
        let least: Vec<&&str> = open
            .into_iter()
            .filter(|code| counts[**code] == fewest)
            .collect();
        if let Some(code) = least.choose(rng) {
            dealt.push(code);
            let count = counts.entry(code).or_insert(0);
            *count = count.saturating_add(1);
        }
    }
    dealt
}

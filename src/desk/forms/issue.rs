//! Gives every student an unknown: random, balanced, neighbours on the roster different.

use std::collections::BTreeMap;

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{ChangeForm, Who, experiment};
use crate::changes::{Change, Issue, Issued};
use crate::form::{Faults, Form, Typed};
use crate::ids::{ExperimentKey, UnknownCode};
use crate::term::{Slot, Term};

/// An unknown for everybody who has none.
pub struct IssueForm {
    pub experiment: ExperimentKey,
    /// What the draw comes from.
    pub seed: [u8; 32],
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
            .flat_map(BTreeMap::keys)
            .map(UnknownCode::as_str)
            .collect();
        if codes.is_empty() {
            let expected = "at least one unknown of the experiment";
            return Err(Faults::found("unknown", "none", expected));
        }
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
        let dealt = deal(&held, &codes, &mut ChaCha20Rng::from_seed(self.seed));
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
        Ok(fresh.map(issue).collect())
    }
}

/// A code for everybody: those held stay, the others are drawn from the codes least given out so far that neither
/// neighbour has. With two codes or more, neighbours dealt here differ and counts differ by at most one.
pub fn deal<'a>(held: &[Option<&'a str>], codes: &[&'a str], rng: &mut impl Rng) -> Vec<&'a str> {
    let mut counts: BTreeMap<&str, usize> = codes.iter().map(|code| (*code, 0)).collect();
    for code in held.iter().flatten() {
        *counts.entry(code).or_insert(0) += 1;
    }
    let mut dealt: Vec<&str> = Vec::with_capacity(held.len());
    for (place, own) in held.iter().enumerate() {
        if let Some(own) = own {
            dealt.push(own);
            continue;
        }
        let before = dealt.last().copied();
        let after = held.get(place + 1).copied().flatten();
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
            *counts.entry(code).or_insert(0) += 1;
        }
    }
    dealt
}

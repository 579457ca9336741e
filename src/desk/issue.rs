//! Gives every student an unknown: random, balanced, neighbours on the roster different.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha20Rng;

use super::{Desk, PrepareError};
use crate::change::Change;
use crate::ids::{ExperimentKey, UnknownCode};
use crate::store::StoreError;
use crate::term::Slot;

/// Issues an unknown of the experiment to every student who has none. Returns how many were given one.
pub async fn issue_unknowns(
    desk: &Desk,
    experiment: &ExperimentKey,
    seed: [u8; 32],
    (login, at): (&str, Timestamp),
) -> Result<usize, PrepareError> {
    let written = desk
        .apply_if(login, at, |image| {
            let term = &image.ok_or(StoreError::NoCourse)?.term;
            if term.experiment(experiment).is_none() {
                return Err(PrepareError::new(
                    "experiment",
                    experiment,
                    "an experiment of the course",
                ));
            }
            let codes: Vec<&str> = term
                .unknowns
                .get(experiment)
                .into_iter()
                .flat_map(|u| u.keys())
                .map(UnknownCode::as_str)
                .collect();
            if codes.is_empty() {
                return Err(PrepareError::new(
                    "unknown",
                    "none",
                    "at least one unknown of the experiment",
                ));
            }
            // neighbours on the roster are neighbours in a section
            let mut students: Vec<_> = term.enrolled().collect();
            students.sort_by(|a, b| a.section.cmp(&b.section));
            let slots: Vec<Slot> = students
                .iter()
                .map(|s| Slot::new(experiment, &s.id))
                .collect();
            let held: Vec<Option<&str>> = slots
                .iter()
                .map(|s| term.issued.get(s).map(UnknownCode::as_str))
                .collect();
            let dealt = deal(&held, &codes, &mut ChaCha20Rng::from_seed(seed));
            let fresh = slots
                .into_iter()
                .zip(&held)
                .zip(dealt)
                .filter(|((_, held), _)| held.is_none());
            Ok(fresh
                .map(|((slot, _), code)| Change::Issue {
                    slot,
                    unknown: UnknownCode::new(code),
                })
                .collect())
        })
        .await?;
    Ok(written.map_or(0, |written| written.receipts.len()))
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

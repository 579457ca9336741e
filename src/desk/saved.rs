//! What a spreadsheet does to a course folder that it saves: zeros, decimal points, orders and dates are lost or turned.
//!
//! What can be put back is put back: order of rows, the mark of decimals. What cannot is a fault that says what was lost.

use std::collections::HashMap;
use std::sync::Arc;

use crate::course::Student;
use crate::measure::Reading;
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::term::{Slot, Term};
use crate::text::{Fault, found, is_power_of_ten};

const ZEROS: &str = "leading zeros are lost where a spreadsheet takes a code for a number: open the file with every column as text, or bring in the file as it was exported";
const POWERS: &str = "the code itself and not a number as a spreadsheet shows it: open the file with every column as text";
const DAYS: &str =
    "a spreadsheet takes such a name for a day: open the file with every column as text";
const DECIMALS: &str = "zeros at the end are lost where a spreadsheet takes a reading for a number: open the file with every column as text, or bring in the file as it was exported; a reading that was really taken so is corrected in the browser";

/// The course of a folder, with what a spreadsheet only wrote in another way put back as it is held.
///
/// # Errors
/// Every code that lacks only leading zeros of one that is held, and every reading that is the same but for its zeros at
/// the end.
pub fn as_held(held: &Term, incoming: &Term) -> Result<Term, Vec<Fault>> {
    let mut faults = Vec::new();
    codes(held, incoming, &mut faults);
    let mut incoming = incoming.clone();
    for (slot, revisions) in incoming.submissions.iter_mut() {
        let known = held.submissions.get(slot).map_or(&[][..], Vec::as_slice);
        let versions = known.len().max(revisions.len());
        for (number, (old, new)) in known.iter().zip(revisions).enumerate() {
            if known.iter().any(|one| one.hand_in == new.hand_in) {
                continue;
            }
            let last = number.saturating_add(1) >= versions;
            let mut compare = Compare {
                slot,
                folder: if last { "readings" } else { "superseded" },
                faults: &mut faults,
            };
            compare.hand_in(&old.hand_in, Arc::make_mut(&mut new.hand_in));
        }
    }
    faults.sort();
    match faults.is_empty() {
        true => Ok(incoming),
        false => Err(faults),
    }
}

/// The code that is held and differs from one that is not by leading zeros alone.
fn but_for_zeros<'h>(code: &str, held: &[&'h str]) -> Option<&'h str> {
    let bare = code.trim_start_matches('0');
    let same = |known: &&&str| **known != code && known.trim_start_matches('0') == bare;
    match held.contains(&code) {
        true => None,
        false => held.iter().find(same).copied(),
    }
}

/// What a roster has lost against the one that is held; `file` is what its owner calls it.
pub fn lost_of_roster(held: &Term, incoming: &[Student], file: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    hold(
        (file, "student_id"),
        held.students.iter().map(|s| s.id.as_str()),
        incoming.iter().map(|s| s.id.as_str()),
        &mut faults,
    );
    for student in incoming {
        if let Some(old) = held.student(&student.id)
            && old.section != student.section
            && is_day(&student.section)
            && !is_day(&old.section)
        {
            let what = format!(
                "student {}: {}",
                student.id,
                found(
                    &student.section,
                    &format!("{} as in the course: {DAYS}", old.section)
                )
            );
            faults.push(Fault::of_file(file, what).in_column("section"));
        }
    }
    faults
}

fn codes(held: &Term, incoming: &Term, faults: &mut Vec<Fault>) {
    faults.extend(lost_of_roster(held, &incoming.students, "roster.csv"));
    hold(
        ("lots.csv", "lot"),
        held.lots.keys().map(|code| code.as_str()),
        incoming.lots.keys().map(|code| code.as_str()),
        faults,
    );
    for (experiment, unknowns) in &incoming.unknowns {
        let known = held.unknowns.get(experiment).into_iter().flatten();
        hold(
            ("unknowns.csv", "unknown"),
            known.map(|(code, _)| code.as_str()),
            unknowns.keys().map(|code| code.as_str()),
            faults,
        );
    }
}

/// Codes of a column against those that are held.
fn hold<'c>(
    (file, column): (&str, &str),
    held: impl Iterator<Item = &'c str>,
    codes: impl Iterator<Item = &'c str>,
    faults: &mut Vec<Fault>,
) {
    let mut by_bare: HashMap<&str, Vec<&str>> = HashMap::new();
    for code in held {
        let bare = code.trim_start_matches('0');
        by_bare.entry(bare).or_default().push(code);
    }
    for code in codes {
        let near = by_bare.get(code.trim_start_matches('0'));
        let what = match near.map(|near| but_for_zeros(code, near)) {
            Some(Some(kept)) => found(code, &format!("{kept} as in the course: {ZEROS}")),
            None if is_power_of_ten(code) => found(code, POWERS),
            _ => continue,
        };
        faults.push(Fault::of_file(file, what).in_column(column));
    }
}

/// Whether a spreadsheet wrote it for a day: it makes “02-Jan” of “1-2”.
fn is_day(text: &str) -> bool {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let parts: Vec<&str> = text.split(['-', '/', '.', ' ']).collect();
    let is_number = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    let is_month = |part: &str| MONTHS.contains(&part.to_lowercase().as_str());
    match parts.as_slice() {
        [one, other] => is_number(one) && is_month(other) || is_month(one) && is_number(other),
        [one, two, three] => {
            is_number(one) && (is_number(two) || is_month(two)) && is_number(three)
        }
        _ => false,
    }
}

/// One version of a hand-in against what is held of it.
struct Compare<'c> {
    slot: &'c Slot,
    folder: &'c str,
    faults: &'c mut Vec<Fault>,
}

impl Compare<'_> {
    fn hand_in(&mut self, held: &HandIn, incoming: &mut HandIn) {
        let places = places(&held.titrations);
        let mut seen: HashMap<TrialLabel, usize> = HashMap::new();
        let mut ordered: Vec<(usize, Titration)> = Vec::new();
        for mut titration in std::mem::take(&mut incoming.titrations) {
            let count = seen.entry(titration.trial).or_default();
            let place = places.get(&(titration.trial, *count)).copied();
            *count = count.saturating_add(1);
            if let Some(old) = place.and_then(|place| held.titrations.get(place)) {
                self.titration(old, &mut titration);
            }
            ordered.push((place.unwrap_or(usize::MAX), titration));
        }
        // stable: what is new stays in its order behind
        ordered.sort_by_key(|(place, _)| *place);
        incoming.titrations = ordered.into_iter().map(|(_, one)| one).collect();
        if let (Some(old), Some(new)) = (&held.reported, &mut incoming.reported)
            && let Err(what) = put_back(old, new)
        {
            let (slot, file) = (self.slot, "reported.csv");
            let what = format!("{}, {}: {what}", slot.experiment, slot.student);
            self.faults
                .push(Fault::of_file(file, what).in_column("value"));
        }
    }

    fn titration(&mut self, held: &Titration, incoming: &mut Titration) {
        let trial = incoming.trial;
        for (column, reading) in &mut incoming.readings {
            if let Some(old) = held.readings.get(column)
                && let Err(what) = put_back(old, reading)
            {
                self.fault(trial, &column.to_string(), &what);
            }
        }
        let codes = [
            ("lot", held.lot.as_deref(), incoming.lot.as_deref()),
            (
                "excess_lot",
                held.excess_lot.as_deref(),
                incoming.excess_lot.as_deref(),
            ),
            (
                "unknown",
                held.unknown.as_deref(),
                incoming.unknown.as_deref(),
            ),
            (
                "instrument",
                held.instrument.as_deref(),
                incoming.instrument.as_deref(),
            ),
        ];
        for (column, old, new) in codes {
            if let (Some(old), Some(new)) = (old, new)
                && but_for_zeros(new, &[old]).is_some()
            {
                let what = found(new, &format!("{old} as in the course: {ZEROS}"));
                self.fault(trial, column, &what);
            }
        }
    }

    fn fault(&mut self, trial: TrialLabel, column: &str, what: &str) {
        let Slot {
            experiment,
            student,
        } = self.slot;
        let file = format!("{}/{experiment}.csv", self.folder);
        let what = format!("student {student}, trial {trial}: {what}");
        self.faults
            .push(Fault::of_file(file, what).in_column(column));
    }
}

/// Where each titration stands, by its label and how many of the same label stand before it.
fn places(titrations: &[Titration]) -> HashMap<(TrialLabel, usize), usize> {
    let mut seen: HashMap<TrialLabel, usize> = HashMap::new();
    let mut places = HashMap::new();
    for (place, titration) in titrations.iter().enumerate() {
        let count = seen.entry(titration.trial).or_default();
        places.insert((titration.trial, *count), place);
        *count = count.saturating_add(1);
    }
    places
}

/// A reading that says the same with another decimal mark is held as it was; one with other zeros at its end is not what
/// was read.
fn put_back(held: &Reading, incoming: &mut Reading) -> Result<(), String> {
    if held == incoming || held.value() != incoming.value() {
        return Ok(());
    }
    if held.decimals() == incoming.decimals() {
        incoming.clone_from(held);
        return Ok(());
    }
    let what = found(
        incoming.written(),
        &format!("{} as in the course: {DECIMALS}", held.written()),
    );
    Err(what)
}

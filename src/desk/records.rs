//! The prep room at work: records of what was weighed, diluted and standardised, and the days bottles keep.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::Desk;
use super::prepare::PrepareError;
use super::values::{Values, twin};
use crate::change::{Change, next_version};
use crate::files::{PrepRoom, RecordText, read_prep_records};
use crate::ids::ExperimentKey;
use crate::store::StoreError;
use crate::term::Term;
use crate::text::Fault;
use crate::truth::{Bottle, Lot, ShelfLife, Unknown};
use crate::workup::Recorded;

/// Records read with a term at hand: what they come to and what they would change.
#[derive(Clone, Debug)]
pub struct Records {
    /// What has to change so that the term holds them: nothing for those it holds already.
    pub changes: Vec<Change>,
    /// What each comes to.
    pub recorded: BTreeMap<Bottle, Recorded>,
    /// The versions that the values have now, by which somebody else's change is noticed.
    pub seen: String,
    /// Whether a value is replaced, which wants a reason.
    pub replaces: bool,
}

impl Records {
    pub fn read(record: &RecordText, term: &Term, reason: &str) -> Result<Self, Vec<Fault>> {
        let room = read_prep_records("record", record.text(), term)?;
        let twins: Vec<Fault> = room
            .unknowns
            .iter()
            .filter_map(|(experiment, unknown, _)| {
                let line = line_of(record, &unknown.code);
                let fault = Fault::of_file("record", twin(term, experiment, &unknown.code)?);
                Some(line.map_or(fault.clone(), |line| fault.at(line)))
            })
            .collect();
        if !twins.is_empty() {
            return Err(twins);
        }
        Ok(Self::of(room, term, reason))
    }

    fn of(room: PrepRoom, term: &Term, reason: &str) -> Self {
        let mut changes = Vec::new();
        for (key, text) in room.procedures {
            if !term.sources.procedures.contains_key(&key) {
                changes.push(Change::Procedure { key, text });
            }
        }
        let (mut seen, mut replaces) = (Vec::new(), false);
        let mut note = |held: Option<u32>, same: bool| {
            seen.push(held.unwrap_or(0).to_string());
            replaces |= held.is_some() && !same;
        };
        for (lot, record) in room.lots {
            let old = term.lots.get(&lot.code);
            let same = old
                .is_some_and(|old| old.molarity == lot.molarity && old.reagent == lot.reagent)
                && term.sources.lots.get(&lot.code) == Some(&record);
            note(old.map(|old| old.version), same);
            if !same {
                let version = next_version(old.map(|old| old.version));
                changes.push(Change::Lot {
                    lot: Lot { version, ..lot },
                    source: Some(record),
                    reason: reason.to_owned(),
                });
            }
        }
        for (experiment, unknown, record) in room.unknowns {
            let held = term.unknowns.get(&experiment);
            let old = held.and_then(|held| held.get(&unknown.code));
            let named = (experiment.clone(), unknown.code.clone());
            let same = old.is_some_and(|old| old.truth == unknown.truth)
                && term.sources.unknowns.get(&named) == Some(&record);
            note(old.map(|old| old.version), same);
            if !same {
                let version = next_version(old.map(|old| old.version));
                changes.push(Change::Unknown {
                    experiment,
                    unknown: Unknown { version, ..unknown },
                    source: Some(record),
                    reason: reason.to_owned(),
                });
            }
        }
        for bottle in room.recorded.keys() {
            let life = room.shelf.get(bottle).copied().unwrap_or_default();
            changes.extend(shelf_change(term, bottle, life));
        }
        Self {
            changes,
            recorded: room.recorded,
            seen: seen.join(" "),
            replaces,
        }
    }
}

/// Enters records, or other records for what has a value (which then want a reason). `seen` is what [`Records::seen`]
/// said when somebody looked at what they come to. Returns how many values changed.
pub async fn enter_records(
    desk: &Desk,
    record: &RecordText,
    reason: &str,
    seen: &str,
    (login, at): (&str, Timestamp),
) -> Result<usize, PrepareError> {
    let reason = reason.trim();
    let mut values = 0;
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let read = Records::read(record, term, reason).map_err(|faults| {
            let what: Vec<String> = faults.iter().map(ToString::to_string).collect();
            PrepareError::Fields(vec![("record", what.join("; "))])
        })?;
        sound(read.seen == seen, read.replaces, reason)?;
        let is_value = |c: &&Change| matches!(c, Change::Lot { .. } | Change::Unknown { .. });
        values = read.changes.iter().filter(is_value).count();
        Ok(read.changes)
    })
    .await?;
    Ok(values)
}

/// Enters a value from a certificate, with the days its bottle keeps; otherwise as [`enter_records`].
pub async fn enter_stated(
    desk: &Desk,
    values: &Values,
    life: ShelfLife,
    reason: &str,
    seen: &str,
    (login, at): (&str, Timestamp),
) -> Result<usize, PrepareError> {
    let reason = reason.trim();
    let mut count = 0;
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let mut changes = values.changes(term, reason)?;
        let replaces = !changes.is_empty() && values.seen(term) != "0";
        sound(values.seen(term) == seen, replaces, reason)?;
        count = changes.len();
        let lives = values.bottles().into_iter();
        changes.extend(lives.filter_map(|bottle| shelf_change(term, &bottle, life)));
        Ok(changes)
    })
    .await?;
    Ok(count)
}

fn sound(as_seen: bool, replaces: bool, reason: &str) -> Result<(), PrepareError> {
    let what = if !as_seen {
        "found a value that was changed since you looked at what this comes to, expected the one you saw; look again"
    } else if replaces && reason.is_empty() {
        "found nothing, expected a sentence that says why the value changes"
    } else {
        return Ok(());
    };
    Err(PrepareError::Fields(vec![("reason", what.to_owned())]))
}

/// Says when something was made and until when it keeps.
pub async fn set_shelf_life(
    desk: &Desk,
    bottle: &Bottle,
    life: ShelfLife,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    if let (Some(made), Some(expires)) = (life.made, life.expires)
        && expires < made
    {
        let what = format!("found {expires}, expected a day from {made} on, when it was made");
        return Err(PrepareError::Fields(vec![("expires", what)]));
    }
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        Ok(shelf_change(term, bottle, life).into_iter().collect())
    })
    .await?;
    Ok(())
}

/// Notes in the log that the answer key of an experiment was opened, and by whom.
pub async fn open_key(
    desk: &Desk,
    experiment: &ExperimentKey,
    (login, at): (&str, Timestamp),
) -> Result<(), StoreError> {
    let opened = Change::KeyOpened {
        experiment: experiment.to_owned(),
    };
    desk.apply(vec![opened], login, at).await.map(|_| ())
}

fn shelf_change(term: &Term, bottle: &Bottle, life: ShelfLife) -> Option<Change> {
    let held = term.shelf.get(bottle).copied().unwrap_or_default();
    (held != life).then(|| Change::ShelfLife {
        bottle: bottle.clone(),
        life,
    })
}

/// The line of a record on which a code stands.
fn line_of(record: &RecordText, code: &str) -> Option<u64> {
    let wanted = format!("unknown = \"{code}\"");
    let at = record.text().lines().position(|line| line == wanted)?;
    u64::try_from(at.checked_add(1)?).ok()
}

/// What a record that a term keeps comes to, with all that leads to it.
pub fn recorded(term: &Term, source: &str) -> Option<Recorded> {
    let room = read_prep_records("record", source, term).ok()?;
    room.recorded.into_values().next()
}

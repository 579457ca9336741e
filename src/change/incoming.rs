//! What brings another term's course into this one, as changes.

use std::collections::BTreeMap;

use super::{Change, next_version};
use crate::course::Student;
use crate::ids::SectionName;
use crate::term::{Revision, Term};
use crate::truth::{Lot, Unknown};

impl Term {
    /// The changes that bring everything of `incoming` into this term: what is new, what differs, and hand-ins not
    /// yet held. Nothing is taken away, so bringing the same in twice changes nothing.
    pub fn changes_from(&self, incoming: &Self) -> Vec<Change> {
        let mut changes = Vec::new();
        let (old, new) = (&self.course, &incoming.course);
        if (&old.title, &old.term, &old.zone) != (&new.title, &new.term, &new.zone) {
            changes.push(Change::Course(new.clone()));
        }
        if let Some(text) = &incoming.sources.glassware
            && self.sources.glassware.as_ref() != Some(text)
        {
            changes.push(Change::Glassware {
                text: text.clone(),
                table: incoming.glassware.clone(),
            });
        }
        let texts = changed(&self.sources.procedures, &incoming.sources.procedures);
        changes.extend(texts.map(|(key, text)| Change::Procedure {
            key: key.clone(),
            text: text.clone(),
        }));
        changes.extend(self.people_from(incoming));
        changes.extend(self.experiments_from(incoming));
        changes.extend(self.values_from(incoming));
        let shelf = changed(&self.shelf, &incoming.shelf);
        changes.extend(shelf.map(|(bottle, life)| Change::ShelfLife {
            bottle: bottle.clone(),
            life: *life,
        }));
        changes.extend(self.bottles_from(incoming));
        let groups = changed(&self.groups, &incoming.groups);
        changes.extend(groups.map(|(slot, group)| Change::Group {
            slot: slot.clone(),
            group: group.clone(),
        }));
        for (slot, revisions) in &incoming.submissions {
            let held = self.submissions.get(slot).map_or(&[][..], Vec::as_slice);
            let fresh = revisions
                .iter()
                .filter(|r| !held.iter().any(|h| h.hand_in == r.hand_in));
            changes.extend(fresh.map(|revision| Change::HandIn {
                slot: slot.clone(),
                revision: Revision {
                    receipt: None,
                    ..revision.clone()
                },
                key: None,
            }));
        }
        let by_hand = changed(&self.by_hand, &incoming.by_hand);
        changes.extend(by_hand.map(|(slot, points)| Change::ByHand {
            slot: slot.clone(),
            points: *points,
        }));
        for (slot, decisions) in &incoming.decisions {
            let held = self.decisions.get(slot).map_or(&[][..], Vec::as_slice);
            let fresh = decisions.iter().filter(|d| !held.contains(d));
            changes.extend(fresh.map(|d| Change::Decide {
                slot: slot.clone(),
                decision: d.clone(),
            }));
        }
        for (slot, notes) in &incoming.notes {
            let fresh = notes.iter().filter(|n| !self.notes_of(slot).contains(n));
            changes.extend(fresh.map(|note| Change::Note {
                slot: slot.clone(),
                note: note.clone(),
            }));
        }
        changes.extend(self.arrangements_from(incoming));
        changes
    }

    /// First bottles, and those given in place of others. A folder that knows less of a student's bottles than is held
    /// takes none of them back.
    fn bottles_from(&self, incoming: &Self) -> Vec<Change> {
        let mut changes = Vec::new();
        for (slot, code) in &incoming.issued {
            let held = self.reissued.get(slot).map_or(&[][..], Vec::as_slice);
            let theirs = incoming.reissued.get(slot).map_or(&[][..], Vec::as_slice);
            if held.len() > theirs.len() && held.starts_with(theirs) {
                continue;
            }
            let first = theirs.first().map_or(code, |one| &one.instead_of);
            let now = self.issued.get(slot);
            let fresh: Vec<_> = theirs.iter().filter(|one| !held.contains(one)).collect();
            if now.is_none() || (now != Some(code) && fresh.is_empty()) {
                changes.push(Change::Issue {
                    slot: slot.clone(),
                    unknown: first.clone(),
                });
            }
            changes.extend(fresh.into_iter().map(|reissue| Change::Reissue {
                slot: slot.clone(),
                reissue: reissue.clone(),
            }));
        }
        changes
    }

    /// Dates of single students, releases, and texts that were replaced.
    fn arrangements_from(&self, incoming: &Self) -> Vec<Change> {
        let mut changes = Vec::new();
        for (slot, extensions) in &incoming.extensions {
            let held = self.extensions.get(slot).map_or(&[][..], Vec::as_slice);
            let fresh = extensions.iter().filter(|one| !held.contains(one));
            changes.extend(fresh.map(|extension| Change::Extend {
                slot: slot.clone(),
                extension: extension.clone(),
            }));
        }
        for (experiment, release) in changed(&self.released, &incoming.released) {
            let held = self.released.get(experiment).cloned().unwrap_or_default();
            let mut put = |section: Option<&SectionName>, at| {
                changes.push(Change::Release {
                    experiment: experiment.clone(),
                    section: section.cloned(),
                    at,
                });
            };
            // a release to everybody ends what was arranged for single sections
            let anew = release.everyone.is_some() && release.everyone != held.everyone;
            if anew {
                put(None, release.everyone);
            }
            for (section, at) in &release.sections {
                if anew || held.sections.get(section) != Some(at) {
                    put(Some(section), *at);
                }
            }
        }
        let fresh = incoming.amendments.iter();
        let fresh = fresh.filter(|one| !self.amendments.contains(one));
        changes.extend(fresh.cloned().map(Change::Amend));
        changes
    }

    fn people_from(&self, incoming: &Self) -> Vec<Change> {
        let known: BTreeMap<&str, &Student> =
            self.students.iter().map(|s| (s.id.as_str(), s)).collect();
        let students = incoming
            .students
            .iter()
            .filter(|s| known.get(s.id.as_str()) != Some(s));
        let staff = incoming.staff.iter().filter(|s| !self.staff.contains(s));
        students
            .cloned()
            .map(Change::Student)
            .chain(staff.cloned().map(Change::Staff))
            .collect()
    }

    fn experiments_from(&self, incoming: &Self) -> Vec<Change> {
        let mut changes = Vec::new();
        for experiment in &incoming.experiments {
            let source = incoming
                .sources
                .experiments
                .get(&experiment.key)
                .cloned()
                .unwrap_or_default();
            let text = |term: &Self| term.sources.procedures.get(&source.procedure).cloned();
            let same = self.experiment(&experiment.key).is_some_and(|old| {
                old.dates == experiment.dates
                    && old.section_lots == experiment.section_lots
                    && old.section_dates == experiment.section_dates
                    && self.sources.experiments.get(&experiment.key) == Some(&source)
                    && text(self) == text(incoming)
            });
            if !same {
                changes.push(Change::Experiment {
                    experiment: Box::new(experiment.clone()),
                    source,
                });
            }
        }
        changes
    }

    fn values_from(&self, incoming: &Self) -> Vec<Change> {
        let mut changes = Vec::new();
        let reason = |known: bool| {
            if known {
                "imported again with another value"
            } else {
                ""
            }
            .to_owned()
        };
        for lot in incoming.lots.values() {
            let old = self.lots.get(&lot.code);
            let source = incoming.sources.lots.get(&lot.code).cloned();
            let same = old
                .is_some_and(|old| old.reagent == lot.reagent && old.molarity == lot.molarity)
                && self.sources.lots.get(&lot.code) == source.as_ref();
            if !same {
                let lot = Lot {
                    version: next_version(old.map(|l| l.version)).max(lot.version),
                    ..lot.clone()
                };
                changes.push(Change::Lot {
                    lot,
                    source,
                    reason: reason(old.is_some()),
                });
            }
        }
        for (experiment, unknowns) in &incoming.unknowns {
            for unknown in unknowns.values() {
                let old = self
                    .unknowns
                    .get(experiment)
                    .and_then(|u| u.get(&unknown.code));
                let at = (experiment.clone(), unknown.code.clone());
                let source = incoming.sources.unknowns.get(&at).cloned();
                let same = old.is_some_and(|old| old.truth == unknown.truth)
                    && self.sources.unknowns.get(&at) == source.as_ref();
                if !same {
                    let version = next_version(old.map(|u| u.version)).max(unknown.version);
                    let unknown = Unknown {
                        version,
                        ..unknown.clone()
                    };
                    let (experiment, reason) = (experiment.clone(), reason(old.is_some()));
                    changes.push(Change::Unknown {
                        experiment,
                        unknown,
                        source,
                        reason,
                    });
                }
            }
        }
        changes
    }
}

/// Entries of `new` that `old` lacks or has otherwise.
fn changed<'a, K: Ord, V: PartialEq>(
    old: &'a BTreeMap<K, V>,
    new: &'a BTreeMap<K, V>,
) -> impl Iterator<Item = (&'a K, &'a V)> {
    new.iter()
        .filter(|(key, value)| old.get(key) != Some(value))
}

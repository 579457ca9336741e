//! Changes to a term: the one way it is altered, in memory and on disk alike.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use rust_decimal::Decimal;

use crate::course::{Course, Experiment, StaffMember, Student};
use crate::measure::GlasswareTable;
use crate::term::{Decision, ExperimentSource, Revision, Slot, Term};
use crate::truth::{Lot, Unknown};

/// One alteration of a term. Applied to the term in memory and written to the database, it has the same effect.
#[derive(Clone, Debug)]
#[allow(missing_docs, reason = "the fields carry the names of their types")]
pub enum Change {
    /// Title, term and zone.
    Course(Course),
    /// The course's own glassware file, and the whole table with it.
    Glassware { text: String, table: GlasswareTable },
    /// The text of a procedure the course uses.
    Procedure { key: String, text: String },
    /// An experiment, new or with other dates or marking.
    Experiment {
        experiment: Box<Experiment>,
        source: ExperimentSource,
    },
    /// A student, new or with another name or section.
    Student(Student),
    /// A member of staff, new or with another name, role or sections.
    Staff(StaffMember),
    /// A lot, or another value for one; `source` is its preparation record.
    Lot {
        lot: Lot,
        source: Option<String>,
        reason: String,
    },
    /// An unknown, or another value for one; `source` is its preparation record.
    Unknown {
        experiment: String,
        unknown: Unknown,
        source: Option<String>,
        reason: String,
    },
    /// A bottle given to a student.
    Issue { slot: Slot, unknown: String },
    /// A student put into a bench group.
    Group { slot: Slot, group: String },
    /// A hand-in. `key` names the request that brought it, so that a repeat is recognised.
    HandIn {
        slot: Slot,
        revision: Revision,
        key: Option<String>,
    },
    /// Points given by hand.
    ByHand { slot: Slot, points: Decimal },
    /// A decision.
    Decide { slot: Slot, decision: Decision },
    /// Results released, or (none) withdrawn.
    Release {
        experiment: String,
        at: Option<Timestamp>,
    },
}

/// Which submissions a change may judge anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reach {
    /// None.
    Nothing,
    /// Those of one experiment in a student’s section, and in the sections of their bench group.
    Section(Slot),
    /// Those of one experiment.
    Experiment(String),
    /// All.
    All,
}

impl Change {
    /// A word and a subject for the event log; ids only.
    #[must_use]
    pub fn event(&self) -> (&'static str, String) {
        let at = |slot: &Slot| format!("{}/{}", slot.experiment, slot.student);
        match self {
            Self::Course(_) => ("course", String::new()),
            Self::Glassware { .. } => ("glassware", String::new()),
            Self::Procedure { key, .. } => ("procedure", key.clone()),
            Self::Experiment { experiment, .. } => ("experiment", experiment.key.clone()),
            Self::Student(student) => ("student", student.id.clone()),
            Self::Staff(staff) => ("staff", staff.login.clone()),
            Self::Lot { lot, .. } => ("lot", lot.code.clone()),
            Self::Unknown {
                experiment,
                unknown,
                ..
            } => ("unknown", format!("{experiment}/{}", unknown.code)),
            Self::Issue { slot, .. } => ("issue", at(slot)),
            Self::Group { slot, .. } => ("group", at(slot)),
            Self::HandIn { slot, .. } => ("hand-in", at(slot)),
            Self::ByHand { slot, .. } => ("by-hand", at(slot)),
            Self::Decide { slot, .. } => ("decide", at(slot)),
            Self::Release {
                experiment,
                at: Some(_),
            } => ("release", experiment.clone()),
            Self::Release {
                experiment,
                at: None,
            } => ("withdraw", experiment.clone()),
        }
    }

    /// What has to be judged anew.
    #[must_use]
    pub fn reach(&self) -> Reach {
        match self {
            Self::Course(_) | Self::Glassware { .. } | Self::Lot { .. } | Self::Student(_) => {
                Reach::All
            }
            Self::Procedure { .. } | Self::Staff(_) | Self::Release { .. } => Reach::Nothing,
            Self::Experiment { experiment, .. } => Reach::Experiment(experiment.key.clone()),
            // those who shared readings with the student before are no longer to be told from the term
            Self::Group { slot, .. } => Reach::Experiment(slot.experiment.clone()),
            Self::Unknown { experiment, .. } => Reach::Experiment(experiment.clone()),
            Self::Issue { slot, .. }
            | Self::HandIn { slot, .. }
            | Self::ByHand { slot, .. }
            | Self::Decide { slot, .. } => Reach::Section(slot.clone()),
        }
    }
}

impl Term {
    /// Applies a change. A lot's or unknown's version is counted up where its value differs.
    pub fn apply(&mut self, change: Change) {
        match change {
            Change::Course(course) => self.course = course,
            Change::Glassware { text, table } => {
                self.sources.glassware = Some(text);
                self.glassware = table;
            }
            Change::Procedure { key, text } => {
                self.sources.procedures.insert(key, text);
            }
            Change::Experiment { experiment, source } => {
                self.sources
                    .experiments
                    .insert(experiment.key.clone(), source);
                put(&mut self.experiments, *experiment, |e| e.key.clone());
            }
            Change::Student(student) => put(&mut self.students, student, |s| s.id.clone()),
            Change::Staff(staff) => put(&mut self.staff, staff, |s| s.login.clone()),
            Change::Lot { lot, source, .. } => {
                match source {
                    Some(text) => self.sources.lots.insert(lot.code.clone(), text),
                    None => self.sources.lots.remove(&lot.code),
                };
                self.lots.insert(lot.code.clone(), lot);
            }
            Change::Unknown {
                experiment,
                unknown,
                source,
                ..
            } => {
                let at = (experiment.clone(), unknown.code.clone());
                match source {
                    Some(text) => self.sources.unknowns.insert(at, text),
                    None => self.sources.unknowns.remove(&at),
                };
                self.unknowns
                    .entry(experiment)
                    .or_default()
                    .insert(unknown.code.clone(), unknown);
            }
            Change::Issue { slot, unknown } => {
                self.issued.insert(slot, unknown);
            }
            Change::Group { slot, group } => {
                self.groups.insert(slot, group);
            }
            Change::HandIn { slot, revision, .. } => {
                self.submissions.entry(slot).or_default().push(revision);
            }
            Change::ByHand { slot, points } => {
                self.by_hand.insert(slot, points);
            }
            Change::Decide { slot, decision } => {
                self.decisions.entry(slot).or_default().push(decision)
            }
            Change::Release {
                experiment,
                at: Some(at),
            } => {
                self.released.insert(experiment, at);
            }
            Change::Release {
                experiment,
                at: None,
            } => {
                self.released.remove(&experiment);
            }
        }
    }

    /// The slots within reach of changes.
    #[must_use]
    pub fn within_reach(&self, reaches: &[Reach]) -> BTreeSet<Slot> {
        let mut slots = BTreeSet::new();
        for reach in reaches {
            match reach {
                Reach::Nothing => {}
                Reach::All => {
                    for experiment in &self.experiments {
                        slots.extend(
                            self.students
                                .iter()
                                .map(|s| Slot::new(&experiment.key, &s.id)),
                        );
                    }
                }
                Reach::Experiment(key) => {
                    slots.extend(self.students.iter().map(|s| Slot::new(key, &s.id)))
                }
                Reach::Section(slot) => slots.extend(self.beside(slot)),
            }
        }
        slots
    }

    /// The slots of a section, and those of every section that a bench mate is in: the mate’s readings are compared
    /// with those of the mate’s own section.
    fn beside(&self, slot: &Slot) -> Vec<Slot> {
        let group = self.groups.get(slot);
        let mates = group
            .into_iter()
            .flat_map(|group| self.bench_group(&slot.experiment, group));
        let with_mates: BTreeSet<&str> = mates
            .map(|mate| mate.student.as_str())
            .chain([slot.student.as_str()])
            .collect();
        let of = |s: &&Student| with_mates.contains(s.id.as_str());
        let sections: BTreeSet<&str> = self
            .students
            .iter()
            .filter(of)
            .map(|s| s.section.as_str())
            .collect();
        let reached = self
            .students
            .iter()
            .filter(|s| sections.contains(s.section.as_str()));
        reached
            .map(|s| Slot::new(&slot.experiment, &s.id))
            .collect()
    }

    /// The changes that bring everything of `incoming` into this term: what is new, what differs, and hand-ins not
    /// yet held. Nothing is taken away, so bringing the same in twice changes nothing.
    #[must_use]
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
        let issued = changed(&self.issued, &incoming.issued);
        changes.extend(issued.map(|(slot, code)| Change::Issue {
            slot: slot.clone(),
            unknown: code.clone(),
        }));
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
        let released = changed(&self.released, &incoming.released);
        changes.extend(released.map(|(key, at)| Change::Release {
            experiment: key.clone(),
            at: Some(*at),
        }));
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

/// The version after one: 1 for the first.
#[must_use]
pub fn next_version(old: Option<u32>) -> u32 {
    old.map_or(1, |version| version.saturating_add(1))
}

/// Replaces the item of the same key, or adds it at the end.
fn put<T>(items: &mut Vec<T>, item: T, key: impl Fn(&T) -> String) {
    let wanted = key(&item);
    match items.iter_mut().find(|known| key(known) == wanted) {
        Some(known) => *known = item,
        None => items.push(item),
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

//! Changes to a term: the one way it is altered, in memory and on disk alike.

mod incoming;

use std::collections::BTreeSet;

use jiff::Timestamp;
use rust_decimal::Decimal;

use crate::course::{Course, Experiment, StaffMember, Student};
use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::measure::GlasswareTable;
use crate::term::{
    Amendment, Decision, ExperimentSource, Extension, Note, Reissue, Revision, Slot, Term,
};
use crate::truth::{Bottle, Lot, ShelfLife, Unknown};

/// One alteration of a term. Applied to the term in memory and written to the database, it has the same effect.
#[derive(Clone, Debug)]
#[allow(missing_docs, reason = "the fields carry the names of their types")]
pub enum Change {
    /// Title, term and zone.
    Course(Course),
    /// The course's own glassware file, and the whole table with it.
    Glassware {
        text: String,
        table: GlasswareTable,
    },
    /// The text of a procedure the course uses.
    Procedure {
        key: String,
        text: String,
    },
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
        experiment: ExperimentKey,
        unknown: Unknown,
        source: Option<String>,
        reason: String,
    },
    /// A bottle given to a student.
    Issue {
        slot: Slot,
        unknown: UnknownCode,
    },
    /// A student put into a bench group.
    Group {
        slot: Slot,
        group: String,
    },
    /// A hand-in. `key` names the request that brought it, so that a repeat is recognised.
    HandIn {
        slot: Slot,
        revision: Revision,
        key: Option<String>,
    },
    /// Points given by hand.
    ByHand {
        slot: Slot,
        points: Decimal,
    },
    Decide {
        slot: Slot,
        decision: Decision,
    },
    /// When a lot or an unknown was made, and until when it keeps.
    ShelfLife {
        bottle: Bottle,
        life: ShelfLife,
    },
    /// The answer key of an experiment was opened: nothing alters, and the log says who and when.
    KeyOpened {
        experiment: ExperimentKey,
    },
    /// Results released to a section or (none) to all of them, or (no time) withdrawn.
    Release {
        experiment: ExperimentKey,
        section: Option<SectionName>,
        at: Option<Timestamp>,
    },
    /// Other dates for one student, or those of before again.
    Extend {
        slot: Slot,
        extension: Extension,
    },
    /// Another bottle for one student.
    Reissue {
        slot: Slot,
        reissue: Reissue,
    },
    /// The text that another one replaces, kept.
    Amend(Amendment),
    /// Somebody is on the staff no longer. Ends their sessions.
    RemoveStaff {
        login: String,
    },
    /// A note of a student or of staff.
    Note {
        slot: Slot,
        note: Note,
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
    Experiment(ExperimentKey),
    All,
}

impl Change {
    /// A word and a subject for the event log; ids only.
    pub fn event(&self) -> (&'static str, String) {
        let at = |slot: &Slot| format!("{}/{}", slot.experiment, slot.student);
        match self {
            Self::Course(_) => ("course", String::new()),
            Self::Glassware { .. } => ("glassware", String::new()),
            Self::Procedure { key, .. } => ("procedure", key.clone()),
            Self::Experiment { experiment, .. } => ("experiment", experiment.key.to_string()),
            Self::Student(student) => ("student", student.id.to_string()),
            Self::Staff(staff) => ("staff", staff.login.clone()),
            Self::Lot { lot, .. } => ("lot", lot.code.to_string()),
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
            Self::ShelfLife { bottle, .. } => (
                "shelf-life",
                match bottle {
                    Bottle::Lot(code) => code.to_string(),
                    Bottle::Unknown { experiment, code } => format!("{experiment}/{code}"),
                },
            ),
            Self::KeyOpened { experiment } => ("answer-key", experiment.to_string()),
            Self::Release {
                experiment,
                section,
                at,
            } => {
                let what = if at.is_some() { "release" } else { "withdraw" };
                let section = section.as_ref().map(|name| format!("/{name}"));
                (what, format!("{experiment}{}", section.unwrap_or_default()))
            }
            Self::Extend { slot, .. } => ("extend", at(slot)),
            Self::Reissue { slot, .. } => ("reissue", at(slot)),
            Self::Amend(amendment) => {
                let what = amendment.what.name();
                ("amend", format!("{what} {}", amendment.key))
            }
            Self::RemoveStaff { login } => ("remove-staff", login.clone()),
            Self::Note { slot, .. } => ("note", at(slot)),
        }
    }

    /// What has to be judged anew.
    pub fn reach(&self) -> Reach {
        match self {
            Self::Course(_) | Self::Glassware { .. } | Self::Lot { .. } | Self::Student(_) => {
                Reach::All
            }
            Self::Procedure { .. }
            | Self::Staff(_)
            | Self::ShelfLife { .. }
            | Self::KeyOpened { .. }
            | Self::RemoveStaff { .. }
            | Self::Amend(_)
            | Self::Release { .. } => Reach::Nothing,
            // a student who works with another section is compared with that one
            Self::Extend { slot, .. } => Reach::Experiment(slot.experiment.clone()),
            Self::Experiment { experiment, .. } => Reach::Experiment(experiment.key.clone()),
            // those who shared readings with the student before are no longer to be told from the term
            Self::Group { slot, .. } => Reach::Experiment(slot.experiment.clone()),
            Self::Unknown { experiment, .. } => Reach::Experiment(experiment.clone()),
            Self::Issue { slot, .. }
            | Self::Reissue { slot, .. }
            | Self::HandIn { slot, .. }
            | Self::ByHand { slot, .. }
            | Self::Decide { slot, .. }
            | Self::Note { slot, .. } => Reach::Section(slot.clone()),
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
            Change::ShelfLife { bottle, life } => {
                if life.is_empty() {
                    self.shelf.remove(&bottle);
                } else {
                    self.shelf.insert(bottle, life);
                }
            }
            Change::KeyOpened { .. } => {}
            Change::Release {
                experiment,
                section,
                at,
            } => self.set_release(&experiment, section.as_ref(), at),
            Change::Extend { slot, extension } => {
                self.extensions.entry(slot).or_default().push(extension);
            }
            Change::Reissue { slot, reissue } => {
                self.issued.insert(slot.clone(), reissue.unknown.clone());
                self.reissued.entry(slot).or_default().push(reissue);
            }
            Change::Amend(amendment) => self.amendments.push(amendment),
            Change::RemoveStaff { login } => {
                self.staff.retain(|s| !s.login.eq_ignore_ascii_case(&login));
            }
            Change::Note { slot, note } => self.notes.entry(slot).or_default().push(note),
        }
    }

    /// The slots within reach of changes.
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

    /// The slots of a section, and those of every section that a bench mate works in: the mate’s readings are compared
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
        let section = |s| self.works_in(&slot.experiment, s).as_str();
        let sections: BTreeSet<&str> = self.students.iter().filter(of).map(section).collect();
        let reached = self.students.iter();
        let reached = reached.filter(|s| sections.contains(section(s)));
        reached
            .map(|s| Slot::new(&slot.experiment, &s.id))
            .collect()
    }
}

/// The version after one: 1 for the first.
pub fn next_version(old: Option<u32>) -> u32 {
    old.map_or(1, |version| version.saturating_add(1))
}

/// Replaces the item of the same key, or adds it at the end.
fn put<T, K: PartialEq>(items: &mut Vec<T>, item: T, key: impl Fn(&T) -> K) {
    let wanted = key(&item);
    match items.iter_mut().find(|known| key(known) == wanted) {
        Some(known) => *known = item,
        None => items.push(item),
    }
}

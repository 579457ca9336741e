//! What was arranged for one student or one section: other dates, another bottle, results out or not yet; and what of
//! an experiment was replaced, and why.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::DateTime;
use serde::{Deserialize, Serialize};

use super::{Slot, Term};
use crate::course::{Experiment, Student};
use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::procedure::Dates;
use crate::submission::HandIn;
use crate::words::named;

/// Other dates for one student in one experiment. The last one made counts; one that asks for nothing takes the
/// others back.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Extension {
    /// Due then, in the course's zone; none: when the section is.
    pub due: Option<DateTime>,
    /// The section they make the experiment up with: its dates and lots hold; none: their own.
    pub section: Option<SectionName>,
    pub reason: String,
    /// Login of who allowed it; empty if a file does not say.
    pub by: String,
    /// When; none if a file does not say.
    pub at: Option<Timestamp>,
}

/// Another bottle in place of the one issued before.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reissue {
    /// Code of the bottle given.
    pub unknown: UnknownCode,
    /// Code of the bottle it replaces.
    pub instead_of: UnknownCode,
    pub reason: String,
    /// Login of who gave it.
    pub by: String,
    pub at: Timestamp,
}

/// When the results of an experiment are out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Release {
    /// For every section not named below; none: not yet.
    pub everyone: Option<Timestamp>,
    /// For single sections; none: held back from this one.
    pub sections: BTreeMap<SectionName, Option<Timestamp>>,
}

/// A text that was replaced while the term was running, kept with the reason.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amendment {
    pub what: Amended,
    /// Key of the experiment, or of the procedure.
    pub key: String,
    /// The text before; none where the experiment had none of its own.
    pub before: Option<String>,
    pub reason: String,
    /// Login of who did it.
    pub by: String,
    pub at: Timestamp,
}

/// What an amendment replaced.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Amended {
    /// The marking of an experiment.
    #[default]
    Marking,
    /// Its rules for trials.
    Trials,
    /// The text of a procedure.
    Procedure,
}

impl Extension {
    /// Whether it asks for nothing.
    pub fn is_taken_back(&self) -> bool {
        self.due.is_none() && self.section.is_none()
    }
}

impl Release {
    /// When the results are out for a section; none if they are not.
    pub fn of(&self, section: &str) -> Option<Timestamp> {
        self.sections.get(section).copied().unwrap_or(self.everyone)
    }
}

named! { Amended, name, from_name:
    Marking = "marking",
    Trials = "trials",
    Procedure = "procedure",
}

impl Term {
    /// Students who have not left, in roster order.
    pub fn enrolled(&self) -> impl Iterator<Item = &Student> {
        self.students.iter().filter(|s| s.is_enrolled())
    }

    /// What holds for a student in an experiment beyond what holds for the section; none if nothing does.
    pub fn extension(&self, slot: &Slot) -> Option<&Extension> {
        let last = self.extensions.get(slot)?.last()?;
        (!last.is_taken_back()).then_some(last)
    }

    /// Bottles given to a student in place of others, in order.
    pub fn reissues_of(&self, slot: &Slot) -> &[Reissue] {
        self.reissued.get(slot).map_or(&[], Vec::as_slice)
    }

    /// The section a student does an experiment with: their own, or the one they make it up with.
    pub fn works_in<'a>(
        &'a self,
        experiment: &ExperimentKey,
        student: &'a Student,
    ) -> &'a SectionName {
        if self.extensions.is_empty() {
            return &student.section;
        }
        let arranged = self.extension(&Slot::new(experiment, &student.id));
        let section = arranged.and_then(|one| one.section.as_ref());
        section.unwrap_or(&student.section)
    }

    /// The dates that hold for a student in an experiment. Every page, every list and the lateness of what is handed in
    /// go by these.
    pub fn dates_of(&self, experiment: &Experiment, student: &Student) -> Dates {
        let mut dates = experiment.dates_in(self.works_in(&experiment.key, student));
        if self.extensions.is_empty() {
            return dates;
        }
        let arranged = self.extension(&Slot::new(&experiment.key, &student.id));
        if let Some(due) = arranged.and_then(|one| one.due) {
            dates.due = due;
        }
        dates
    }

    /// As [`Term::dates_of`], by id; those of the experiment for somebody who is not on the roster.
    pub fn dates_for(&self, experiment: &Experiment, student: &str) -> Dates {
        let student = self.student(student);
        student.map_or(experiment.dates, |s| self.dates_of(experiment, s))
    }

    /// When the results of an experiment are out for a section; none if they are not.
    pub fn released_to(&self, experiment: &ExperimentKey, section: &str) -> Option<Timestamp> {
        self.released.get(experiment)?.of(section)
    }

    /// Releases the results of an experiment, or (none) withdraws them: to one section, or to all of them whatever was
    /// arranged for single ones.
    pub fn set_release(
        &mut self,
        experiment: &ExperimentKey,
        section: Option<&SectionName>,
        at: Option<Timestamp>,
    ) {
        let release = self.released.entry(experiment.clone()).or_default();
        match section {
            None => {
                *release = Release {
                    everyone: at,
                    sections: BTreeMap::new(),
                }
            }
            Some(section) => {
                release.sections.insert(section.clone(), at);
                let same = release.everyone;
                release
                    .sections
                    .retain(|_, at| at.is_some() || same.is_some());
            }
        }
        if *release == Release::default() {
            self.released.remove(experiment.as_str());
        }
    }

    /// The bottle that readings are from: the one they name, if the student was ever given it, else the one the student
    /// has now. None if none was issued.
    pub fn bottle_of<'a>(&'a self, slot: &Slot, hand_in: &HandIn) -> Option<&'a str> {
        let now = self.issued.get(slot)?;
        let named = || {
            let written = hand_in.unknown_written()?;
            let before = self.reissued.get(slot)?.iter();
            let mut before = before.map(|one| one.instead_of.as_str());
            before.find(|code| code.eq_ignore_ascii_case(written))
        };
        Some(named().unwrap_or(now))
    }
}

//! A course: its people, sections and experiments.

use std::collections::BTreeMap;
use std::fmt;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::ids::{ExperimentKey, LotCode, SectionName, StudentId};
use crate::language::Language;
use crate::procedure::{Dates, Procedure};
use crate::words::named;

/// A course as it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Course {
    pub title: String,
    /// Such as “autumn 2026”.
    pub term: String,
    /// IANA name of the zone its dates are in.
    #[serde(rename = "time_zone")]
    pub zone: Zone,
    /// What students read.
    #[serde(default, skip_serializing_if = "is_english")]
    pub language: Language,
}

fn is_english(language: &Language) -> bool {
    *language == Language::English
}

/// A time zone by its IANA name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Zone {
    name: String,
    zone: TimeZone,
}

/// Where a course of a department stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    Open,
    /// To be read, and not to be changed.
    Closed,
    /// Its file is put by, and nobody is served from it.
    Archived,
}

/// An experiment of a course.
#[derive(Clone, Debug)]
pub struct Experiment {
    /// Names it in files.
    pub key: ExperimentKey,
    /// With the experiment's own trial rules and marking.
    pub procedure: Procedure,
    /// When it opens and is due.
    pub dates: Dates,
    /// Lots the course assigned: by section, the titrant's and the excess reagent's.
    pub section_lots: BTreeMap<SectionName, SectionLots>,
    /// Sections with dates of their own.
    pub section_dates: BTreeMap<SectionName, SectionDates>,
}

/// The dates of a section where they are not those of the experiment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SectionDates {
    pub opens: Option<DateTime>,
    pub due: Option<DateTime>,
}

/// The lots assigned to a section.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SectionLots {
    pub titrant: Option<LotCode>,
    pub excess: Option<LotCode>,
}

/// A student on the roster.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Student {
    /// Text: leading zeros stay.
    #[serde(rename = "student")]
    pub id: StudentId,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub family_name: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub given_name: String,
    pub section: SectionName,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub email: String,
    /// What the OneRoster exchange they came from calls them; empty for who came from none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub sourced_id: String,
    /// The day they left the course; their work stays on record.
    pub left: Option<Date>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StaffMember {
    /// Signs in with this.
    pub login: String,
    pub name: String,
    /// What they may do.
    pub role: StaffRole,
    /// Sections of an assistant.
    pub sections: Vec<SectionName>,
}

/// What a member of staff may do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StaffRole {
    Coordinator,
    #[default]
    Assistant,
    /// The prep room: lots and unknowns.
    Prep,
}

impl Zone {
    /// The zone of that name.
    pub fn new(name: &str) -> Result<Self, String> {
        match TimeZone::get(name) {
            Ok(zone) => Ok(Self {
                name: name.to_owned(),
                zone,
            }),
            Err(_) => Err(format!(
                "found \u{201c}{name}\u{201d}, expected an IANA time zone such as Europe/Lisbon"
            )),
        }
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    /// The instant of a local time; in a gap or a fold, as RFC 5545 has it.
    pub fn instant(&self, local: DateTime) -> Option<Timestamp> {
        self.zone.to_timestamp(local).ok()
    }

    /// The local time of an instant.
    pub fn local(&self, instant: Timestamp) -> DateTime {
        self.zone.to_datetime(instant)
    }
}

impl TryFrom<String> for Zone {
    type Error = String;

    fn try_from(name: String) -> Result<Self, String> {
        Self::new(&name)
    }
}

impl From<Zone> for String {
    fn from(zone: Zone) -> Self {
        zone.name
    }
}

named! { Standing, name, from_name:
    Open = "open",
    Closed = "closed",
    Archived = "archived",
}

named! { StaffRole, name, from_name:
    Coordinator = "coordinator",
    Assistant = "assistant",
    Prep = "prep",
}

impl Student {
    /// Whether they are still on the course.
    pub fn is_enrolled(&self) -> bool {
        self.left.is_none()
    }
}

impl Experiment {
    /// The dates that hold in a section.
    pub fn dates_in(&self, section: &str) -> Dates {
        let own = self.section_dates.get(section).copied().unwrap_or_default();
        Dates {
            opens: own.opens.unwrap_or(self.dates.opens),
            due: own.due.unwrap_or(self.dates.due),
        }
    }
}

impl fmt::Display for Student {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, {}", self.family_name, self.given_name)
    }
}

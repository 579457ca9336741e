//! What an audit is about and what it finds.

use serde::Serialize;
use smol_str::SmolStr;

use crate::words::named;

/// What a group has in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum AuditKind {
    Unknown,
    Lot,
    /// The lot of the reagent added in excess.
    ExcessLot,
    Section,
    /// Who teaches the section.
    Assistant,
    /// The burette, or what else results are read from.
    Instrument,
    /// The day on which the readings were handed in first.
    Day,
}

named! { AuditKind, in_files:
    Unknown = "unknown": "unknown",
    Lot = "lot": "titrant lot",
    ExcessLot = "excess-lot": "excess lot",
    Section = "section": "section",
    Assistant = "assistant": "assistant",
    Instrument = "instrument": "instrument",
    Day = "day": "day",
}

impl AuditKind {
    /// Whether it is a reagent with a value of its own, which may change while it stands.
    pub fn is_lot(self) -> bool {
        matches!(self, Self::Lot | Self::ExcessLot)
    }
}

/// One group of an experiment.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct GroupName {
    /// What its results have in common.
    pub kind: AuditKind,
    /// Which unknown, lot or section.
    pub key: SmolStr,
}

impl GroupName {
    /// The group of that kind and key.
    pub fn new(kind: AuditKind, key: impl Into<SmolStr>) -> Self {
        Self {
            kind,
            key: key.into(),
        }
    }
}

impl std::fmt::Display for GroupName {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.kind.words(), self.key)
    }
}

/// One result: how far it is from what was assigned, and the groups it belongs to, at most one of each kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Observed {
    /// (x − assigned) / assigned, percent.
    pub error_percent: f64,
    /// Standard uncertainty of the result, percent of it.
    pub standard_percent: f64,
    /// When the readings were handed in first, in days from any fixed day on; none where no file says.
    pub at_days: Option<f64>,
    pub groups: Vec<GroupName>,
}

/// One group summed up.
#[derive(Clone, Debug, PartialEq)]
pub struct AuditGroup {
    pub name: GroupName,
    /// Its results, by place among those observed.
    pub members: Vec<usize>,
    /// Robust mean of their errors, percent, with whatever else moved them.
    pub bias_percent: f64,
    /// s* of their errors, percent.
    pub scatter_percent: f64,
    /// 1.25 s*/√p joined with the standard uncertainty of the group's own assigned value, percent.
    pub bias_uncertainty_percent: f64,
    /// What is left to the group once other groups that look off are allowed for.
    pub own: OwnShift,
    /// Two-sided probability that chance puts its own shift so far from zero; none for a group too small to judge.
    pub p_value: Option<f64>,
    /// The same over all groups of the experiment (Holm).
    pub adjusted_p: Option<f64>,
    /// The least shift that would be seen in four of five groups like it, percent; none where its results are too few for
    /// any.
    pub seen_from_percent: Option<f64>,
    /// What that comes to.
    pub verdict: Verdict,
}

/// What is left to a group once other groups are allowed for, percent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OwnShift {
    pub percent: f64,
    /// 1.25 s*/√p: how well the results alone fix it.
    pub standard_percent: f64,
    /// Joined with every assigned value the results rest on: what it is tested with.
    pub joined_percent: f64,
}

/// Whether a group looks off.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    TooFew,
    /// It is no further off than chance allows.
    Agrees {
        /// Groups that look off and explain why this one seemed to.
        explained_by: Vec<GroupName>,
    },
    Off {
        /// Whether it is named first; another group that cannot be told from it names it among its rivals.
        first: bool,
        /// Its bias runs with time.
        drift: Option<Drift>,
        /// Groups it cannot be told apart from.
        rivals: Vec<Rival>,
        /// Groups that could have been it, and why they are not.
        ruled_out: Vec<Ruled>,
    },
}

/// A straight line through the results of a lot in time, once other groups are allowed for.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// By how many percent of what was assigned the results change in a day.
    pub per_day_percent: f64,
    pub standard_percent: f64,
    /// Two-sided probability that chance alone makes such a slope.
    pub p: f64,
    /// The middle of the times, where the line is best known.
    pub middle_days: f64,
    /// Where it is then, the group's own shift, and its standard uncertainty.
    pub middle_percent: f64,
    pub middle_standard_percent: f64,
    /// In order of time.
    pub days: Vec<DriftDay>,
}

/// One day of a drift.
#[derive(Clone, Debug, PartialEq)]
pub struct DriftDay {
    /// As its group is called; its number where it has none.
    pub day: String,
    pub n: usize,
    /// Median of the times of its results.
    pub at_days: f64,
    /// Where the line is then, and its standard uncertainty, percent.
    pub percent: f64,
    pub standard_percent: f64,
    /// Robust mean of that day's results alone.
    pub found_percent: f64,
}

impl Drift {
    /// Where the line is at a time and its standard uncertainty, percent; in the middle where no time is known.
    pub fn at(&self, at_days: Option<f64>) -> (f64, f64) {
        let away = at_days.map_or(0.0, |at| at - self.middle_days);
        let slope = self.standard_percent * away;
        (
            self.middle_percent + self.per_day_percent * away,
            self.middle_standard_percent.hypot(slope),
        )
    }

    /// Such as “drifts by −0.25 % a day (± 0.03)”.
    pub fn words(&self) -> String {
        let sign = if self.per_day_percent < 0.0 {
            "\u{2212}"
        } else {
            "+"
        };
        let (size, standard) = (self.per_day_percent.abs(), self.standard_percent);
        format!("drifts by {sign}{size:.2} % a day (\u{b1} {standard:.2})")
    }
}

/// A group that another cannot be told apart from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rival {
    pub group: GroupName,
    /// It holds the very same results; otherwise too few differ.
    pub same_results: bool,
}

/// A group that could have been off instead of another, and is not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ruled {
    pub group: GroupName,
    /// So many results outside it are off as well, if that speaks against it.
    pub off_outside: Option<usize>,
    /// So many of its other results are not off, if that speaks against it.
    pub sound_inside: Option<usize>,
}

impl AuditGroup {
    /// Results in the group.
    pub fn n(&self) -> usize {
        self.members.len()
    }

    /// How its bias runs with time, if it does.
    pub fn drift(&self) -> Option<&Drift> {
        match &self.verdict {
            Verdict::Off { drift, .. } => drift.as_ref(),
            Verdict::TooFew | Verdict::Agrees { .. } => None,
        }
    }
}

impl Verdict {
    /// Whether it looks off, if only together with a group it cannot be told from.
    pub fn is_off(&self) -> bool {
        matches!(self, Self::Off { .. })
    }

    /// Whether it is named as off before all it cannot be told from.
    pub fn is_named(&self) -> bool {
        matches!(self, Self::Off { first: true, .. })
    }

    /// In words, such as “looks off, unless it is section B: the same students”.
    pub fn words(&self) -> String {
        match self {
            Self::TooFew => "too few to judge".to_owned(),
            Self::Agrees { explained_by } if explained_by.is_empty() => "agrees".to_owned(),
            Self::Agrees { explained_by } => {
                let are = if explained_by.len() > 1 { "are" } else { "is" };
                format!(
                    "agrees, once {} {are} allowed for",
                    list(explained_by, "and")
                )
            }
            Self::Off { rivals, drift, .. } => {
                let off = drift.as_ref().map_or("looks off".to_owned(), Drift::words);
                if rivals.is_empty() {
                    return off;
                }
                let names: Vec<GroupName> = rivals.iter().map(|r| r.group.clone()).collect();
                let why = if rivals.iter().all(|rival| rival.same_results) {
                    "the same students"
                } else {
                    "too few students differ to tell"
                };
                format!("{off}, unless it is {}: {why}", list(&names, "or"))
            }
        }
    }
}

fn list(names: &[GroupName], between: &str) -> String {
    let names: Vec<String> = names.iter().map(ToString::to_string).collect();
    names.join(&format!(" {between} "))
}

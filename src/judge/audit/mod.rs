//! Audit of the truth: what groups of students find, against what was assigned.
//!
//! Every result has a signed relative error and belongs to several groups at once: its bottle, its lots, its section,
//! the assistant, the burette. [`audit`] says which groups are off, each with what is not its own doing taken away, so
//! that a bad lot used with good bottles shows up as the lot; and where students are divided in such a way that two
//! groups cannot be told apart, it says that.

mod attribute;
mod crossed;
mod drift;
mod few;
mod fit;
mod group;
mod off;
mod scores;

use std::collections::BTreeMap;

use attribute::Attribution;

pub use crossed::Crossed;
pub use group::{
    AuditGroup, AuditKind, Drift, DriftDay, GroupName, Observed, OwnShift, Rival, Ruled, Verdict,
};
pub use off::{GroupOff, shifts, shifts_at};
pub use scores::{ResultScore, Scores, outlier, scores};

/// Level at which groups look off, over all groups of an experiment together.
pub const AUDIT_LEVEL: f64 = 0.01;

/// Fewest results on which a group is judged by itself.
pub const FEWEST_TO_JUDGE: usize = 4;

/// Fewest on which it is judged by its place among the results of the whole class.
pub const FEWEST_OF_ALL: usize = 3;

/// Audits the results of one experiment. `stated` holds, for groups with an assigned value, the relative standard
/// uncertainty with which results follow from it, percent. Groups come in order of kind and key.
///
/// The standard uncertainty of a group's mean is 1.25 s*/√p (ISO 13528:2015, 7.7). Scatter between students holds what
/// their own glassware is off by, so s* of the group is the yardstick and not the scatter of one student's trials. It
/// is joined with the standard uncertainties of every assigned value the group's results rest on, each by the share of
/// results that rest on it: a lot that is off within its uncertainty moves the results of every bottle, and that makes
/// no bottle bad. The test takes Student's t on p − 1 (as for the mean of p observations, JCGM 100:2008, G.3; with s*
/// for s the rate of false alarms is about half its nominal value from 3 results on, by simulation), and its level
/// holds over all groups of the experiment (Holm).
pub fn audit(observed: &[Observed], stated: &BTreeMap<GroupName, f64>) -> Vec<AuditGroup> {
    audited(&Crossed::of(observed, stated))
}

/// The same of results that are kept crossed.
pub fn audited(crossed: &Crossed) -> Vec<AuditGroup> {
    Attribution::of(crossed).groups()
}

/// The same, where any group looks off.
pub fn audited_if_off(crossed: &Crossed) -> Option<Vec<AuditGroup>> {
    let attribution = Attribution::of(crossed);
    (!attribution.is_quiet()).then(|| attribution.groups())
}

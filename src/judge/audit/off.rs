//! What the results of each submission are shifted by through no fault of the student.

use super::group::{AuditGroup, AuditKind, GroupName, Observed};

/// The shift of one submission's results through all groups found off that it belongs to, against the assigned truth.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupOff {
    /// The group that shifts it most.
    pub group: GroupName,
    /// All of them together, percent: 100 (x − truth) / truth of a sound result.
    pub percent: f64,
    /// How well the results of the groups fix that: joined standard uncertainties of their shifts.
    pub standard_percent: f64,
    /// What of it is the bottle's. The rest (lots, section, day, burette) shifts what the student would have found with any
    /// other bottle as well.
    pub bottle_percent: f64,
}

impl GroupOff {
    /// What would shift the results from any other bottle too.
    pub fn elsewhere_percent(&self) -> f64 {
        self.percent - self.bottle_percent
    }
}

/// For each of the observed results, in their order, what shifts it; none where no group of it is off. `groups` are the
/// audit's of these results.
pub fn shifts<'a>(
    observed: impl Iterator<Item = &'a Observed>,
    groups: &[AuditGroup],
) -> Vec<Option<GroupOff>> {
    shifts_at(&observed.map(|one| one.at_days).collect::<Vec<_>>(), groups)
}

/// The same of results of which the times are known, by place.
pub fn shifts_at(times: &[Option<f64>], groups: &[AuditGroup]) -> Vec<Option<GroupOff>> {
    let mut shifts: Vec<Option<(GroupOff, f64)>> = vec![None; times.len()];
    // what cannot be told from a named group is off in its place and shifts the same results as much
    for group in groups.iter().filter(|group| group.verdict.is_named()) {
        for result in &group.members {
            let (percent, standard) = match group.drift() {
                Some(drift) => drift.at(times[*result]),
                None => (group.own.percent, group.own.standard_percent),
            };
            let bottle = if group.name.kind == AuditKind::Unknown {
                percent
            } else {
                0.0
            };
            let (off, most) = shifts[*result].get_or_insert_with(|| {
                let none = GroupOff {
                    group: group.name.clone(),
                    percent: 0.0,
                    standard_percent: 0.0,
                    bottle_percent: 0.0,
                };
                (none, 0.0)
            });
            if percent.abs() > *most {
                (off.group, *most) = (group.name.clone(), percent.abs());
            }
            off.percent += percent;
            off.standard_percent = off.standard_percent.hypot(standard);
            off.bottle_percent += bottle;
        }
    }
    let shift = |one: Option<(GroupOff, f64)>| one.map(|(off, _)| off);
    shifts.into_iter().map(shift).collect()
}

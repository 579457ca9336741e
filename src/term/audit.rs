//! The audit of a term, experiment by experiment.

use std::collections::{BTreeMap, HashMap};

use rust_decimal::Decimal;

use super::gather::Gather;
use super::{Judged, Slot, Term};
use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::judge::{
    AuditGroup, AuditKind, Consensus, GroupName, Observed, Scores, audit, outlier, scores,
};
use crate::measure::{as_f64, from_f64, order_of_magnitude, to_decimals};
use crate::truth::Assigned;

/// The audit of one experiment. It holds true values: it is for staff.
#[derive(Clone, Debug)]
pub struct ExperimentAudit {
    /// Key of the experiment.
    pub experiment: ExperimentKey,
    /// Every result that can be compared with what was assigned.
    pub results: Vec<Found>,
    /// The results beside the class; none for too few, or results that are all alike.
    pub scores: Option<Scores>,
    /// In order of kind and key; their members are places among the results.
    pub groups: Vec<AuditGroup>,
    /// The values assigned to bottles and lots.
    pub assigned: BTreeMap<GroupName, AssignedValue>,
}

#[derive(Clone, Debug)]
pub struct Found {
    /// Whose. Students who share one set of readings count once.
    pub slot: Slot,
    /// In the result unit.
    pub result: Decimal,
    /// How far it is off, and its groups.
    pub observed: Observed,
}

/// A value on which results rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AssignedValue {
    /// The value, in its unit.
    pub value: Assigned,
    /// By how many percent a result changes where the value is raised by one percent; 1 for a bottle, whose value is
    /// what results are compared with.
    pub sensitivity: f64,
}

impl ExperimentAudit {
    /// The group of that name.
    pub fn group(&self, name: &GroupName) -> Option<&AuditGroup> {
        self.groups.iter().find(|group| group.name == *name)
    }

    /// What the value of a group would have to be for its results not to be off: the consensus of the results, with the
    /// standard uncertainty that they and the other values they rest on leave it. None for a group without a value.
    pub fn consensus(&self, group: &AuditGroup) -> Option<Assigned> {
        let held = self.assigned.get(&group.name)?;
        let found = 1.0 + group.own.percent / 100.0;
        // a bottle's value has to follow the results; results follow a lot's, in proportion or (in a back titration) in a
        // straight line, of which the sensitivity is the slope
        let (factor, power) = if group.name.kind == AuditKind::Unknown {
            (found, 1.0)
        } else {
            let slope = 1.0 / held.sensitivity;
            (1.0 + (1.0 / found - 1.0) * slope, slope)
        };
        let value = as_f64(held.value.value) * factor;
        let own = held.uncertainty_percent();
        let variance = group.own.joined_percent.powi(2) - own.powi(2);
        let relative = variance.max(0.0).sqrt() / 100.0 * power.abs();
        let u = from_f64(value * relative, 2)?;
        // as many decimals as the uncertainty to two figures
        let decimals = 1_i64.saturating_sub(order_of_magnitude(u)).max(0);
        let decimals = u32::try_from(decimals).ok()?.min(12);
        let value = to_decimals(from_f64(value, 15)?, decimals);
        Assigned::new(value, to_decimals(u, decimals)).ok()
    }

    /// Outliers by Grubbs' test, each with the groups it is one of; and how many groups could be tested.
    pub fn outliers(&self) -> (BTreeMap<usize, Vec<&GroupName>>, usize) {
        let observed: Vec<Observed> = self.results.iter().map(|r| r.observed.clone()).collect();
        let (mut outliers, mut tested) = (BTreeMap::<usize, Vec<&GroupName>>::new(), 0_usize);
        for group in &self.groups {
            let Some(found) = outlier(&observed, group) else {
                continue;
            };
            tested = tested.saturating_add(1);
            if let Some(result) = found {
                outliers.entry(result).or_default().push(&group.name);
            }
        }
        (outliers, tested)
    }

    /// What the class finds where a group is off, for every submission of it.
    pub(super) fn consensus_of_groups(&self) -> BTreeMap<Slot, Consensus> {
        let mut found: BTreeMap<Slot, Consensus> = BTreeMap::new();
        for group in self.named() {
            for place in &group.members {
                let Some(of) = self.results.get(*place) else {
                    continue;
                };
                let is_the_bottle = group.name.kind == AuditKind::Unknown;
                let percent = group.own.percent;
                let standard_percent = group.own.standard_percent;
                let cause = group.name.to_string();
                match found.get_mut(&of.slot) {
                    // two groups that are off add up
                    Some(known) => {
                        known.percent += percent;
                        known.standard_percent = known.standard_percent.hypot(standard_percent);
                        known.is_the_bottle &= is_the_bottle;
                        known.cause = format!("{} and {cause}", known.cause);
                    }
                    None => {
                        let consensus = Consensus {
                            percent,
                            standard_percent,
                            is_the_bottle,
                            cause,
                        };
                        found.insert(of.slot.clone(), consensus);
                    }
                }
            }
        }
        found
    }

    /// Groups that look off, each named before those it cannot be told from.
    pub fn named(&self) -> impl Iterator<Item = &AuditGroup> {
        self.groups.iter().filter(|group| group.verdict.is_named())
    }
}

impl AssignedValue {
    /// Relative standard uncertainty of results that follows from the value's, percent.
    pub fn uncertainty_percent(&self) -> f64 {
        percent_of(self.value.standard_uncertainty, self.value.value) * self.sensitivity.abs()
    }
}

impl Term {
    /// Audits every experiment, in course order.
    pub fn audit<'a>(
        &self,
        judged: impl Iterator<Item = (&'a Slot, &'a Judged)>,
    ) -> Vec<ExperimentAudit> {
        let mut by_experiment: HashMap<&str, Vec<(&Slot, &Judged)>> = HashMap::new();
        for (slot, one) in judged {
            let of = by_experiment.entry(slot.experiment.as_str()).or_default();
            of.push((slot, one));
        }
        let audits = self.experiments.iter().map(|experiment| {
            let own = by_experiment.remove(experiment.key.as_str());
            self.audit_one(experiment, &own.unwrap_or_default())
        });
        audits.collect()
    }

    pub(super) fn audit_one(
        &self,
        experiment: &Experiment,
        judged: &[(&Slot, &Judged)],
    ) -> ExperimentAudit {
        let gather = Gather::of(self, experiment);
        let results: Vec<Found> = judged
            .iter()
            .filter_map(|(slot, judged)| gather.found(slot, judged))
            .collect();
        let assigned = gather.assigned(&results);
        let mut stated: BTreeMap<GroupName, f64> = assigned
            .iter()
            .map(|(name, value)| (name.clone(), value.uncertainty_percent()))
            .collect();
        stated.extend(gather.burettes(&results));
        let observed: Vec<Observed> = results.iter().map(|found| found.observed.clone()).collect();
        ExperimentAudit {
            experiment: experiment.key.clone(),
            scores: scores(&observed, &stated),
            groups: audit(&observed, &stated),
            results,
            assigned,
        }
    }
}

/// A part in percent of the whole.
pub(super) fn percent_of(part: Decimal, whole: Decimal) -> f64 {
    100.0 * as_f64(part) / as_f64(whole).abs()
}

//! The audit of a term, experiment by experiment.

use std::collections::{BTreeMap, HashMap};

use rust_decimal::Decimal;

use super::gather::{Gather, Where};
use super::{BySlot, Judged, Slot, Term};
use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::judge::{
    AuditGroup, AuditKind, DriftDay, GroupName, GroupOff, Observed, Scores, audited, outlier,
    scores, shifts,
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
    /// Students who share the readings of a result, each with its place among the results.
    pub mates: Vec<(Slot, usize)>,
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
    /// In the middle of the times where the value drifts.
    pub fn consensus(&self, group: &AuditGroup) -> Option<Assigned> {
        self.consensus_of(&group.name, group.own.percent, group.own.joined_percent)
    }

    /// The same of a lot that drifts, for each of its days.
    pub fn consensus_by_day<'a>(&self, group: &'a AuditGroup) -> Vec<(&'a DriftDay, Assigned)> {
        let own = group.own;
        // what the other values leave uncertain holds for all days
        let others = own.joined_percent.powi(2) - own.standard_percent.powi(2);
        let days = group.drift().into_iter().flat_map(|drift| &drift.days);
        let value = |day: &'a DriftDay| {
            let joined = (day.standard_percent.powi(2) + others.max(0.0)).sqrt();
            Some((day, self.consensus_of(&group.name, day.percent, joined)?))
        };
        days.filter_map(value).collect()
    }

    fn consensus_of(
        &self,
        name: &GroupName,
        percent: f64,
        joined_percent: f64,
    ) -> Option<Assigned> {
        let held = self.assigned.get(name)?;
        let found = 1.0 + percent / 100.0;
        // a bottle's value has to follow the results; results follow a lot's, in proportion or (in a back titration) in a
        // straight line, of which the sensitivity is the slope
        let (factor, power) = if name.kind == AuditKind::Unknown {
            (found, 1.0)
        } else {
            let slope = 1.0 / held.sensitivity;
            (1.0 + (1.0 / found - 1.0) * slope, slope)
        };
        let value = as_f64(held.value.value) * factor;
        let own = held.uncertainty_percent();
        let variance = joined_percent.powi(2) - own.powi(2);
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

    /// For every submission of a group that is off: what its results are shifted by against the truth assigned to its
    /// bottle, through all such groups together. Bench mates have the shift of the readings they share.
    pub fn shifts(&self) -> BTreeMap<Slot, GroupOff> {
        let observed = self.results.iter().map(|found| &found.observed);
        let shifts = shifts(observed, &self.groups);
        let own = self.results.iter().zip(&shifts);
        let own = own.map(|(found, shift)| (&found.slot, shift));
        let mates = self.mates.iter();
        let mates = mates.filter_map(|(slot, at)| Some((slot, shifts.get(*at)?)));
        let off = |(slot, shift): (&Slot, &Option<GroupOff>)| Some((slot.clone(), shift.clone()?));
        own.chain(mates).filter_map(off).collect()
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

    /// Audits one experiment.
    pub fn audit_of(&self, experiment: &Experiment, judged: &BySlot<Judged>) -> ExperimentAudit {
        let judged: Vec<(&Slot, &Judged)> = judged.of_experiment(&experiment.key).collect();
        self.audit_one(experiment, &judged)
    }

    fn audit_one(&self, experiment: &Experiment, judged: &[(&Slot, &Judged)]) -> ExperimentAudit {
        let at = Where {
            term: self,
            experiment,
        };
        let mut gather = Gather::of(at);
        for (slot, judged) in judged {
            gather.put(at, slot, Some(judged));
        }
        gather.state(at);
        let assigned = gather.assigned(at);
        let stated: BTreeMap<GroupName, f64> = gather.crossed().stated_by_name();
        let results: Vec<Found> = gather.results().values().cloned().collect();
        let ranks = results.iter().enumerate();
        let ranks: HashMap<&Slot, usize> = ranks.map(|(rank, found)| (&found.slot, rank)).collect();
        let mate = |(slot, _): &(&Slot, &Judged)| {
            let (reader, _) = self.handed_in_by(slot)?;
            let rank = ranks.get(reader).filter(|_| reader != *slot)?;
            Some(((*slot).clone(), *rank))
        };
        let mates = judged.iter().filter_map(mate).collect();
        let places: Vec<usize> = gather.results().keys().copied().collect();
        let mut groups = audited(gather.crossed());
        for group in &mut groups {
            for place in &mut group.members {
                *place = places.partition_point(|known| known < place);
            }
        }
        let observed: Vec<Observed> = results.iter().map(|found| found.observed.clone()).collect();
        ExperimentAudit {
            experiment: experiment.key.clone(),
            scores: scores(&observed, &stated),
            groups,
            results,
            mates,
            assigned,
        }
    }
}

/// A part in percent of the whole.
pub(super) fn percent_of(part: Decimal, whole: Decimal) -> f64 {
    100.0 * as_f64(part) / as_f64(whole).abs()
}

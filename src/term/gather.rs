//! Results of an experiment with the groups they belong to and the values they rest on.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use rust_decimal::Decimal;

use super::audit::{AssignedValue, Found, percent_of};
use super::{Judged, Slot, Term};
use crate::course::{Experiment, StaffRole};
use crate::ids::LotCode;
use crate::judge::{AuditKind, DefaultLots, GroupName, Observed};
use crate::measure::as_f64;
use crate::truth::{Assigned, Lot};
use crate::workup::{Cause, WorkUp};

/// By what a lot's value is raised to see what becomes of a result.
const RAISED: Decimal = Decimal::from_parts(1_001, 0, 0, false, 3);

/// What is looked up for every result of an experiment.
pub(super) struct Gather<'a> {
    term: &'a Term,
    experiment: &'a Experiment,
    sections: HashMap<&'a str, &'a str>,
    /// By section: who teaches it.
    assistants: HashMap<&'a str, String>,
    lots: HashMap<&'a str, DefaultLots>,
}

impl<'a> Gather<'a> {
    pub fn of(term: &'a Term, experiment: &'a Experiment) -> Self {
        let students = term.students.iter();
        let sections =
            students.map(|s| (s.id.as_str(), term.works_in(&experiment.key, s).as_str()));
        let (mut assistants, mut lots) = (HashMap::new(), HashMap::new());
        for section in term.sections() {
            let teaches = |s: &&crate::course::StaffMember| {
                s.role == StaffRole::Assistant && s.sections.iter().any(|own| own == section)
            };
            let names: Vec<&str> = term
                .staff
                .iter()
                .filter(teaches)
                .map(|s| s.login.as_str())
                .collect();
            assistants.insert(section, names.join(" + "));
            lots.insert(section, term.default_lots(experiment, section));
        }
        Self {
            term,
            experiment,
            sections: sections.collect(),
            assistants,
            lots,
        }
    }

    pub fn found(&self, slot: &Slot, judged: &Judged) -> Option<Found> {
        let (reader, revisions) = self.term.handed_in_by(slot)?;
        // mates of a bench group share one set of readings: it is one result
        if reader != slot {
            return None;
        }
        let evaluation = &judged.evaluation;
        let outcome = evaluation.outcome.as_ref()?;
        let result = outcome.result;
        let error_percent = signed_error(result, evaluation.true_value?)?;
        let section = self.sections.get(slot.student.as_str()).copied()?;
        // readings are corrected later, and taken on the day of the first
        let first = revisions
            .iter()
            .find_map(|one| one.submitted_at.or_else(|| one.hand_in.submitted_at()));
        let taken = first.map(|at| self.term.course.zone.local(at));
        let hand_in = &revisions.last()?.hand_in;
        let counted = || {
            let rows = hand_in.titrations.iter().zip(&evaluation.trials);
            rows.filter(|(_, trial)| trial.counted).map(|(row, _)| row)
        };
        let default = self.lots.get(section);
        let default = default.and_then(|lots| lots.excess.as_deref());
        let excess = only(counted().map(|row| row.excess_lot.as_deref().or(default)))
            .filter(|_| self.experiment.procedure.uses_excess_lot() && !hand_in.has_blank());
        // a result that rests on several lots is no one lot's
        let mut lots = evaluation.titrant_lots();
        let lot = lots.next().filter(|_| lots.next().is_none());
        let known = |code: &&str| self.term.lots.contains_key(*code);
        let instrument = only(counted().map(|row| row.instrument.as_deref()));
        let of = [
            (AuditKind::Unknown, Some(evaluation.unknown.clone())),
            (AuditKind::Lot, lot.filter(known).map(str::to_owned)),
            (
                AuditKind::ExcessLot,
                excess.filter(known).map(str::to_owned),
            ),
            (AuditKind::Section, Some(section.to_owned())),
            (AuditKind::Assistant, self.assistants.get(section).cloned()),
            // written by hand: capitals tell no burettes apart
            (AuditKind::Instrument, instrument.map(str::to_uppercase)),
            (AuditKind::Day, taken.map(|at| at.date().to_string())),
        ];
        let groups = of.into_iter().filter_map(|(kind, key)| {
            let key = key.filter(|key| !key.is_empty())?;
            Some(GroupName { kind, key })
        });
        Some(Found {
            slot: slot.clone(),
            result,
            observed: Observed {
                error_percent,
                standard_percent: percent_of(outcome.standard_uncertainty, result),
                at_days: taken.and_then(days),
                groups: groups.collect(),
            },
        })
    }

    /// The values that results rest on.
    pub fn assigned(&self, results: &[Found]) -> BTreeMap<GroupName, AssignedValue> {
        // of each group, one result for each bottle, with how many there are
        let mut groups: BTreeMap<&GroupName, BTreeMap<&str, (&Found, usize)>> = BTreeMap::new();
        for found in results {
            let names = &found.observed.groups;
            let bottle = names.iter().find(|name| name.kind == AuditKind::Unknown);
            for name in names {
                let bottles = groups.entry(name).or_default();
                let bottle = bottle.map_or("", |name| name.key.as_str());
                let (_, count) = bottles.entry(bottle).or_insert((found, 0));
                *count = count.saturating_add(1);
            }
        }
        let mut lots = self.term.lots.clone();
        let mut value = |(name, bottles): (&GroupName, BTreeMap<&str, (&Found, usize)>)| {
            let value = match name.kind {
                AuditKind::Unknown => self.bottle(&name.key),
                AuditKind::Lot | AuditKind::ExcessLot => {
                    let bottles: Vec<(&Found, usize)> = bottles.into_values().collect();
                    self.lot(&name.key, &bottles, &mut lots)
                }
                AuditKind::Section
                | AuditKind::Assistant
                | AuditKind::Instrument
                | AuditKind::Day => None,
            };
            Some((name.clone(), value?))
        };
        groups.into_iter().filter_map(&mut value).collect()
    }

    fn bottle(&self, code: &str) -> Option<AssignedValue> {
        let unknown = self.term.unknowns.get(&self.experiment.key)?.get(code)?;
        Some(AssignedValue {
            value: *unknown.truth.open(),
            sensitivity: 1.0,
        })
    }

    /// A lot, with the mean sensitivity of the results that used it. In a direct titration they all have the same; in a
    /// back titration it depends on what was left over.
    fn lot(
        &self,
        code: &str,
        found: &[(&Found, usize)],
        lots: &mut BTreeMap<LotCode, Lot>,
    ) -> Option<AssignedValue> {
        let lot = self.term.lots.get(code)?;
        let raised = Lot {
            molarity: Assigned {
                value: lot.molarity.value.checked_mul(RAISED)?,
                ..lot.molarity
            },
            ..lot.clone()
        };
        lots.insert(lot.code.clone(), raised);
        let sensitivity = self.mean_sensitivity(found, lots);
        lots.insert(lot.code.clone(), lot.clone());
        Some(AssignedValue {
            value: lot.molarity,
            sensitivity: sensitivity?,
        })
    }

    fn mean_sensitivity(
        &self,
        found: &[(&Found, usize)],
        raised: &BTreeMap<LotCode, Lot>,
    ) -> Option<f64> {
        let (mut sum, mut count) = (0.0, 0.0);
        for (found, of) in found {
            let result = self.work_up(found, raised)?.value()?;
            let change = as_f64(result) / as_f64(found.result);
            let one = change.ln() / as_f64(RAISED).ln();
            (sum, count) = (sum + one * *of as f64, count + *of as f64);
            // two bottles alike to nine figures: the result is in proportion to the value
            if count > *of as f64 && (sum - one * count).abs() < 1e-9 * count {
                break;
            }
        }
        Some(sum / count)
    }

    fn work_up(&self, found: &Found, lots: &BTreeMap<LotCode, Lot>) -> Option<WorkUp> {
        let section = self.sections.get(found.slot.student.as_str())?;
        let default_lots = self.lots.get(section)?;
        let values = (default_lots, lots);
        self.term
            .worked_up_with(self.experiment, &found.slot, values)
    }

    /// What a burette of its class may be off by moves all results taken with it: its relative standard uncertainty,
    /// as one result has it.
    pub fn burettes(&self, results: &[Found]) -> BTreeMap<GroupName, f64> {
        let names = |found: &Found| {
            let names = found.observed.groups.clone().into_iter();
            names.filter(|name| name.kind == AuditKind::Instrument)
        };
        let numbered = results.iter().find(|found| names(found).next().is_some());
        let Some(percent) = numbered.and_then(|found| self.burette_percent(found)) else {
            return BTreeMap::new();
        };
        let all = results.iter().flat_map(names);
        all.map(|name| (name, percent)).collect()
    }

    fn burette_percent(&self, found: &Found) -> Option<f64> {
        let work_up = self.work_up(found, &self.term.lots)?;
        let contributions = work_up.budget.as_ref()?.contributions.iter();
        let calibration = contributions.filter(|c| c.cause == Cause::BuretteCalibration);
        let variance: f64 = calibration.map(|c| c.amount * c.amount).sum();
        Some(100.0 * variance.sqrt() / as_f64(found.result).abs())
    }
}

/// What all rows say; none where they differ or nothing is said.
fn only<'a>(mut said: impl Iterator<Item = Option<&'a str>>) -> Option<&'a str> {
    let first = said.next()??;
    said.all(|next| next == Some(first)).then_some(first)
}

/// Days since the first of January 1970, by the clock on the wall.
fn days(local: DateTime) -> Option<f64> {
    const SECONDS: f64 = 86_400.0;
    let there = TimeZone::UTC.to_timestamp(local).ok()?;
    Some(there.as_second() as f64 / SECONDS)
}

fn signed_error(result: Decimal, truth: Decimal) -> Option<f64> {
    let off = result.checked_sub(truth)?;
    Some(100.0 * as_f64(off) / as_f64(truth)).filter(|error| error.is_finite())
}

//! Results of an experiment with the groups they belong to and the values they rest on.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use smol_str::{SmolStr, ToSmolStr as _};

use super::audit::{AssignedValue, Found, percent_of};
use super::{Judged, Slot, Term};
use crate::course::{Experiment, StaffRole, Student};
use crate::ids::{LotCode, SectionName, StudentId};
use crate::judge::{AuditKind, Crossed, DefaultLots, GroupName, Observed};
use crate::measure::{as_f64, from_f64};
use crate::truth::{Assigned, Lot};
use crate::workup::{Cause, WorkUp};

/// By what a lot's value is raised to see what becomes of a result.
const RAISED: Decimal = Decimal::from_parts(1_001, 0, 0, false, 3);

/// The results of an experiment beside each other, by places in the roster, with what is looked up for each. A result can
/// be put in place of another: what rests on the others is kept.
#[derive(Debug, Default)]
pub(super) struct Gather {
    sections: HashMap<SectionName, SectionFacts>,
    results: BTreeMap<usize, Found>,
    crossed: Crossed,
    /// Of each lot the results that rest on it, by their bottles.
    lots: BTreeMap<GroupName, BTreeMap<String, BTreeSet<usize>>>,
    /// Results read from something with a number.
    numbered: BTreeSet<usize>,
    /// By place, until another result stands there.
    known: HashMap<usize, Known>,
}

/// What was worked out about one result.
#[derive(Debug, Default)]
struct Known {
    /// By how much it follows each lot.
    sensitivities: BTreeMap<LotCode, Option<f64>>,
    /// What a burette leaves it uncertain by, percent.
    burette: Option<Option<f64>>,
}

/// What holds for all results of a section.
#[derive(Clone, Debug, Default)]
struct SectionFacts {
    /// Who teaches it.
    assistants: SmolStr,
    lots: DefaultLots,
}

/// A term and one of its experiments.
#[derive(Clone, Copy)]
pub(super) struct Where<'a> {
    pub term: &'a Term,
    pub experiment: &'a Experiment,
}

impl<'a> Where<'a> {
    pub fn place(self, student: &StudentId) -> Option<(usize, &'a Student)> {
        let place = self.term.students.place(student)?;
        Some((place, self.term.students.get(place)?))
    }

    pub fn section(self, student: &'a Student) -> &'a SectionName {
        self.term.works_in(&self.experiment.key, student)
    }
}

impl Gather {
    /// Of an experiment nobody has a result in yet.
    pub fn of(at: Where) -> Self {
        let term = at.term;
        let mut teaching: HashMap<&SectionName, Vec<&str>> = HashMap::new();
        for member in term.staff.iter().filter(|s| s.role == StaffRole::Assistant) {
            for section in &member.sections {
                teaching.entry(section).or_default().push(&member.login);
            }
        }
        let sections = term.default_lots_by_section(at.experiment).into_iter();
        let sections = sections.map(|(section, lots)| {
            let of_it = teaching.get(&section);
            let assistants = of_it.map(|logins| logins.join(" + ").into());
            let assistants = assistants.unwrap_or_default();
            (section, SectionFacts { assistants, lots })
        });
        Self {
            sections: sections.collect(),
            crossed: Crossed::filling(),
            ..Self::default()
        }
    }

    pub fn default_lots(&self, section: &str) -> DefaultLots {
        let facts = self.sections.get(section);
        facts.map(|facts| facts.lots.clone()).unwrap_or_default()
    }

    /// Puts what a slot shows now in the place of what it showed.
    pub fn put(&mut self, at: Where, slot: &Slot, judged: Option<&Judged>) {
        let Some((place, _)) = at.place(&slot.student) else {
            return;
        };
        let fresh = judged.and_then(|judged| self.found(at, slot, judged));
        if let Some(before) = self.results.remove(&place) {
            self.count(place, &before, false);
        }
        self.known.remove(&place);
        let observed = fresh.as_ref().map(|found| &found.observed);
        self.crossed.put(place, observed);
        if let Some(fresh) = fresh {
            self.count(place, &fresh, true);
            self.results.insert(place, fresh);
        }
    }

    fn count(&mut self, place: usize, found: &Found, there: bool) {
        let names = &found.observed.groups;
        let bottle = names.iter().find(|name| name.kind == AuditKind::Unknown);
        let bottle = bottle.map_or("", |name| name.key.as_str());
        for name in names.iter().filter(|name| name.kind.is_lot()) {
            let bottles = self.lots.entry(name.clone()).or_default();
            let places = bottles.entry(bottle.to_owned()).or_default();
            if there {
                places.insert(place);
            } else {
                places.remove(&place);
            }
            if places.is_empty() {
                bottles.remove(bottle);
            }
            if bottles.is_empty() {
                self.lots.remove(name);
            }
        }
        if there && names.iter().any(|name| name.kind == AuditKind::Instrument) {
            self.numbered.insert(place);
        } else {
            self.numbered.remove(&place);
        }
    }

    /// States what the assigned values leave each group uncertain by.
    pub fn state(&mut self, at: Where) {
        let assigned = self.assigned(at).into_iter();
        let mut stated: BTreeMap<GroupName, f64> = assigned
            .map(|(name, value)| (name, value.uncertainty_percent()))
            .collect();
        stated.extend(self.burettes(at));
        self.crossed.state(&stated);
    }

    pub fn crossed(&self) -> &Crossed {
        &self.crossed
    }

    pub fn results(&self) -> &BTreeMap<usize, Found> {
        &self.results
    }

    fn found(&self, at: Where, slot: &Slot, judged: &Judged) -> Option<Found> {
        let term = at.term;
        let (reader, revisions) = term.handed_in_by(slot)?;
        // mates of a bench group share one set of readings: it is one result
        if reader != slot {
            return None;
        }
        let evaluation = &judged.evaluation;
        let outcome = evaluation.outcome.as_ref()?;
        let result = outcome.result;
        let error_percent = signed_error(result, evaluation.true_value?)?;
        let (_, student) = at.place(&slot.student)?;
        let section = at.section(student);
        let facts = self.sections.get(section);
        // readings are corrected later, and taken on the day of the first
        let first = revisions
            .iter()
            .find_map(|one| one.submitted_at.or_else(|| one.hand_in.submitted_at()));
        let taken = first.map(|at| term.course.zone.local(at));
        let hand_in = &revisions.last()?.hand_in;
        let counted = || {
            let rows = hand_in.titrations.iter().zip(&evaluation.trials);
            rows.filter(|(_, trial)| trial.counted).map(|(row, _)| row)
        };
        let default = facts.and_then(|facts| facts.lots.excess.as_deref());
        let excess = only(counted().map(|row| row.excess_lot.as_deref().or(default)))
            .filter(|_| at.experiment.procedure.uses_excess_lot() && !hand_in.has_blank());
        // a result that rests on several lots is no one lot's
        let mut lots = evaluation.titrant_lots();
        let lot = lots.next().filter(|_| lots.next().is_none());
        let known = |code: &&str| term.lots.contains_key(*code);
        let instrument = only(counted().map(|row| row.instrument.as_deref()));
        let of = [
            (AuditKind::Unknown, Some(evaluation.unknown.clone())),
            (AuditKind::Lot, lot.filter(known).map(SmolStr::new)),
            (AuditKind::ExcessLot, excess.filter(known).map(SmolStr::new)),
            (AuditKind::Section, Some(SmolStr::new(section))),
            (
                AuditKind::Assistant,
                facts.map(|facts| facts.assistants.clone()),
            ),
            // written by hand: capitals tell no burettes apart
            (
                AuditKind::Instrument,
                instrument.map(|name| name.to_uppercase().into()),
            ),
            (AuditKind::Day, taken.map(|at| at.date().to_smolstr())),
        ];
        let groups = of.into_iter().filter_map(|(kind, key)| {
            let key = key.filter(|key| !key.is_empty())?;
            Some(GroupName { kind, key })
        });
        let mut groups: Vec<GroupName> = groups.collect();
        groups.shrink_to_fit();
        Some(Found {
            slot: slot.clone(),
            result,
            observed: Observed {
                error_percent,
                standard_percent: percent_of(outcome.standard_uncertainty, result),
                at_days: taken.and_then(days),
                groups,
            },
        })
    }

    /// The values that results rest on.
    pub fn assigned(&mut self, at: Where) -> BTreeMap<GroupName, AssignedValue> {
        let bottles = at.term.unknowns.get(&at.experiment.key);
        let bottles = bottles.into_iter().flatten().map(|(code, unknown)| {
            let value = AssignedValue {
                value: *unknown.truth.open(),
                sensitivity: 1.0,
            };
            (GroupName::new(AuditKind::Unknown, code.to_string()), value)
        });
        let bottles = bottles.filter(|(name, _)| self.crossed.has_results(name));
        let mut assigned: BTreeMap<GroupName, AssignedValue> = bottles.collect();
        for (name, bottles) in &self.lots {
            let lot = at.term.lots.get(name.key.as_str());
            let sensitivity = lot.and_then(|lot| {
                let of_bottles = bottles.values();
                let of_bottles = of_bottles.filter_map(|all| Some((*all.first()?, all.len())));
                mean_sensitivity(of_bottles, |place| {
                    let known = &mut self.known.entry(place).or_default().sensitivities;
                    if let Some(known) = known.get(&lot.code) {
                        return *known;
                    }
                    *known.entry(lot.code.clone()).or_insert_with(|| {
                        let found = self.results.get(&place)?;
                        sensitivity(at, &self.sections, found, lot)
                    })
                })
            });
            if let (Some(lot), Some(sensitivity)) = (lot, sensitivity) {
                let value = AssignedValue {
                    value: lot.molarity,
                    sensitivity,
                };
                assigned.insert(name.clone(), value);
            }
        }
        assigned
    }

    /// What a burette of its class may be off by moves all results taken with it: its relative standard uncertainty,
    /// as one result has it.
    fn burettes(&mut self, at: Where) -> BTreeMap<GroupName, f64> {
        let first = self.numbered.first().copied();
        let found = first.and_then(|first| Some((first, self.results.get(&first)?)));
        let percent = found.and_then(|(first, found)| {
            let known = &mut self.known.entry(first).or_default().burette;
            *known.get_or_insert_with(|| burette_percent(at, &self.sections, found))
        });
        let Some(percent) = percent else {
            return BTreeMap::new();
        };
        let names = self.crossed.names(AuditKind::Instrument);
        names.map(|name| (name.clone(), percent)).collect()
    }
}

/// The mean sensitivity of the results that used a lot, from one result of each bottle with how many there are. In a direct
/// titration they all have the same; in a back titration it depends on what was left over. To nine figures, so that it does
/// not move with how many there are.
fn mean_sensitivity(
    bottles: impl Iterator<Item = (usize, usize)>,
    mut of: impl FnMut(usize) -> Option<f64>,
) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0.0);
    for (place, results) in bottles {
        let one = of(place)?;
        let results = results as f64;
        (sum, count) = (sum + one * results, count + results);
        // two bottles alike to nine figures: the result is in proportion to the value
        if count > results && (sum - one * count).abs() < 1e-9 * count {
            break;
        }
    }
    from_f64(sum / count, 9).map(as_f64)
}

fn sensitivity(
    at: Where,
    sections: &HashMap<SectionName, SectionFacts>,
    found: &Found,
    lot: &Lot,
) -> Option<f64> {
    let raised = Lot {
        molarity: Assigned {
            value: lot.molarity.value.checked_mul(RAISED)?,
            ..lot.molarity
        },
        ..lot.clone()
    };
    // the others that it rests on are as they are
    let revisions = at.term.submissions.get(&found.slot)?;
    let rows = revisions.last()?.hand_in.titrations.iter();
    let named = rows.flat_map(|row| [&row.lot, &row.excess_lot]);
    let (_, student) = at.place(&found.slot.student)?;
    let defaults = &sections.get(at.section(student))?.lots;
    let codes = named.chain([&defaults.titrant, &defaults.excess]).flatten();
    let lots = codes.filter_map(|code| at.term.lots.get_key_value(code));
    let mut lots: BTreeMap<LotCode, Lot> = lots.map(|(a, b)| (a.clone(), b.clone())).collect();
    lots.insert(lot.code.clone(), raised);
    let result = work_up(at, sections, found, &lots)?.value()?;
    let change = as_f64(result) / as_f64(found.result);
    Some(change.ln() / as_f64(RAISED).ln())
}

fn burette_percent(
    at: Where,
    sections: &HashMap<SectionName, SectionFacts>,
    found: &Found,
) -> Option<f64> {
    let work_up = work_up(at, sections, found, &at.term.lots)?;
    let contributions = work_up.budget.as_ref()?.contributions.iter();
    let calibration = contributions.filter(|c| c.cause == Cause::BuretteCalibration);
    let variance: f64 = calibration.map(|c| c.amount * c.amount).sum();
    Some(100.0 * variance.sqrt() / as_f64(found.result).abs())
}

fn work_up(
    at: Where,
    sections: &HashMap<SectionName, SectionFacts>,
    found: &Found,
    lots: &BTreeMap<LotCode, Lot>,
) -> Option<WorkUp> {
    let (_, student) = at.place(&found.slot.student)?;
    let facts = sections.get(at.section(student))?;
    let values = (&facts.lots, lots);
    at.term
        .worked_up_with(at.experiment, (&found.slot, student), values)
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

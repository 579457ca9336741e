//! Lots and bottles while results come in: which of them is off, said so that it holds at every look.
//!
//! The error of an experiment is shared out beforehand among its lots and bottles. A lot is off where the centre of its
//! results lies beyond what the assigned values leave uncertain; a bottle where its results lie apart from those of others
//! with the same lot on the same day, so that a lot that is off, or loses strength from day to day, is no bottle's fault.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use jiff::civil::Date;

use crate::ids::{LotCode, SectionName, UnknownCode};
use crate::stats::{Scaled, centre_within, lies_above, student_t_two_sided};
use crate::words::counted;

/// What is the matter at most by less is nobody's business while students are at work, percent.
const LEAST: f64 = 0.2;
/// What a result's own uncertainty is multiplied by: not everybody is as careful as the procedure states.
const WIDER: f64 = 1.5;
/// Up to how far two trials lie apart that agree, in standard deviations of one of them.
const ALIKE: f64 = 6.0;
/// Chance at which an interval that is shown fails, all looks together.
const SHOWN: f64 = 0.05;
/// Chance at which the other bottles of a lot have to bear out what all of them say.
const BORNE_OUT: f64 = 0.05;

/// What one student's readings say so far.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveResult {
    pub lots: BTreeSet<LotCode>,
    pub bottle: UnknownCode,
    pub section: SectionName,
    pub day: Date,
    /// How far it is off what the bottle is assigned, percent.
    pub error_percent: f64,
    /// Its own standard uncertainty, percent.
    pub standard_percent: f64,
}

/// Relative standard uncertainties of what is assigned, percent: everything that may be called off.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LiveValues {
    pub lots: BTreeMap<LotCode, f64>,
    pub bottles: BTreeMap<UnknownCode, f64>,
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LiveSubject {
    Lot(LotCode),
    Bottle(UnknownCode),
}

/// A lot or a bottle that is off.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveCall {
    pub subject: LiveSubject,
    pub students: usize,
    /// By how much results read high, and the half-width of an interval that holds at every look.
    pub percent: (f64, f64),
    /// What it cannot be told from yet.
    pub rivals: Vec<LiveSubject>,
    /// The section all of its results are of.
    pub section: Option<SectionName>,
    /// Of a lot whose results fall or rise from day to day: the first and the last day, as `percent`.
    pub drift: Option<[(Date, (f64, f64)); 2]>,
}

impl LiveCall {
    /// What is found, in a sentence without a true value in it.
    pub fn finding(&self) -> String {
        let name = self.subject.to_string();
        let students = counted(self.students, "student", "students");
        let mut words = match &self.drift {
            Some([first, last]) => {
                let day = |(day, percent): &(Date, (f64, f64))| {
                    format!("{} on {}", in_percent(*percent), day.strftime("%-d %b"))
                };
                format!(
                    "After {students} {name} changes from day to day: it reads {} and {}",
                    day(first),
                    day(last)
                )
            }
            None => format!("After {students} {name} reads {}", in_percent(self.percent)),
        };
        let rivals: Vec<String> = self.rivals.iter().map(ToString::to_string).collect();
        if !rivals.is_empty() {
            words += &format!("; it cannot be told from {} yet", rivals.join(" and "));
        }
        if let (Some(section), LiveSubject::Lot(_)) = (&self.section, &self.subject) {
            words +=
                &format!("; all of them are of section {section}, so it may be how they titrate");
        }
        words
    }

    /// What to do about it.
    pub fn remedy(&self) -> &'static str {
        match (&self.subject, &self.drift) {
            (LiveSubject::Lot(_), Some(_)) => {
                "Standardise it again before the next section, or make it fresh. Students at work keep their lot and lose nothing."
            }
            (LiveSubject::Lot(_), None) => {
                "Prove the lot now, or change it for the next section. Students at work keep their lot and lose nothing."
            }
            (LiveSubject::Bottle(_), _) => {
                "Prove the bottle now, and give it to nobody else until then. Who has it keeps it and loses nothing."
            }
        }
    }
}

impl fmt::Display for LiveSubject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lot(code) => write!(f, "lot {code}"),
            Self::Bottle(code) => write!(f, "bottle {code}"),
        }
    }
}

/// Such as “1.4 ± 0.4 % high”.
fn in_percent((percent, within): (f64, f64)) -> String {
    let way = if percent > 0.0 { "high" } else { "low" };
    format!("{:.1} ± {within:.1} % {way}", percent.abs())
}

/// What one student's finished trials say, each as a result in percent off: the mean of the first two that agree, which
/// stays what it is when further trials come. `scatter_percent` is one careful trial's standard deviation; `handed_in` says
/// that no more are awaited: then the median counts where no two agree.
pub fn live_result(trials: &[f64], scatter_percent: f64, handed_in: bool) -> Option<f64> {
    let apart = (ALIKE * scatter_percent).max(3.0 * LEAST);
    let (mut seen, mut pair): (Vec<f64>, _) = (Vec::new(), None);
    for trial in trials {
        let partner = seen.iter().find(|known| (*known - trial).abs() <= apart);
        pair = partner.map(|known| (known + trial) / 2.0);
        if pair.is_some() {
            break;
        }
        seen.push(*trial);
    }
    pair.or_else(|| handed_in.then(|| crate::stats::median(trials)).flatten())
}

/// What is off, with a chance of at most `error` that anything is called falsely, all looks together.
pub fn live_calls(results: &[LiveResult], values: &LiveValues, error: f64) -> Vec<LiveCall> {
    let shared = |count: usize| error / 2.0 / count.max(1) as f64;
    let look = Look { results, values };
    let of_bottle = shared(values.bottles.len());
    let bottles = values.bottles.keys();
    let mut calls: Vec<LiveCall> = bottles
        .filter_map(|bottle| look.bottle(bottle, of_bottle))
        .collect();
    let of_lot = shared(values.lots.len());
    for lot in values.lots.keys() {
        let Some(call) = look.lot(lot, of_lot) else {
            continue;
        };
        // a bottle that is called explains what only its own results say
        let is_explained = |rival: &LiveSubject| calls.iter().any(|known| known.subject == *rival);
        if call.drift.is_some() || !call.rivals.iter().any(is_explained) {
            calls.push(call);
        }
    }
    calls
}

/// Results with the same lots on one day: those of a bottle, and those of all others.
#[derive(Default)]
struct Block<'a> {
    own: Vec<&'a LiveResult>,
    others: Vec<&'a LiveResult>,
}

struct Look<'a> {
    results: &'a [LiveResult],
    values: &'a LiveValues,
}

/// Upward or downward.
const SIDES: [f64; 2] = [1.0, -1.0];

impl LiveResult {
    fn scaled(&self, side: f64) -> Scaled {
        Scaled {
            value: side * self.error_percent,
            scale: WIDER * self.standard_percent,
        }
    }
}

fn scaled(results: &[&LiveResult]) -> Vec<Scaled> {
    results.iter().map(|one| one.scaled(1.0)).collect()
}

/// Middle and half-width of what is shown.
fn shown(results: &[Scaled]) -> (f64, f64) {
    let bounds = centre_within(results, SHOWN);
    let (low, high) = bounds.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    ((low + high) / 2.0, (high - low) / 2.0)
}

/// How far a value may be off with a chance of at most `error`, of its standard uncertainty.
fn allowed(error: f64) -> f64 {
    student_t_two_sided(1.0 - error, f64::INFINITY)
}

/// The share of the j-th of any number of things, from 0: 1/2, 1/6, 1/12 and so on make 1.
fn share_of(place: usize) -> f64 {
    let j = place as f64 + 1.0;
    1.0 / (j * (j + 1.0))
}

impl<'a> Look<'a> {
    fn of_lot(&self, lot: &LotCode) -> Vec<&'a LiveResult> {
        let all = self.results.iter();
        all.filter(|one| one.lots.contains(lot)).collect()
    }

    fn of_bottle(&self, code: &UnknownCode) -> Option<f64> {
        self.values.bottles.get(code).copied()
    }

    /// What the values of bottles, and of lots beside this one, leave the centre of results uncertain by.
    fn beside(&self, results: &[&LiveResult], lot: Option<&LotCode>) -> f64 {
        let mut bottles: BTreeMap<&UnknownCode, f64> = BTreeMap::new();
        let mut lots: BTreeMap<&LotCode, f64> = BTreeMap::new();
        for one in results {
            *bottles.entry(&one.bottle).or_default() += 1.0;
            for code in one.lots.iter().filter(|code| Some(*code) != lot) {
                *lots.entry(code).or_default() += 1.0;
            }
        }
        let of_bottles = bottles.iter().map(|(code, n)| (self.of_bottle(code), n));
        let of_lots = lots
            .iter()
            .map(|(code, n)| (self.values.lots.get(*code).copied(), n));
        let parts = of_bottles
            .chain(of_lots)
            .filter_map(|(u, count)| Some((u? * count / results.len() as f64).powi(2)));
        parts.sum::<f64>().sqrt()
    }

    /// What the values of its lots leave one result uncertain by.
    fn of_lots(&self, one: &LiveResult) -> f64 {
        let lots = one.lots.iter();
        let squares = lots.filter_map(|code| Some(self.values.lots.get(code)?.powi(2)));
        squares.sum::<f64>().sqrt()
    }

    fn lot(&self, lot: &LotCode, error: f64) -> Option<LiveCall> {
        let own = self.of_lot(lot);
        let own_u = self.values.lots.get(lot).copied()?;
        let times = allowed(error / 2.0);
        let limit = (times * (own_u + self.beside(&own, Some(lot)))).max(LEAST);
        let beyond = |results: &[&LiveResult], side: f64, limit: f64, error: f64| {
            lies_above(results.iter().map(|one| (one.scaled(side), limit)), error)
        };
        let side = SIDES
            .into_iter()
            .find(|side| beyond(&own, *side, limit, error / 8.0));
        let drift = self.drift(lot, &own, error);
        if side.is_none() && drift.is_none() {
            return None;
        }
        let mut rivals = Vec::new();
        if let Some(side) = side {
            let bottles: BTreeSet<&UnknownCode> = own.iter().map(|one| &one.bottle).collect();
            for bottle in bottles {
                let rest: Vec<&LiveResult> = own
                    .iter()
                    .filter(|one| one.bottle != *bottle)
                    .copied()
                    .collect();
                if !beyond(&rest, side, LEAST, BORNE_OUT) {
                    rivals.push(LiveSubject::Bottle(bottle.clone()));
                }
            }
            let others: BTreeSet<&LotCode> = own.iter().flat_map(|one| &one.lots).collect();
            for other in others.into_iter().filter(|other| *other != lot) {
                let rest: Vec<&LiveResult> = own
                    .iter()
                    .filter(|one| !one.lots.contains(other))
                    .copied()
                    .collect();
                if !beyond(&rest, side, LEAST, BORNE_OUT) {
                    rivals.push(LiveSubject::Lot(other.clone()));
                }
            }
        }
        Some(LiveCall {
            subject: LiveSubject::Lot(lot.clone()),
            students: own.len(),
            percent: shown(&scaled(&own)),
            rivals,
            section: one_section(&own),
            drift,
        })
    }

    /// The first and the last day of a lot, where what they say lies apart.
    fn drift(
        &self,
        lot: &LotCode,
        own: &[&'a LiveResult],
        error: f64,
    ) -> Option<[(Date, (f64, f64)); 2]> {
        let mut days: BTreeMap<Date, Vec<&LiveResult>> = BTreeMap::new();
        for one in own {
            days.entry(one.day).or_default().push(one);
        }
        let last = days.len().checked_sub(1)?;
        let bounds = |place: usize| {
            let (day, results) = days.iter().nth(place)?;
            let within = centre_within(&scaled(results), error / 4.0 * share_of(place))?;
            Some((*day, results, within))
        };
        let (first_day, first, before) = bounds(0)?;
        let (last_day, latest, after) = bounds(last)?;
        let times = allowed(error / 2.0);
        let bottles = self.beside(first, Some(lot)) + self.beside(latest, Some(lot));
        let apart = (times * bottles).max(LEAST);
        let is_apart = after.0 - before.1 > apart || before.0 - after.1 > apart;
        let day = |day, results: &[&LiveResult]| (day, shown(&scaled(results)));
        is_apart.then(|| [day(first_day, first), day(last_day, latest)])
    }

    fn bottle(&self, bottle: &UnknownCode, error: f64) -> Option<LiveCall> {
        let own_u = self.of_bottle(bottle)?;
        let times = allowed(error / 2.0);
        // what others with the same lots on the same day say, by block
        let mut blocks: BTreeMap<(&BTreeSet<LotCode>, Date), Block> = BTreeMap::new();
        for one in self.results {
            let block = blocks.entry((&one.lots, one.day)).or_default();
            match one.bottle == *bottle {
                true => block.own.push(one),
                false => block.others.push(one),
            }
        }
        let mut compared: Vec<(&LiveResult, (f64, f64))> = Vec::new();
        let with_own = blocks.values().filter(|block| !block.own.is_empty());
        for (place, Block { own, others }) in with_own.enumerate() {
            let share = error / 4.0 * share_of(place);
            let Some((low, high)) = centre_within(&scaled(others), share) else {
                continue;
            };
            let spare = (times * (own_u + self.beside(others, None))).max(LEAST);
            let bounds = (low - spare, high + spare);
            compared.extend(own.iter().map(|one| (*one, bounds)));
        }
        let is_off = SIDES.into_iter().any(|side| {
            let results = compared.iter().map(|(one, (low, high))| {
                let limit = if side > 0.0 { *high } else { -low };
                // nor is it what was assigned: of two bottles that differ, one may be right
                let stated = times * (own_u + self.of_lots(one));
                (one.scaled(side), limit.max(stated))
            });
            lies_above(results, error / 8.0)
        });
        let own: Vec<&LiveResult> = compared.iter().map(|(one, _)| *one).collect();
        let against: Vec<Scaled> = compared
            .iter()
            .map(|(one, (low, high))| {
                let scaled = one.scaled(1.0);
                let value = scaled.value - (low + high) / 2.0;
                Scaled { value, ..scaled }
            })
            .collect();
        is_off.then(|| LiveCall {
            subject: LiveSubject::Bottle(bottle.clone()),
            students: own.len(),
            percent: shown(&against),
            rivals: Vec::new(),
            section: one_section(&own),
            drift: None,
        })
    }
}

/// The section that all results are of.
fn one_section(results: &[&LiveResult]) -> Option<SectionName> {
    let first = &results.first()?.section;
    let same = results.iter().all(|one| one.section == *first);
    same.then(|| first.clone())
}

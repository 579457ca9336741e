//! Which trials count.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::graph::{Graph, StepId};
use super::quantity::Of;
use super::role::Role;
use super::trials::TrialOutcome;
use crate::language::{Message, message, number};
use crate::measure::{plain, to_decimals};
use crate::procedure::{Accept, Procedure, SampleBy};
use crate::stats::{DixonCritical, dixon_outlier, dixon_printed};

/// Marks the trials that count and says of the others why not. True if titres should agree and no two do.
pub(super) fn choose(
    graph: &Graph,
    trials: &mut [TrialOutcome],
    procedure: &Procedure,
    blank: Option<StepId>,
    left_out: &BTreeSet<u32>,
) -> bool {
    let beside = Beside {
        graph,
        procedure,
        blank: blank.map_or(Decimal::ZERO, |id| graph.value(id)),
    };
    for trial in trials.iter_mut() {
        trial.comparable = beside.titres(trial);
    }
    let mut open: Vec<usize> = Vec::new();
    for (index, trial) in trials.iter_mut().enumerate() {
        match trial.trial.number() {
            Some(n) if left_out.contains(&n) => {
                trial.why_not = Some(message!("why.left-out"));
            }
            Some(_) if trial.result.is_some() => open.push(index),
            _ => {}
        }
    }
    let mut none_agree = false;
    let counted = match procedure.trials.accept {
        Accept::All => open.clone(),
        Accept::Concordant { within } => {
            // where a second portion is titrated, its titres have to agree as well
            let titres: Vec<(u32, [Decimal; 2])> = open
                .iter()
                .map(|i| &trials[*i])
                .map(|t| (t.trial.number().unwrap_or(0), t.comparable))
                .collect();
            match concordant(&titres, within) {
                Some(chosen) => open
                    .iter()
                    .zip(&chosen)
                    .filter(|(_, c)| **c)
                    .map(|(i, _)| *i)
                    .collect(),
                None => {
                    none_agree = open.len() > 1;
                    open.clone()
                }
            }
        }
        Accept::Dixon {
            level,
            from,
            critical,
        } => {
            let values: Vec<Decimal> = open
                .iter()
                .filter_map(|i| trials[*i].result)
                .map(|id| graph.value(id))
                .collect();
            let outlier = if values.len() >= from {
                dixon_outlier(&values, level, critical)
            } else {
                None
            };
            open.iter()
                .enumerate()
                .filter(|(place, _)| Some(*place) != outlier)
                .map(|(_, i)| *i)
                .collect()
        }
    };
    let reason = match procedure.trials.accept {
        Accept::Concordant { within } => {
            let sample = &procedure.sample;
            match beside.own_samples() {
                false => message!("why.not-concordant", within = within),
                true => message!(
                    "why.not-concordant-sample",
                    within = within,
                    nominal = number(plain(sample.nominal)),
                    unit = sample.by.unit(),
                ),
            }
        }
        Accept::Dixon {
            level, critical, ..
        } => {
            let said = match critical {
                DixonCritical::Exact => message!("why.dixon"),
                DixonCritical::Rorabacher if dixon_printed(open.len(), level).is_some() => {
                    message!("why.dixon-table")
                }
                DixonCritical::Rorabacher => message!("why.dixon-past-table"),
            };
            said.with("percent", number(level.percent()))
        }
        Accept::All => Message::default(),
    };
    for index in open {
        if counted.contains(&index) {
            trials[index].counted = true;
        } else {
            trials[index].why_not = Some(reason.clone());
        }
    }
    none_agree
}

/// What titres need to be laid beside each other.
struct Beside<'a> {
    graph: &'a Graph,
    procedure: &'a Procedure,
    /// mL.
    blank: Decimal,
}

impl Beside<'_> {
    /// Whether each trial has a sample of its own that is read or weighed, and not a part of one flask.
    fn own_samples(&self) -> bool {
        let sample = &self.procedure.sample;
        let measured = self.procedure.reads_sample_volume() || sample.by != SampleBy::Volume;
        measured && sample.aliquot.is_none()
    }

    /// What was delivered, mL; where each trial has its own sample, what the same result would have delivered for the
    /// nominal one: two samples that differ do not make two titres disagree.
    fn titres(&self, trial: &TrialOutcome) -> [Decimal; 2] {
        let value = |id: Option<StepId>| id.map_or(Decimal::ZERO, |id| self.graph.value(id));
        let titres = [value(trial.delivered), value(trial.second)];
        let scaled = || {
            let number = trial.trial.number().filter(|_| self.own_samples())?;
            let [mass, volume] = [Role::SampleMass, Role::SampleVolume];
            let own = |role| self.graph.find(role, Of::Trial(number));
            let sample = self.graph.value(own(mass).or_else(|| own(volume))?);
            let (delivered, zero) = (titres[0], self.without_sample(trial)?);
            let for_nominal = |titre: Decimal| {
                let of_sample = titre.checked_sub(zero)?;
                let scaled = of_sample.checked_mul(self.procedure.sample.nominal)?;
                let titre = scaled.checked_div(sample)?.checked_add(zero)?;
                // a quotient that does not end must not cost a titre that lies exactly on the limit
                Some(to_decimals(titre, NOISE))
            };
            let second = trial
                .second
                .map_or(Some(Decimal::ZERO), |_| for_nominal(titres[1]));
            Some([for_nominal(delivered)?, second?])
        };
        scaled().unwrap_or(titres)
    }

    /// What would be delivered if there were no sample: a blank, or all of the excess. Results follow from titres in
    /// a straight line, or (a standard that is weighed) from their inverse.
    fn without_sample(&self, trial: &TrialOutcome) -> Option<Decimal> {
        let (titre, result) = (trial.delivered?, trial.result?);
        let signal = self.procedure.scheme.signal(&self.procedure.sample);
        // of a mixture, a titre that leaves nothing of the analyte is not that of no sample
        if trial.second.is_some() || signal.inverse || signal.least > 0.0 {
            return Some(self.blank);
        }
        let (volume, value) = (self.graph.value(titre), self.graph.value(result));
        let more = [(titre, volume.checked_add(Decimal::ONE)?)];
        let slope = self
            .graph
            .value_with(result, &more)
            .ok()?
            .checked_sub(value)?;
        volume.checked_sub(value.checked_div(slope)?)
    }
}

/// Decimals of a titre beyond which it holds nothing but the rounding of quotients.
const NOISE: u32 = 12;

/// Which of the (trial number, titres) form the largest set, at least two, within so many mL; of equally large ones
/// that with the smallest range, then the latest (the higher trial numbers). None if no two agree.
pub fn concordant(titres: &[(u32, [Decimal; 2])], within: Decimal) -> Option<Vec<bool>> {
    let above = |low: [Decimal; 2]| {
        move |titre: &(u32, [Decimal; 2])| {
            low.iter()
                .zip(titre.1)
                .all(|(low, v)| v >= *low && v.checked_sub(*low).is_some_and(|gap| gap <= within))
        }
    };
    let mut seconds: Vec<Decimal> = titres.iter().map(|t| t.1[1]).collect();
    seconds.dedup();
    let seconds = &seconds;
    let lows = titres
        .iter()
        .flat_map(|(_, [first, _])| seconds.iter().map(move |second| [*first, *second]));
    lows.filter_map(|low| {
        let inside: Vec<_> = titres.iter().filter(|t| above(low)(t)).collect();
        let high = |which: usize| inside.iter().map(|t| t.1[which]).max();
        let range = |which: usize| high(which)?.checked_sub(low[which]);
        let widest = range(0)?.max(range(1)?);
        let mut numbers: Vec<u32> = inside.iter().map(|t| t.0).collect();
        numbers.sort_unstable_by(|a, b| b.cmp(a));
        (inside.len() > 1).then_some((inside.len(), std::cmp::Reverse(widest), numbers, low))
    })
    .max_by(|a, b| (a.0, a.1, &a.2).cmp(&(b.0, b.1, &b.2)))
    .map(|(_, _, _, low)| titres.iter().map(above(low)).collect())
}

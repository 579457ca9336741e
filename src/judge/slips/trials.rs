//! Trial against trial: a trial that lies further from the others than agreement allows, where one mistake in its
//! readings brings it back to them. Nothing here asks whether the trial counts; the truth is asked only which of several
//! explanations it was, for those leave results that differ.

use super::SlipCode;
use super::misread::{all_upward, misread};
use super::rank::{Hypotheses, Tried, log_normal};
use crate::judge::case::Case;
use crate::measure::{as_f64, from_f64};
use crate::truth::Assigned;
use crate::workup::{StepId, WorkUp};
use rust_decimal::Decimal;

/// Where nothing is titrated: how near results have to lie, in standard deviations of one.
const AGREEMENT_OTHERWISE: f64 = 4.0;
/// Duplicates of careful people agree within so many mL 49 times in 50 (common practice), which is so many standard
/// deviations of one: hands are seldom as steady as reading and endpoint predict, or as unsteady as a procedure allows.
const CAREFUL: f64 = 0.10;
const KEPT: f64 = 3.3;
/// A slip shows where it moves a result by more than so many times what agreement allows.
const SHOWS: f64 = 1.1;
/// What a slip mends lies beside the others within so many times what agreement allows: the others may lie at its two ends.
const FITS: f64 = 1.5;
/// Weight of plain scatter, normal, against the sum of the weights of slips.
const SCATTER: f64 = 50.0;
/// Weight of a trial that went wrong in some other way, and how far off it lies: a Laplace density with so many standard
/// deviations of one trial.
const WENT_WRONG: (f64, f64) = (0.05, 6.0);
/// Share of results that are off the truth for reasons that all trials share, and how far: a normal with so wide a
/// relative standard deviation.
const OFF: (f64, f64) = (0.2, 0.05);
/// How much of a titre the water left in a wet burette or pipette takes at most, relative (common practice: a film of
/// a few tenths of a millilitre).
const FILM: f64 = 0.01;

/// The trials laid beside each other.
struct Trials<'w> {
    work_up: &'w WorkUp,
    /// Number and result, in order.
    results: Vec<(u32, StepId, f64)>,
    /// How far results may lie apart, in their unit.
    agreement: f64,
    /// Standard deviation of one result.
    each: f64,
    /// What the result should be, with the standard uncertainty that the trials share.
    truth: Option<(f64, f64)>,
}

/// Every hypothesis with its likelihood; none where the trials agree, or where there is nothing to compare.
pub(super) fn hypotheses(
    case: &Case,
    work_up: &WorkUp,
    truth: Option<Assigned>,
) -> Option<Hypotheses> {
    let trials = Trials::of(case, work_up, truth)?;
    let (values, odd) = (trials.values(&[]), trials.odd(&[]));
    if odd.is_empty() {
        return None;
    }
    let together = trials.agreeing(&values, trials.agreement);
    // one that agrees with nobody and one beside it: both are odd
    let needed = match together.len() {
        0 | 1 => values.len(),
        some => some.saturating_add(1),
    };
    let (mut tried, mut possible): (Vec<Tried>, Vec<SlipCode>) = Default::default();
    for (place, (number, ..)) in trials.results.iter().enumerate() {
        if !odd.contains(&place) {
            continue;
        }
        for one in misread(&work_up.graph, *number) {
            possible.push(one.code);
            let by = &one.substitutes;
            tried.extend(trials.tried(one.code, one.place, by, needed, &odd));
        }
    }
    // those that bring nothing together could have happened as well
    for one in &mut tried {
        one.ways = possible.iter().filter(|code| **code == one.code).count();
    }
    let upward = all_upward(&work_up.graph);
    let place = "every reading".to_owned();
    tried.extend(trials.tried(SlipCode::AllReadUpward, place, &upward, values.len(), &odd));
    let rest = |values: &[f64]| trials.center(values, &odd);
    let center = rest(&values)?;
    tried.extend(trials.not_rinsed(&values, &odd));
    let each = trials.apart(values.len().saturating_sub(odd.len()));
    let off = |place: &usize| values.get(*place).map_or(0.0, |value| value - center);
    let result = trials.log_result(center, values.len().saturating_sub(odd.len()));
    let scatter: f64 = odd.iter().map(|place| log_normal(off(place), each)).sum();
    let wrong: f64 = odd.iter().map(|place| trials.log_wrong(off(place))).sum();
    Some(Hypotheses {
        tried,
        otherwise: vec![(scatter + result, SCATTER), (wrong + result, WENT_WRONG.0)],
        // what a trial should have been is known as well as the others say: what fits them is one explanation
        alike: 4.0 * each,
        pairs: Vec::new(),
    })
}

impl<'w> Trials<'w> {
    fn of(case: &Case, work_up: &'w WorkUp, truth: Option<Assigned>) -> Option<Self> {
        let graph = &work_up.graph;
        let results: Vec<_> = work_up
            .trials
            .iter()
            .filter_map(|trial| {
                let result = trial.result?;
                Some((trial.trial.number()?, result, as_f64(graph.value(result))))
            })
            .collect();
        let predicted = work_up.predicted_scatter.filter(|each| *each > 0.0)?;
        let titre = work_up.trials.iter().find(|t| t.result.is_some())?;
        let (agreement, each) = match titre.delivered.zip(titre.result) {
            Some((delivered, result)) => {
                let within = as_f64(case.procedure.trials.accept.agreement());
                let by = graph.sensitivities(result);
                let mut steps = graph.steps().zip(&by);
                let by = steps.find(|((id, _), _)| *id == delivered)?.1;
                let kept = within.min(CAREFUL) / KEPT;
                (within * by.abs(), predicted.max(kept * by.abs()))
            }
            None => (AGREEMENT_OTHERWISE * predicted, predicted),
        };
        let systematic = work_up.budget.as_ref().map(|budget| budget.systematic);
        let truth = truth.zip(systematic).map(|(truth, systematic)| {
            let standard = systematic.hypot(as_f64(truth.standard_uncertainty));
            (as_f64(truth.value), standard)
        });
        (results.len() > 1).then_some(Self {
            work_up,
            results,
            agreement,
            each,
            truth: truth.filter(|(value, _)| *value != 0.0),
        })
    }

    /// The results, with these substitutes.
    fn values(&self, by: &[(StepId, Decimal)]) -> Vec<f64> {
        let graph = &self.work_up.graph;
        let with = |id: StepId| graph.value_with(id, by).map_or(f64::NAN, as_f64);
        let values = self.results.iter();
        values
            .map(|(_, id, value)| if by.is_empty() { *value } else { with(*id) })
            .collect()
    }

    /// Places of the most results that lie within a limit of each other; of equally many the narrowest.
    fn agreeing(&self, values: &[f64], limit: f64) -> Vec<usize> {
        let limit = limit * (1.0 + 1e-9);
        let groups = values.iter().map(|low| {
            let inside = |value: &f64| *value >= *low && value - low <= limit;
            let places = values.iter().enumerate().filter(|(_, value)| inside(value));
            let places: Vec<usize> = places.map(|(place, _)| place).collect();
            let high = places
                .iter()
                .map(|place| values[*place])
                .fold(*low, f64::max);
            (places, high - low)
        });
        let best = groups.max_by(|a, b| a.0.len().cmp(&b.0.len()).then(b.1.total_cmp(&a.1)));
        best.map(|(places, _)| places).unwrap_or_default()
    }

    /// Places of the results that do not lie with the most; all of them where no two agree.
    fn odd(&self, by: &[(StepId, Decimal)]) -> Vec<usize> {
        let values = self.values(by);
        let together = self.agreeing(&values, self.agreement);
        let alone = together.len() < 2;
        let places = 0..values.len();
        places
            .filter(|place| alone || !together.contains(place))
            .collect()
    }

    /// Mean of the others; of all where there are no others.
    fn center(&self, values: &[f64], without: &[usize]) -> Option<f64> {
        let others = |all: bool| {
            let kept = values.iter().enumerate();
            let kept = kept.filter(move |(place, _)| all || !without.contains(place));
            let kept: Vec<f64> = kept.map(|(_, value)| *value).collect();
            (!kept.is_empty()).then(|| kept.iter().sum::<f64>() / kept.len() as f64)
        };
        others(false).or_else(|| others(true))
    }

    /// Standard deviation of one result less the mean of so many others.
    fn apart(&self, others: usize) -> f64 {
        self.each * (1.0 + 1.0 / others.max(1) as f64).sqrt()
    }

    /// How likely a result is that rests on so many trials: near the truth, or off by whatever went wrong besides.
    fn log_result(&self, result: f64, trials: usize) -> f64 {
        let Some((truth, shared)) = self.truth else {
            return 0.0;
        };
        let standard = shared.hypot(self.each / (trials.max(1) as f64).sqrt());
        let near = log_normal(result - truth, standard).exp();
        let wide = log_normal(result - truth, standard.hypot(OFF.1 * truth)).exp();
        ((1.0 - OFF.0) * near + OFF.0 * wide).ln()
    }

    fn log_wrong(&self, off: f64) -> f64 {
        let scale = WENT_WRONG.1 * self.each;
        -off.abs() / scale - (2.0 * scale).ln()
    }

    /// The hypothesis that these steps should have had other values: it has to bring at least so many together.
    fn tried(
        &self,
        code: SlipCode,
        place: String,
        by: &[(StepId, Decimal)],
        needed: usize,
        odd: &[usize],
    ) -> Option<Tried> {
        let (before, after) = (self.values(&[]), self.values(by));
        let together = self.agreeing(&after, FITS * self.agreement);
        let changed: Vec<usize> = (0..after.len())
            .filter(|place| before[*place] != after[*place])
            .collect();
        // people whose hands are not quite steady lie that far apart without a slip
        let moved = |place: &usize| (before[*place] - after[*place]).abs();
        let shows = |place: &usize| moved(place) > SHOWS * self.agreement;
        let fits = changed.iter().all(|place| together.contains(place));
        // where all are misread, some hardly move
        let shows = if code == SlipCode::AllReadUpward {
            changed.iter().any(shows)
        } else {
            changed.iter().all(shows)
        };
        if !fits || !shows || changed.is_empty() || together.len() < needed {
            return None;
        }
        let unchanged: Vec<usize> = together
            .iter()
            .copied()
            .filter(|place| !changed.contains(place))
            .collect();
        let outside: Vec<usize> = (0..after.len())
            .filter(|place| !unchanged.contains(place))
            .collect();
        let center = self.center(&after, &outside)?;
        let each = self.apart(unchanged.len());
        let log_likelihood: f64 = odd
            .iter()
            .map(|place| {
                let off = after[*place] - center;
                if together.contains(place) {
                    log_normal(off, each)
                } else {
                    self.log_wrong(off)
                }
            })
            .sum();
        let apart: Vec<usize> = (0..after.len())
            .filter(|place| !together.contains(place))
            .collect();
        let mended = *changed.first()?;
        let numbers = changed.iter().map(|place| self.results[*place].0);
        Some(Tried {
            code,
            place,
            trials: numbers.collect(),
            prediction: from_f64(after[mended], 12)?,
            log_likelihood: log_likelihood
                + self.log_result(self.center(&after, &apart)?, together.len()),
            off: (after[mended] - center).abs() / each,
            ways: 1,
        })
    }

    /// The first trial lies apart and those after it settle, as they do where a burette or a pipette was wet.
    fn not_rinsed(&self, values: &[f64], odd: &[usize]) -> Option<Tried> {
        let [first, second, third, ..] = values else {
            return None;
        };
        let settles = (first - second).abs() > (second - third).abs();
        if odd != [0] || !settles {
            return None;
        }
        let center = self.center(values, odd)?;
        let film = FILM * center.abs();
        let (number, ..) = self.results.first()?;
        Some(Tried {
            code: SlipCode::NotRinsed,
            place: format!("trial {number} lies apart and the later ones settle"),
            trials: vec![*number],
            prediction: from_f64(center, 12)?,
            log_likelihood: log_normal(first - center, film)
                + self.log_result(center, values.len().saturating_sub(odd.len())),
            off: (first - center).abs() / film,
            ways: 1,
        })
    }
}

//! The order of trials is of no matter: neither for the result, nor its uncertainty, nor the marks.

use std::collections::BTreeMap;

use concordant::judge::{Case, DefaultLots, Evaluation, Settlement, evaluate};
use concordant::measure::from_f64;
use concordant::procedure::{Accept, TrialRules};
use concordant::stats::{DixonCritical, DixonLevel};
use concordant::submission::{HandIn, TrialLabel};
use concordant::truth::{Assigned, Sealed, Unknown};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{Station, inputs, stations};
use crate::reference::f;

fn judge(station: &Station, hand_in: &HandIn) -> Evaluation {
    let lots = [&station.lot, &station.excess_lot].into_iter().flatten();
    let lots = lots.map(|lot| (lot.code.clone(), lot.clone())).collect();
    let truth = from_f64(station.bench().truth, 6).expect("a truth");
    let unknown = Unknown {
        code: concordant::ids::UnknownCode::new("U"),
        truth: Sealed::new(Assigned::new(truth, Decimal::ZERO).expect("a truth")),
        version: 1,
    };
    evaluate(&Case {
        procedure: &station.procedure,
        hand_in,
        revision: 1,
        lots: &lots,
        default_lots: &DefaultLots::default(),
        unknowns: &BTreeMap::from([(unknown.code.clone(), unknown)]),
        carried: None,
        line: None,
        issued: Some("U"),
        submitted_at: None,
        due: None,
        by_hand: None,
        class: concordant::judge::ClassEvidence::ALONE,
        settlement: &Settlement::default(),
    })
}

/// Figures and points, which must not depend on the order: result, its uncertainties, points by part.
fn figures(evaluation: &Evaluation) -> (Vec<f64>, Vec<Decimal>) {
    let outcome = evaluation.outcome.as_ref().expect("a result");
    let mut figures = vec![
        f(outcome.result),
        f(outcome.standard_uncertainty),
        f(outcome.expanded_uncertainty),
    ];
    figures.extend(outcome.std_dev.map(f));
    let points = evaluation.marks.parts.iter().map(|part| part.points);
    (figures, points.chain([evaluation.marks.total]).collect())
}

/// The rows in the order of `by`, with their own trial numbers or, where `relabel`, numbered as they now stand.
fn reordered(hand_in: &HandIn, by: &[prop::sample::Index], relabel: bool) -> HandIn {
    let mut again = hand_in.clone();
    let rows = &mut again.titrations;
    for place in (1..rows.len()).rev() {
        rows.swap(place, by[place % by.len()].index(place + 1));
    }
    if relabel {
        let numbered = rows.iter_mut().filter(|row| row.trial.number().is_some());
        for (number, row) in (1..).zip(numbered) {
            row.trial = TrialLabel::Numbered(number);
        }
    }
    again
}

proptest! {
    #![proptest_config(inputs(120, 5000))]

    #[test]
    fn the_order_of_trials_is_of_no_matter(
        which in any::<prop::sample::Index>(),
        seed in any::<u64>(),
        trials in 3_u32..7,
        rule in 0..3,
        by in prop::collection::vec(any::<prop::sample::Index>(), 12),
    ) {
        let mut station = stations()[which.index(stations().len())].clone();
        let own = station.procedure.trials.clone();
        let accept = match rule {
            0 => Accept::All,
            1 => Accept::Dixon { level: DixonLevel::P90, from: 3, critical: DixonCritical::Exact },
            _ => own.accept,
        };
        station.procedure = station.procedure.with(Some(TrialRules { accept, ..own }), None);
        let hand_in = station.hand_in(seed, trials);
        // of sets of titres that agree equally well the later trials count, so there a trial keeps its number
        let relabel = !matches!(accept, Accept::Concordant { .. });
        let (first, again) = (judge(&station, &hand_in), judge(&station, &reordered(&hand_in, &by, relabel)));
        let ((found, points), (found_again, points_again)) = (figures(&first), figures(&again));
        for (one, other) in found.iter().zip(&found_again) {
            prop_assert!((one - other).abs() <= 1e-10 * one.abs(), "{}: {one} and {other}", station.name);
        }
        prop_assert_eq!(points, points_again, "{}", &station.name);
    }
}

//! What goes wrong in the sum of two signals.

use super::own_slips::{OwnSlip, all_of, decimal};
use super::two_signals::{Pair, TwoSignals};
use super::two_signals_steps::{ANALYTE, FOUND, SECOND, USED, WHOLE};
use crate::chem::Ratio;
use crate::judge::SlipCode;
use crate::measure::as_f64;
use crate::workup::{Graph, Role, StepId};

impl TwoSignals {
    pub(super) fn slips_with_absorbances(&self, graph: &Graph) -> Vec<OwnSlip> {
        let Pair::Wavelengths { path, .. } = &self.pair else {
            return Vec::new();
        };
        let [[analyte, other], [analyte_second, other_second]] = self.matrix();
        let (path, determinant) = (
            as_f64(*path),
            analyte * other_second - other * analyte_second,
        );
        let value = |id: StepId| as_f64(graph.value(id));
        let trials: Vec<[StepId; 3]> = all_of(graph, FOUND)
            .into_iter()
            .filter_map(|found| {
                let of = graph.get(found).quantity.of;
                let first = graph.find(Role::Absorbance, of)?;
                Some([found, first, graph.find(Role::Own(SECOND), of)?])
            })
            .collect();
        let with = |sum: &dyn Fn(f64, f64) -> f64| -> Vec<_> {
            let each = trials.iter();
            let each =
                each.map(|[found, one, two]| (*found, decimal(sum(value(*one), value(*two)))));
            each.collect()
        };
        let exchanged = trials.iter().flat_map(|[_, one, two]| {
            [
                (*one, Some(graph.value(*two))),
                (*two, Some(graph.value(*one))),
            ]
        });
        let at_first = with(&|one, _| one / (analyte * path));
        let at_second = with(&|_, two| two / (analyte_second * path));
        let of_other =
            with(&|one, two| (two * analyte - one * analyte_second) / (determinant * path));
        let found = [
            OwnSlip::new(SlipCode::SignalsExchanged, "", exchanged),
            OwnSlip::new(SlipCode::OtherIgnored, "first wavelength", at_first),
            OwnSlip::new(SlipCode::OtherIgnored, "second wavelength", at_second),
            OwnSlip::new(SlipCode::OtherComponent, "", of_other),
        ];
        found.into_iter().flatten().collect()
    }

    pub(super) fn slips_with_a_titre(&self, graph: &Graph, uses: &[Ratio; 2]) -> Vec<OwnSlip> {
        let [use_analyte, use_other] = [0, 1].map(|place| {
            let (over, under) = uses[place].parts();
            as_f64(over) / as_f64(under)
        });
        let trials = all_of(graph, ANALYTE);
        let pairs = trials.into_iter().filter_map(|amount| {
            let of = graph.get(amount).quantity.of;
            let whole = graph.find(Role::Own(WHOLE), of);
            let used = whole.or_else(|| graph.find(Role::Own(USED), of))?;
            Some((
                amount,
                as_f64(graph.value(amount)),
                as_f64(graph.value(used)),
            ))
        });
        let all = pairs
            .clone()
            .map(|(amount, _, used)| (amount, decimal(used / use_analyte)));
        let others = pairs.map(|(amount, found, used)| {
            (amount, decimal((used - use_analyte * found) / use_other))
        });
        let found = [
            OwnSlip::new(SlipCode::OtherIgnored, "all of the titre", all),
            OwnSlip::new(SlipCode::OtherComponent, "", others),
        ];
        found.into_iter().flatten().collect()
    }
}

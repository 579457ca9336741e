//! Slips of calculation in the last steps: as what a result is expressed, in which unit, and with how many figures.

use rust_decimal::Decimal;

use super::SlipCode;
use super::calculation::Answer;
use super::relatives::relatives;
use crate::chem::{Formula, per_analyte};
use crate::measure::to_figures;
use crate::procedure::ResultUnit;
use crate::schemes::Scheme;
use crate::stats::mean;
use crate::submission::Delivery;
use crate::workup::{Role, StepId};

impl Answer<'_> {
    /// Slips with what the result is expressed as, and with its unit.
    pub(super) fn expressed(&mut self) {
        if let Some(asked) = self.case.procedure.scheme.asked() {
            let masses = self.with_role(|role| role == Role::MolarMass);
            let composition = self.with_role(|role| role == Role::CompositionRatio);
            for species in self.other_species() {
                for mass in &masses {
                    let own = self
                        .work_up
                        .graph
                        .get(*mass)
                        .quantity
                        .species()
                        .map(str::to_owned);
                    if own.as_deref() == Some(species.written()) {
                        continue;
                    }
                    let molar = species.molar_mass().value;
                    self.with(
                        SlipCode::WrongSpecies,
                        species.to_string(),
                        &[(*mass, molar)],
                    );
                    // where a molar mass stands in other steps too, the last alone
                    if own.as_deref() == Some(asked.expressed_as.written()) {
                        let last = self.value(*mass);
                        let scaled = self.value(self.mean).checked_mul(molar);
                        let scaled = scaled.and_then(|scaled| scaled.checked_div(last));
                        let known = self.work_up.graph.value_with(self.mean, &[(*mass, molar)]);
                        if let (Scheme::Heating(_), Some(scaled)) =
                            (&self.case.procedure.scheme, scaled)
                            && known.ok() != Some(scaled)
                            && asked.unit != ResultUnit::MolPerMol
                        {
                            let place = species.to_string();
                            self.tried.push((SlipCode::WrongSpecies, place, scaled));
                        }
                    }
                    // and as it should be for that species: with as much of it as there is analyte for
                    let of_expressed = own.as_deref() == Some(asked.expressed_as.written());
                    let ratio = per_analyte(&asked.analyte, &species).ok();
                    let ratio = ratio.and_then(|ratio| {
                        let (over, under) = ratio.parts();
                        over.checked_div(under)
                    });
                    let Some(ratio) = ratio.filter(|_| of_expressed) else {
                        continue;
                    };
                    let substitutes = match composition.first() {
                        Some(composition) => vec![(*mass, molar), (*composition, ratio)],
                        None => vec![(*mass, molar.saturating_mul(ratio))],
                    };
                    self.with(SlipCode::WrongSpecies, species.to_string(), &substitutes);
                }
            }
        }
        let result = self.value(self.mean);
        for (factor, place) in [
            (Decimal::TEN, "10 times"),
            (Decimal::ONE_HUNDRED, "100 times"),
            (Decimal::ONE_THOUSAND, "1000 times"),
            (Decimal::new(1, 1), "a tenth"),
            (Decimal::new(1, 2), "a hundredth"),
            (Decimal::new(1, 3), "a thousandth"),
        ] {
            if let Some(prediction) = result.checked_mul(factor) {
                self.tried
                    .push((SlipCode::UnitSlip, place.into(), prediction));
            }
        }
    }

    /// Species that stand in the procedure and in what is weighed, with and without their water, and their relatives.
    fn other_species(&self) -> Vec<Formula> {
        let procedure = self.case.procedure;
        let mut found: Vec<Formula> = Vec::new();
        let mut add = |species: Formula| {
            if !found
                .iter()
                .any(|known| known.written() == species.written())
            {
                found.push(species);
            }
        };
        procedure
            .reactions
            .iter()
            .flat_map(|r| r.species())
            .cloned()
            .for_each(&mut add);
        let named = [
            &procedure.result.analyte,
            &procedure.result.expressed_as,
            &procedure.sample.species,
        ];
        named.into_iter().flatten().cloned().for_each(&mut add);
        let dry: Vec<Formula> = found
            .iter()
            .filter_map(|species| {
                let (salt, _) = species.written().split_once(['.', '\u{b7}'])?;
                Formula::parse(salt).ok()
            })
            .collect();
        let asked = [&procedure.result.analyte, &procedure.result.expressed_as];
        let usual = asked.into_iter().flatten().flat_map(relatives);
        for species in dry.into_iter().chain(usual) {
            if !found.iter().any(|known| known.atoms() == species.atoms()) {
                found.push(species);
            }
        }
        found
    }

    /// Slips of rounding: every value of one kind to two or three figures, in all trials.
    pub(super) fn rounded(&mut self) {
        let kinds: [(&str, Vec<StepId>); 2] = [
            (
                "delivered volumes",
                self.of_trials(|role| role == Role::Delivered(Delivery::First)),
            ),
            (
                "amounts",
                self.steps(|s| s.quantity.of.is_trial() && s.unit == "mmol"),
            ),
        ];
        // with fewer figures a molar mass is another number, and a molarity that of the label
        let masses = self.with_role(|role| role == Role::MolarMass);
        let rounded = masses
            .iter()
            .map(|id| (*id, to_figures(self.value(*id), 3)));
        let rounded: Vec<_> = rounded.collect();
        self.with(
            SlipCode::RoundedEarly,
            "molar masses to 3 figures",
            &rounded,
        );
        for figures in [2, 3] {
            for (kind, steps) in &kinds {
                let substitutes: Vec<_> = steps
                    .iter()
                    .map(|id| (*id, to_figures(self.value(*id), figures)))
                    .collect();
                let place = format!("{kind} to {figures} figures");
                self.with(SlipCode::RoundedEarly, place, &substitutes);
            }
            let results: Vec<Decimal> = self
                .work_up
                .trials
                .iter()
                .filter(|t| t.counted)
                .filter_map(|t| Some(to_figures(self.value(t.result?), figures)))
                .collect();
            if let Some(prediction) = mean(&results).filter(|p| *p != self.value(self.mean)) {
                let place = format!("results to {figures} figures");
                self.tried.push((SlipCode::RoundedEarly, place, prediction));
            }
        }
    }
}

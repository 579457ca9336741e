//! Back titration: an excess of reagent is added, the titrant finds what the analyte left of it.

use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::parts::{Builder, Of};
use crate::chem::Ratio;
use crate::submission::Titration;
use crate::truth::Lot;

/// The two ratios of a back titration.
#[derive(Clone, Copy)]
pub(super) struct Ratios {
    pub analyte_per_excess: Ratio,
    pub excess_per_titrant: Ratio,
}

/// n(A) = (n(E) − c(T) · V · E/T) · A/E, then per sample. n(E) is what the pipette added of its lot; where a blank was
/// titrated (the same excess, no sample), it is what the blank found: n(E) = c(T) · V_blank · E/T.
pub(super) fn trial(
    builder: &mut Builder,
    ratios: Ratios,
    titration: &Titration,
    delivered: StepId,
    blank: Option<StepId>,
    (lot, excess_lot): (&Lot, Option<&Lot>),
    of: Of,
) -> Result<StepId, WorkUpError> {
    let procedure = builder.procedure;
    let (analyte, titrant) = (&procedure.result.analyte, &procedure.titrant.species);
    let label = || format!("excess reagent, {}", of.words());
    let excess = procedure.excess.as_ref().ok_or_else(|| WorkUpError {
        label: label(),
        what: "no excess reagent",
    })?;
    let molarity = builder.molarity(lot, titrant);
    let ratio = builder.ratio(
        format!("{} per {titrant}", excess.species),
        "E/T",
        ratios.excess_per_titrant,
    );
    let left = Operation::Quotient(vec![molarity, delivered, ratio], Vec::new());
    let text = format!("amount of {} left over, {}", excess.species, of.words());
    let left = builder
        .graph
        .step(text, format!("nl{}", of.tag()), "mmol", left)?;
    let added = match (blank, excess_lot) {
        (Some(blank), _) => {
            let found = Operation::Quotient(vec![molarity, blank, ratio], Vec::new());
            let text = format!(
                "amount of {} added, by the blank, {}",
                excess.species,
                of.words()
            );
            builder
                .graph
                .step(text, format!("ne{}", of.tag()), "mmol", found)?
        }
        (None, Some(lot)) => {
            let molarity = builder.molarity(lot, &excess.species);
            let volume = builder.single_mark("excess volume", "Ve", &excess.glassware);
            let product = Operation::Quotient(vec![molarity, volume], Vec::new());
            let text = format!("amount of {} added, {}", excess.species, of.words());
            builder
                .graph
                .step(text, format!("ne{}", of.tag()), "mmol", product)?
        }
        (None, None) => {
            return Err(WorkUpError {
                label: label(),
                what: "no lot of it",
            });
        }
    };
    let terms = Operation::Sum(vec![(Sign::Plus, added), (Sign::Minus, left)]);
    let text = format!(
        "amount of {} used by the sample, {}",
        excess.species,
        of.words()
    );
    let used = builder
        .graph
        .step(text, format!("nu{}", of.tag()), "mmol", terms)?;
    let ratio = builder.ratio(
        format!("{analyte} per {}", excess.species),
        "A/E",
        ratios.analyte_per_excess,
    );
    let amount = Operation::Quotient(vec![used, ratio], Vec::new());
    let text = format!("amount of {analyte}, {}", of.words());
    let amount = builder
        .graph
        .step(text, format!("n{}", of.tag()), "mmol", amount)?;
    let sample = builder.sample(titration, of)?;
    builder.result(amount, sample, of)
}

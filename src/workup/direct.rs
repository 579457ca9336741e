//! Direct titration: the titrant that was used finds the analyte, through one reaction or a chain.

use super::graph::{Operation, StepId, WorkUpError};
use super::parts::{Builder, Of};
use crate::chem::Ratio;
use crate::submission::Titration;
use crate::truth::Lot;

/// n(A) = c(T) · (V − V_blank) · A/T, then per sample.
pub(super) fn trial(
    builder: &mut Builder,
    analyte_per_titrant: Ratio,
    titration: &Titration,
    delivered: StepId,
    blank: Option<StepId>,
    lot: &Lot,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let procedure = builder.procedure;
    let (analyte, titrant) = (&procedure.result.analyte, &procedure.titrant.species);
    let used = builder.net(delivered, blank, of)?;
    let molarity = builder.molarity(lot, titrant);
    let ratio = builder.ratio(
        format!("{analyte} per {titrant}"),
        "A/T",
        analyte_per_titrant,
    );
    let label = format!("amount of {analyte} titrated, {}", of.words());
    let product = Operation::Quotient(vec![molarity, used, ratio], Vec::new());
    let amount = builder
        .graph
        .step(label, format!("n{}", of.tag()), "mmol", product)?;
    let sample = builder.sample(titration, of)?;
    builder.result(amount, sample, of)
}

//! Direct titration: the titrant that was used finds the analyte, through one reaction or a chain.

use super::graph::{Operation, StepId, WorkUpError};
use super::parts::Builder;
use super::quantity::{Of, Quantity};
use super::role::{Own, Party, Role};
use super::trials::Measured;
use crate::chem::Ratio;
use crate::procedure::{Asked, Titrant};

const TITRATED: Own = Own::about("amount of ", " titrated", "n");

/// n(A) = c(T) · (V − V_blank) · A/T, then per sample.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (titrant, analyte_per_titrant, asked): (&Titrant, Ratio, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let used = builder.net(measured.delivered()?, measured.blank.volumes.delivered, of)?;
    let molarity = builder.molarity(measured.titrant_lot()?, Party::Titrant, &titrant.species);
    let species = (&asked.analyte, &titrant.species);
    let ratio = builder.ratio(
        Role::Ratio(Party::Analyte, Party::Titrant),
        species,
        analyte_per_titrant,
    );
    let quantity = Quantity::from(TITRATED)
        .about(asked.analyte.shared())
        .of(of);
    let product = Operation::product([molarity, used, ratio]);
    let amount = builder.graph.step(quantity, "mmol", product)?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

//! Back titration: an excess of reagent is added, the titrant finds what the analyte left of it.

use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::parts::Builder;
use super::quantity::{Of, Quantity};
use super::role::{Own, Party, Role};
use super::trials::Measured;
use crate::chem::Ratio;
use crate::procedure::{Asked, Excess, Titrant};

const BY_BLANK: Own = Own::about("amount of ", " added, by the blank", "ne");
const ANALYTE: Own = Own::new("amount of ", "n");

/// What a back titration goes by.
#[derive(Clone, Copy)]
pub(super) struct Back<'p> {
    pub titrant: &'p Titrant,
    pub excess: &'p Excess,
    pub analyte_per_excess: Ratio,
    pub excess_per_titrant: Ratio,
    pub asked: &'p Asked,
}

/// n(A) = (n(E) − c(T) · V · E/T) · A/E, then per sample. n(E) is what the pipette added of its lot; where a blank was
/// titrated (the same excess, no sample), it is what the blank found: n(E) = c(T) · V_blank · E/T.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    by: Back,
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let (titrant, excess, analyte) = (&by.titrant.species, &by.excess.species, &by.asked.analyte);
    let amount = |role| Quantity::new(role).about(excess.shared()).of(of);
    let molarity = builder.molarity(measured.titrant_lot()?, Party::Titrant, titrant);
    let role = Role::Ratio(Party::Excess, Party::Titrant);
    let ratio = builder.ratio(role, (excess, titrant), by.excess_per_titrant);
    let left = Operation::product([molarity, measured.delivered()?, ratio]);
    let left = builder.graph.step(amount(Role::ExcessLeft), "mmol", left)?;
    let added = match (measured.blank.volumes.delivered, measured.excess_lot) {
        (Some(blank), _) => {
            let found = Operation::product([molarity, blank, ratio]);
            let quantity = amount(Role::Own(BY_BLANK));
            builder.graph.step(quantity, "mmol", found)?
        }
        (None, Some(lot)) => {
            let molarity = builder.molarity(lot, Party::Excess, excess);
            let volume = builder.single_mark(Role::ExcessVolume, &by.excess.glassware);
            let product = Operation::product([molarity, volume]);
            let quantity = amount(Role::ExcessAdded);
            builder.graph.step(quantity, "mmol", product)?
        }
        (None, None) => {
            return Err(WorkUpError {
                label: format!("excess reagent, {of}"),
                what: "no lot of it",
            });
        }
    };
    let terms = Operation::sum([(Sign::Plus, added), (Sign::Minus, left)]);
    let used = builder
        .graph
        .step(amount(Role::ExcessUsed), "mmol", terms)?;
    let role = Role::Ratio(Party::Analyte, Party::Excess);
    let ratio = builder.ratio(role, (analyte, excess), by.analyte_per_excess);
    let amount = Operation::product([used, ratio]);
    let quantity = Quantity::from(ANALYTE).about(analyte.shared()).of(of);
    let amount = builder.graph.step(quantity, "mmol", amount)?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, by.asked, sample, of)
}

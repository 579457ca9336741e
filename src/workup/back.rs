//! Back titration: an excess of reagent is added, the titrant finds what the analyte left of it.

use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::name::{Name, Of};
use super::parts::Builder;
use super::trials::Measured;
use crate::chem::Ratio;
use crate::procedure::{Asked, Excess, Titrant};

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
    let about = |before, after, symbol| Name::about(before, excess.shared(), after, symbol).of(of);
    let molarity = builder.molarity(measured.titrant_lot()?, titrant);
    let ratio = builder.ratio((excess, titrant), "E/T", by.excess_per_titrant);
    let left = Operation::product([molarity, measured.delivered()?, ratio]);
    let name = about("amount of ", " left over", "nl");
    let left = builder.graph.step(name, "mmol", left)?;
    let added = match (measured.blank.volumes.delivered, measured.excess_lot) {
        (Some(blank), _) => {
            let found = Operation::product([molarity, blank, ratio]);
            let name = about("amount of ", " added, by the blank", "ne");
            builder.graph.step(name, "mmol", found)?
        }
        (None, Some(lot)) => {
            let molarity = builder.molarity(lot, excess);
            let volume = builder.single_mark("excess volume", "Ve", &by.excess.glassware);
            let product = Operation::product([molarity, volume]);
            let name = about("amount of ", " added", "ne");
            builder.graph.step(name, "mmol", product)?
        }
        (None, None) => {
            return Err(WorkUpError {
                label: format!("excess reagent, {of}"),
                what: "no lot of it",
            });
        }
    };
    let terms = Operation::sum([(Sign::Plus, added), (Sign::Minus, left)]);
    let name = about("amount of ", " used by the sample", "nu");
    let used = builder.graph.step(name, "mmol", terms)?;
    let ratio = builder.ratio((analyte, excess), "A/E", by.analyte_per_excess);
    let amount = Operation::product([used, ratio]);
    let name = Name::about("amount of ", analyte.shared(), "", "n").of(of);
    let amount = builder.graph.step(name, "mmol", amount)?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, by.asked, sample, of)
}

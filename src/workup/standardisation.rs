//! Standardisation: a weighed primary standard gives the molarity of the titrant.

use rust_decimal::Decimal;

use super::graph::{Operation, Scope, StepId, StepIds, WorkUpError};
use super::name::{Name, Of};
use super::parts::{Builder, rectangular};
use super::trials::Measured;
use crate::chem::{Formula, Ratio};
use crate::procedure::{Asked, Titrant};

/// n(S) = 1000 · m · P / M (mmol from g), n(T) = n(S) · T/S, c(T) = n(T) / (V − V_blank).
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (titrant, weighed, titrant_per_weighed, asked): (&Titrant, &Formula, Ratio, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let mass = builder.sample(measured.row, of)?;
    let thousand = builder.exact("mg per g", "k", Decimal::ONE_THOUSAND);
    let molar_mass = builder.molar_mass(weighed);
    let mut over = StepIds::from_slice(&[thousand, mass]);
    if let Some(purity) = builder.procedure.sample.purity {
        let name = Name::about("mass fraction of ", weighed.shared(), "", "P");
        over.push(builder.once(name, |builder, name| {
            let step = builder.graph.given(name, "", purity.fraction);
            let standard = rectangular(purity.half_width);
            let cause = "purity of the standard";
            builder.graph.doubt(step, cause, standard, Scope::Shared);
            step
        }));
    }
    let mut under = StepIds::from_slice(&[molar_mass]);
    if let Some((flask, pipette)) = builder.aliquot_factor() {
        over.push(pipette);
        under.push(flask);
    }
    let name = Name::about("amount of ", weighed.shared(), " titrated", "ns").of(of);
    let amount = Operation::Quotient(over, under);
    let standard = builder.graph.step(name, "mmol", amount)?;
    let ratio = builder.ratio((&titrant.species, weighed), "T/S", titrant_per_weighed);
    let name = Name::about("amount of ", titrant.species.shared(), "", "n").of(of);
    let product = Operation::product([standard, ratio]);
    let amount = builder.graph.step(name, "mmol", product)?;
    let used = builder.net(measured.delivered()?, measured.blank.volumes.delivered, of)?;
    builder.express(amount, asked, used, of)
}

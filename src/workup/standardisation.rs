//! Standardisation: a weighed primary standard gives the molarity of the titrant.

use rust_decimal::Decimal;

use super::component::Component;
use super::graph::{Operation, StepId, StepIds, WorkUpError};
use super::parts::{Builder, MG_PER_G, rectangular};
use super::quantity::{Of, Quantity};
use super::role::{Own, Party, Role};
use super::trials::Measured;
use crate::chem::{Formula, Ratio};
use crate::procedure::{Asked, Titrant};

const MASS_FRACTION: Own = Own::new("mass fraction of ", "P");
const TITRATED: Own = Own::about("amount of ", " titrated", "ns");
const TITRANT: Own = Own::new("amount of ", "n");

/// n(S) = 1000 · m · P / M (mmol from g), n(T) = n(S) · T/S, c(T) = n(T) / (V − V_blank).
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (titrant, weighed, titrant_per_weighed, asked): (&Titrant, &Formula, Ratio, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let mass = builder.sample(measured.row, of)?;
    let thousand = builder.exact(MG_PER_G, Decimal::ONE_THOUSAND);
    let molar_mass = builder.molar_mass(weighed);
    let mut over = StepIds::from_slice(&[thousand, mass]);
    if let Some(purity) = builder.procedure.sample.purity {
        let quantity = Quantity::from(MASS_FRACTION).about(weighed.shared());
        over.push(builder.once(quantity, |builder, quantity| {
            let step = builder.graph.given(quantity, "", purity.fraction);
            let standard = rectangular(purity.half_width);
            let component = Component::shared("purity of the standard", standard);
            builder.graph.uncertain(step, component);
            step
        }));
    }
    let mut under = StepIds::from_slice(&[molar_mass]);
    if let Some((flask, pipette)) = builder.aliquot_factor() {
        over.push(pipette);
        under.push(flask);
    }
    let quantity = Quantity::from(TITRATED).about(weighed.shared()).of(of);
    let amount = Operation::Quotient(over, under);
    let standard = builder.graph.step(quantity, "mmol", amount)?;
    let role = Role::Ratio(Party::Titrant, Party::Weighed);
    let ratio = builder.ratio(role, (&titrant.species, weighed), titrant_per_weighed);
    let quantity = Quantity::from(TITRANT).about(titrant.species.shared());
    let product = Operation::product([standard, ratio]);
    let amount = builder.graph.step(quantity.of(of), "mmol", product)?;
    let used = builder.net(measured.delivered()?, measured.blank.volumes.delivered, of)?;
    builder.express(amount, asked, used, of)
}

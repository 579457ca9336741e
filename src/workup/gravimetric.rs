//! Gravimetry: a precipitate of known composition is weighed.

use rust_decimal::Decimal;

use super::component::Load;
use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::parts::{Builder, MG_PER_G};
use super::quantity::{Of, Quantity};
use super::role::{Own, Party, Role};
use super::trials::Measured;
use crate::chem::Ratio;
use crate::measure::Glassware;
use crate::procedure::{Asked, Precipitate};
use crate::submission::Titration;

const PRECIPITATE: Own = Own::new("mass of precipitate", "mp");
const LESS_BLANK: Own = Own::new("mass less the blank", "mp*");
const ANALYTE: Own = Own::new("amount of ", "n");

/// Mass of what is in a crucible or vessel, g: full − empty. A blank's linearity is another error than a trial's: were it
/// the same, taking the blank off would take the trial's own linearity with it.
pub(super) fn content(
    builder: &mut Builder,
    row: &Titration,
    balance: &Glassware,
    mass: Own,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let mass = Quantity::from(mass).of(of);
    let missing = || WorkUpError {
        label: mass.label(),
        what: "no reading of it",
    };
    let empty = row.other.empty.as_ref().ok_or_else(missing)?;
    let full = row.other.full.as_ref().ok_or_else(missing)?;
    let quantity = Quantity::new(Role::MassFull).of(of);
    let full = builder.weighing(quantity, full, balance, Load::Full, 1.0);
    let quantity = Quantity::new(Role::MassEmpty).of(of);
    let empty = builder.weighing(quantity, empty, balance, Load::Empty, 1.0);
    let terms = Operation::sum([(Sign::Plus, full), (Sign::Minus, empty)]);
    builder.graph.step(mass, "g", terms)
}

/// n(A) = 1000 · (m − m_blank) · A/P / M(P) (mmol from g), then per sample.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (precipitate, analyte_per_precipitate, asked): (&Precipitate, Ratio, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let balance = &precipitate.balance;
    let mut mass = content(builder, measured.row, balance, PRECIPITATE, of)?;
    if let Some(blank) = measured.blank.mass {
        let terms = Operation::sum([(Sign::Plus, mass), (Sign::Minus, blank)]);
        let quantity = Quantity::from(LESS_BLANK).of(of);
        mass = builder.graph.step(quantity, "g", terms)?;
    }
    let thousand = builder.exact(MG_PER_G, Decimal::ONE_THOUSAND);
    let molar_mass = builder.molar_mass(&precipitate.species);
    let species = (&asked.analyte, &precipitate.species);
    let role = Role::Ratio(Party::Analyte, Party::Precipitate);
    let ratio = builder.ratio(role, species, analyte_per_precipitate);
    let amount = Operation::quotient([thousand, mass, ratio], [molar_mass]);
    let quantity = Quantity::from(ANALYTE).about(asked.analyte.shared()).of(of);
    let amount = builder.graph.step(quantity, "mmol", amount)?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

//! Gravimetry: a precipitate of known composition is weighed.

use rust_decimal::Decimal;

use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::name::{Name, Of};
use super::parts::Builder;
use super::trials::Measured;
use crate::chem::Ratio;
use crate::measure::Glassware;
use crate::procedure::{Asked, Precipitate};
use crate::submission::Titration;

/// Mass of what is in a crucible or vessel, g: full − empty. A blank's linearity is another error than a trial's: were it
/// the same, taking the blank off would take the trial's own linearity with it.
pub(super) fn content(
    builder: &mut Builder,
    row: &Titration,
    balance: &Glassware,
    (label, symbol): (&'static str, &'static str),
    of: Of,
) -> Result<StepId, WorkUpError> {
    let missing = || WorkUpError {
        label: format!("{label}, {of}"),
        what: "no reading of it",
    };
    let empty = row.other.empty.as_ref().ok_or_else(missing)?;
    let full = row.other.full.as_ref().ok_or_else(missing)?;
    let causes = if matches!(of, Of::Blank(_)) {
        [
            "balance linearity, full, blank",
            "balance linearity, empty, blank",
        ]
    } else {
        ["balance linearity, full", "balance linearity, empty"]
    };
    let name = Name::new("mass full", "g").of(of);
    let full = builder.weighing(name, full, balance, causes[0], 1.0);
    let name = Name::new("mass empty", "e").of(of);
    let empty = builder.weighing(name, empty, balance, causes[1], 1.0);
    let terms = Operation::sum([(Sign::Plus, full), (Sign::Minus, empty)]);
    builder
        .graph
        .step(Name::new(label, symbol).of(of), "g", terms)
}

/// n(A) = 1000 · (m − m_blank) · A/P / M(P) (mmol from g), then per sample.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (precipitate, analyte_per_precipitate, asked): (&Precipitate, Ratio, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let balance = &precipitate.balance;
    let words = ("mass of precipitate", "mp");
    let mut mass = content(builder, measured.row, balance, words, of)?;
    if let Some(blank) = measured.blank.mass {
        let terms = Operation::sum([(Sign::Plus, mass), (Sign::Minus, blank)]);
        let name = Name::new("mass less the blank", "mp*").of(of);
        mass = builder.graph.step(name, "g", terms)?;
    }
    let thousand = builder.exact("mg per g", "k", Decimal::ONE_THOUSAND);
    let molar_mass = builder.molar_mass(&precipitate.species);
    let species = (&asked.analyte, &precipitate.species);
    let ratio = builder.ratio(species, "A/P", analyte_per_precipitate);
    let amount = Operation::quotient([thousand, mass, ratio], [molar_mass]);
    let name = Name::about("amount of ", asked.analyte.shared(), "", "n").of(of);
    let amount = builder.graph.step(name, "mmol", amount)?;
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

//! Two endpoints: two titres of one titrant tell two analytes apart.

use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::parts::Builder;
use super::quantity::{Of, Quantity};
use super::role::{Own, Party, Role, Titre};
use super::trials::Measured;
use crate::chem::Ratio;
use crate::procedure::{Asked, Titrant};

const BY_FIRST: Own = Own::about("amount of ", " by the first endpoint", "n\u{2032}");
const BY_SECOND: Own = Own::about("amount of ", " by the second endpoint", "n\u{2033}");
const ANALYTE: Own = Own::new("amount of ", "n");

/// The two ratios of analyte to titrant, by titre.
#[derive(Clone, Copy)]
pub(super) struct Endpoints {
    pub first: Ratio,
    pub second: Ratio,
}

/// n(A) = c(T) · (f₁ · t₁ + f₂ · t₂): t₁ and t₂ are the titres to the two endpoints, each from the start of its
/// portion and less its blank, f₁ and f₂ follow from the reactions. Then per sample.
pub(super) fn trial<'a>(
    builder: &mut Builder<'a>,
    (titrant, by, asked): (&Titrant, Endpoints, &Asked),
    measured: &Measured<'a>,
    of: Of,
) -> Result<StepId, WorkUpError> {
    let analyte = &asked.analyte;
    let missing = |what| WorkUpError {
        label: format!("second endpoint, {of}"),
        what,
    };
    let first = measured
        .volumes
        .first
        .ok_or_else(|| missing("no reading of the first endpoint"))?;
    let second = measured
        .volumes
        .second
        .ok_or_else(|| missing("no reading of the second endpoint"))?;
    let first = builder.net(first, measured.blank.volumes.first, of)?;
    let second = builder.net(second, measured.blank.volumes.second, of)?;
    let molarity = builder.molarity(measured.titrant_lot()?, Party::Titrant, &titrant.species);
    let mut terms = Vec::new();
    let to = [
        (Titre::First, by.first, first, BY_FIRST),
        (Titre::Second, by.second, second, BY_SECOND),
    ];
    for (endpoint, ratio, titre, amount) in to {
        if ratio == Ratio::ZERO {
            continue;
        }
        let (sign, size) = if ratio.is_positive() {
            (Sign::Plus, ratio)
        } else {
            (Sign::Minus, ratio.negated())
        };
        let role = Role::EndpointRatio(endpoint);
        let factor = builder.ratio(role, (analyte, &titrant.species), size);
        let product = Operation::product([molarity, titre, factor]);
        let quantity = Quantity::from(amount).about(analyte.shared()).of(of);
        terms.push((sign, builder.graph.step(quantity, "mmol", product)?));
    }
    let amount = match terms.as_slice() {
        [(Sign::Plus, only)] => *only,
        _ => {
            let quantity = Quantity::from(ANALYTE).about(analyte.shared()).of(of);
            let sum = Operation::sum(terms);
            builder.graph.step(quantity, "mmol", sum)?
        }
    };
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

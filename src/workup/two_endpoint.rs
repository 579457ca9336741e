//! Two endpoints: two titres of one titrant tell two analytes apart.

use super::graph::{Operation, Sign, StepId, WorkUpError};
use super::name::{Name, Of};
use super::parts::Builder;
use super::trials::Measured;
use crate::chem::Ratio;
use crate::procedure::{Asked, Titrant};

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
    let molarity = builder.molarity(measured.titrant_lot()?, &titrant.species);
    let mut terms = Vec::new();
    let to = [
        (
            by.first,
            first,
            " by the first endpoint",
            "first endpoint: ratio of ",
            "f\u{2032}",
            "n\u{2032}",
        ),
        (
            by.second,
            second,
            " by the second endpoint",
            "second endpoint: ratio of ",
            "f\u{2033}",
            "n\u{2033}",
        ),
    ];
    for (ratio, titre, after, before, ratio_symbol, symbol) in to {
        if ratio == Ratio::ZERO {
            continue;
        }
        let (sign, size) = if ratio.is_positive() {
            (Sign::Plus, ratio)
        } else {
            (Sign::Minus, ratio.negated())
        };
        let factor = builder.ratio_named(before, (analyte, &titrant.species), ratio_symbol, size);
        let product = Operation::product([molarity, titre, factor]);
        let name = Name::about("amount of ", analyte.shared(), after, symbol).of(of);
        terms.push((sign, builder.graph.step(name, "mmol", product)?));
    }
    let amount = match terms.as_slice() {
        [(Sign::Plus, only)] => *only,
        _ => {
            let name = Name::about("amount of ", analyte.shared(), "", "n").of(of);
            builder.graph.step(name, "mmol", Operation::sum(terms))?
        }
    };
    let sample = builder.sample(measured.row, of)?;
    builder.result(amount, asked, sample, of)
}

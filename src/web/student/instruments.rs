//! What is measured with what, in words.

use crate::chem::{Formula, printed};
use crate::language::{Message, message};
use crate::procedure::{Procedure, SampleBy};

/// What the result is expressed as; the density of the sample where nothing is.
pub fn expressed_as(procedure: &Procedure) -> Message {
    match procedure.scheme.asked() {
        Some(asked) => Message::verbatim(printed(&asked.expressed_as.to_string())),
        None => message!("bench.density"),
    }
}

/// What the field of the reagent's lot is called, and that of the reagent in excess.
pub fn lot_labels(procedure: &Procedure) -> [Message; 2] {
    let label = |species: Option<&Formula>, otherwise: Message| match species {
        Some(species) => message!("bench.lot-of", species = printed(species.written())),
        None => otherwise,
    };
    let lot = procedure.lot_reagent().map(|(species, _)| species);
    let lot = label(lot, message!("bench.lot"));
    let lot = match procedure.carried_over() {
        Some(_) => message!("bench.lot-other", lot = lot),
        None => lot,
    };
    let excess = procedure.excess().map(|e| &e.species);
    [lot, label(excess, message!("bench.lot-excess"))]
}

/// What is read, and how finely, in a sentence or two.
pub fn instrument_words(procedure: &Procedure) -> Message {
    let instruments = procedure.scheme.instruments();
    let sample = sample_words(procedure);
    message!(
        "instruments.and-sample",
        instruments = instruments,
        sample = sample
    )
}

/// What a standard is made of.
pub fn standard_words(procedure: &Procedure, number: u32) -> Message {
    let standards = procedure.scheme.standards().into_iter();
    let mut standards = standards.skip((number as usize).saturating_sub(1));
    standards
        .next()
        .map(|standard| standard.words)
        .unwrap_or_default()
}

/// How the sample is measured, and how finely that is read.
pub fn sample_words(procedure: &Procedure) -> Message {
    let piece = &procedure.sample.glassware;
    let by_difference = procedure.sample.by == SampleBy::MassDifference;
    let decimals = piece.decimals();
    let said = match (decimals, by_difference) {
        (None, _) => message!("instruments.sample-not-read"),
        (Some(_), true) => message!("instruments.sample-difference"),
        (Some(_), false) => message!("instruments.sample-read"),
    };
    let said = said
        .with("nominal", procedure.sample.nominal)
        .with("unit", piece.kind().unit())
        .with("piece", piece.words());
    match decimals {
        Some(decimals) => said.with("decimals", message!("count.decimal", n = decimals)),
        None => said,
    }
}

//! What is measured with what, in words.

use crate::chem::printed;
use crate::procedure::Procedure;
use crate::words::counted;

/// What the result is expressed as; the density of the sample where nothing is.
pub fn expressed_as(procedure: &Procedure) -> String {
    match procedure.scheme.asked() {
        Some(asked) => printed(&asked.expressed_as.to_string()),
        None => "density".to_owned(),
    }
}

/// What is read, and how finely, in a sentence or two.
pub fn instrument_words(procedure: &Procedure) -> String {
    let instruments = procedure.scheme.instruments();
    format!("{instruments} Sample: {}.", sample_words(procedure))
}

/// What a standard is made of.
pub fn standard_words(procedure: &Procedure, number: u32) -> String {
    let standards = procedure.scheme.standards().into_iter();
    let mut standards = standards.skip((number as usize).saturating_sub(1));
    standards
        .next()
        .map(|standard| standard.words)
        .unwrap_or_default()
}

/// How the sample is measured, and how finely that is read.
pub fn sample_words(procedure: &Procedure) -> String {
    let piece = &procedure.sample.glassware;
    let (nominal, unit) = (procedure.sample.nominal, piece.kind().unit());
    let read = match piece.decimals() {
        Some(decimals) => format!(", read to {}", counted(decimals, "decimal", "decimals")),
        None => ", not read: its nominal volume counts".to_owned(),
    };
    let difference = if procedure.sample.by == crate::procedure::SampleBy::MassDifference {
        ", by difference (bottle before and after)"
    } else {
        ""
    };
    format!(
        "about {nominal} {unit}{difference}, with a {}{read}",
        piece.title()
    )
}

//! What is measured with what, in words.

use crate::measure::Glassware;
use crate::procedure::{Method, Portion, Procedure};
use crate::words::counted;

/// What the result is expressed as; the density of the sample where nothing is.
pub fn expressed_as(procedure: &Procedure) -> String {
    match procedure.method().asked() {
        Some(asked) => asked.expressed_as.to_string(),
        None => "density".to_owned(),
    }
}

/// What is read, and how finely, in a sentence or two.
pub fn instrument_words(procedure: &Procedure) -> String {
    let sample = format!("Sample: {}.", sample_words(procedure));
    let read = |piece: &Glassware| {
        let decimals = piece.decimals().unwrap_or(0);
        format!(
            "{}, read as displayed, to {}",
            piece.title(),
            counted(decimals, "decimal", "decimals")
        )
    };
    let burette = |piece: &Glassware| {
        let decimals = piece.decimals().unwrap_or(0);
        format!(
            "Burette: {}, read downward from 0 at the top, to {}: one digit past the finest mark.",
            piece.title(),
            counted(decimals, "decimal", "decimals")
        )
    };
    match procedure.method() {
        Method::Direct { titrant, .. }
        | Method::Back { titrant, .. }
        | Method::Standardisation { titrant, .. } => {
            format!("{} {sample}", burette(&titrant.burette))
        }
        Method::TwoEndpoint {
            titrant, portion, ..
        } => {
            let endpoints = match portion {
                Portion::Same => "Read it at both endpoints of one flask.",
                Portion::Another => "Titrate two equal portions, one to each endpoint.",
            };
            format!("{} {endpoints} {sample}", burette(&titrant.burette))
        }
        Method::Gravimetric { precipitate, .. } => format!(
            "Crucible empty and with the precipitate, both to constant mass: {}. {sample}",
            read(&precipitate.balance)
        ),
        Method::Density(vessel) => {
            let water = vessel
                .water
                .map(|celsius| format!(", full of water at {celsius} \u{b0}C"));
            format!(
                "Vessel empty{} and full of the liquid, dry outside: {}. {sample}",
                water.unwrap_or_default(),
                read(&vessel.balance)
            )
        }
        Method::CalibrationLine { calibration, .. } => format!(
            "Absorbance of every standard and of the sample against the same reference: {}. {sample}",
            read(&calibration.instrument)
        ),
    }
}

/// What a standard is made of.
pub fn standard_words(procedure: &Procedure, number: u32) -> String {
    let Some(line) = &procedure.calibration else {
        return String::new();
    };
    let stock = line.stock.get((number as usize).saturating_sub(1));
    let flask = line.made_up_in.title();
    stock.map_or_else(String::new, |stock| {
        format!("{stock} mL of stock in a {flask}")
    })
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

//! What titre each unknown should give.

use crate::course::Experiment;
use crate::judge::rehearsal::{Bench, expected_titre};
use crate::measure::{as_f64, from_f64, to_decimals};
use crate::procedure::Procedure;
use crate::term::Term;
use crate::truth::{Assigned, Lot};

/// Titres outside this part of the burette, in percent, are warned about: below, the readings are too coarse; above,
/// a second filling is near.
const GOOD: std::ops::RangeInclusive<f64> = 20.0..=90.0;

/// What an unknown should give.
pub struct Titre {
    /// Code of the unknown.
    pub code: String,
    /// mL, with the burette's decimals; none if no volume gives the value.
    pub volume: Option<String>,
    /// What is wrong with that.
    pub warning: Option<String>,
}

/// The expected titre of each unknown, with the words for the lots it is reckoned with.
pub fn expected(term: &Term, experiment: &Experiment) -> (Vec<Titre>, String) {
    let procedure = &experiment.procedure;
    let section = term.sections().first().copied().unwrap_or_default();
    let lots = term.default_lots(experiment, section);
    let held = |code: Option<String>| code.and_then(|code| term.lots.get(&code)).cloned();
    let titrant = held(lots.titrant);
    let excess = held(lots.excess);
    let nominal = |value| Lot {
        code: "the label".to_owned(),
        reagent: String::new(),
        molarity: Assigned {
            value,
            standard_uncertainty: rust_decimal::Decimal::ZERO,
        },
        version: 1,
    };
    let titrant = titrant.unwrap_or_else(|| nominal(procedure.titrant.nominal));
    let excess = procedure
        .excess
        .as_ref()
        .map(|e| excess.unwrap_or_else(|| nominal(e.nominal)));
    let unknowns = term.unknowns.get(&experiment.key).into_iter().flatten();
    let titres = unknowns.map(|(code, unknown)| {
        let bench = Bench {
            truth: as_f64(unknown.truth.open().value),
            lot: Some(&titrant),
            excess_lot: excess.as_ref(),
            blank: 0.0,
        };
        titre(code, procedure, expected_titre(procedure, &bench))
    });
    let mut with = if procedure.uses_titrant_lot() {
        format!("titrant {}", titrant.code)
    } else {
        "nominal amounts".to_owned()
    };
    if let Some(excess) = &excess {
        with.push_str(&format!(" and excess {}", excess.code));
    }
    (titres.collect(), with)
}

fn titre(code: &str, procedure: &Procedure, volume: Option<f64>) -> Titre {
    let burette = &procedure.titrant.burette;
    let capacity = as_f64(burette.capacity());
    let warning = match volume.map(|v| 100.0 * v / capacity) {
        None => Some("no titre gives this value".to_owned()),
        Some(share) if !GOOD.contains(&share) => Some(format!(
            "{} % of the burette, expected 20 to 90 %",
            from_f64(share, 2)
                .map(crate::measure::plain)
                .unwrap_or_default()
        )),
        Some(_) => None,
    };
    let decimals = burette.decimals().unwrap_or(2);
    Titre {
        code: code.to_owned(),
        volume: volume
            .and_then(|v| from_f64(v, 12))
            .map(|v| to_decimals(v, decimals).to_string()),
        warning,
    }
}

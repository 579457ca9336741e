//! What titre each unknown should give, or what else is measured.

use crate::columns::Column;
use crate::course::Experiment;
use crate::ids::LotCode;
use crate::judge::signal::{Bench, Signal, expected_signal};
use crate::measure::{as_f64, from_f64, to_decimals};
use crate::procedure::Procedure;
use crate::term::Term;
use crate::truth::Lot;

/// Titres outside this part of the burette, in percent, are warned about: below, the readings are too coarse; above,
/// a second filling is near.
const GOOD: std::ops::RangeInclusive<f64> = 20.0..=90.0;

/// What an unknown should give.
pub struct Titre {
    /// Code of the unknown.
    pub code: String,
    /// mL, with the burette's decimals (g, or an absorbance, where that is read); none if nothing gives the value.
    pub volume: Option<String>,
    /// What is wrong with that.
    pub warning: Option<String>,
}

/// The expected titre of each unknown, with the words for the lots it is reckoned with.
pub fn expected(term: &Term, experiment: &Experiment) -> (Vec<Titre>, String) {
    let procedure = &experiment.procedure;
    let section = term.sections().first().copied().unwrap_or_default();
    let lots = term.default_lots(experiment, section);
    let held = |code: Option<LotCode>| code.and_then(|code| term.lots.get(&code)).cloned();
    let titrant = held(lots.titrant);
    let excess = held(lots.excess);
    let is_made = titrant.is_some();
    let titrant = procedure
        .lot_reagent()
        .map(|(_, label)| titrant.unwrap_or_else(|| Lot::nominal(label)));
    let excess = procedure
        .excess()
        .map(|e| excess.unwrap_or_else(|| Lot::nominal(e.nominal)));
    let unknowns = term.unknowns.get(&experiment.key).into_iter().flatten();
    let titres = unknowns.map(|(code, unknown)| {
        let bench = Bench {
            truth: as_f64(unknown.truth.open().value),
            lot: titrant.as_ref(),
            excess_lot: excess.as_ref(),
            blank: 0.0,
        };
        titre(code, procedure, expected_signal(procedure, &bench))
    });
    let mut with = match &titrant {
        Some(_) if !is_made => "nominal molarities".to_owned(),
        Some(lot) => format!("lot {}", lot.code),
        None => "nominal amounts".to_owned(),
    };
    if let Some(excess) = &excess {
        with.push_str(&format!(" and excess {}", excess.code));
    }
    (titres.collect(), with)
}

/// Head of the column of titres, with the unit.
pub fn head(procedure: &Procedure) -> String {
    let signal = Signal::of(procedure);
    let mut name = signal.name.to_owned();
    if let Some(first) = name.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    match signal.unit {
        "" => name,
        unit => format!("{name} ({unit})"),
    }
}

/// The titres in a sentence.
pub fn in_words(procedure: &Procedure, titres: &[Titre]) -> String {
    let Signal {
        unit, scale, name, ..
    } = Signal::of(procedure);
    let volume = |t: &Titre| t.volume.as_ref()?.parse::<rust_decimal::Decimal>().ok();
    let volumes = || titres.iter().filter_map(volume);
    let outside = titres.iter().filter(|t| t.warning.is_some()).count();
    let good = match outside {
        0 => format!("all between 20 and 90 % of {scale}"),
        n => format!("{n} of {} not between 20 and 90 % of {scale}", titres.len()),
    };
    let with_unit = |value: rust_decimal::Decimal| format!("{value} {unit}").trim_end().to_owned();
    match (volumes().min(), volumes().max()) {
        (Some(least), Some(most)) if least < most => {
            format!("From {least} to {}; {good}.", with_unit(most))
        }
        (Some(only), _) => format!("{}; {good}.", with_unit(only)),
        _ => format!("No {name} can be reckoned; {good}."),
    }
}

fn titre(code: &str, procedure: &Procedure, volume: Option<f64>) -> Titre {
    let signal = Signal::of(procedure);
    let warning = match volume.map(|v| 100.0 * (v - signal.least) / (signal.full - signal.least)) {
        None => Some(format!("no {} gives this value", signal.name)),
        Some(share) if !GOOD.contains(&share) => Some(format!(
            "{} % of {}, expected 20 to 90 %",
            from_f64(share, 2)
                .map(crate::measure::plain)
                .unwrap_or_default(),
            signal.scale
        )),
        Some(_) => None,
    };
    let read = Column::of(procedure, 1).first().copied();
    let decimals = read.and_then(|column| column.glassware(procedure).decimals());
    Titre {
        code: code.to_owned(),
        volume: volume
            .and_then(|v| from_f64(v, 12))
            .map(|v| to_decimals(v, decimals.unwrap_or(2)).to_string()),
        warning,
    }
}

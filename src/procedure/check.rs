//! Whether the parts of a procedure fit together.

use rust_decimal::Decimal;

use super::{
    Accept, Calibration, Portion, ProcedureFault, ProcedureParts, ResultUnit, SampleBy, Scheme,
};
use crate::measure::{Glassware, GlasswareKind};

/// Everything found, in the order of the keys of the file.
pub(super) fn faults(parts: &ProcedureParts) -> Vec<ProcedureFault> {
    let mut faults = Vec::new();
    let mut fault = |key: &str, what: String| faults.push(ProcedureFault::new(key, what));
    if !super::is_key(&parts.key) {
        let found = &parts.key;
        fault(
            "key",
            format!(
                "found \u{201c}{found}\u{201d}, expected lower-case letters, digits and hyphens"
            ),
        );
    }
    tables(parts, &mut fault);
    if let Some(titrant) = &parts.titrant {
        kind(
            "titrant.burette",
            &titrant.burette,
            &[GlasswareKind::Burette],
            &mut fault,
        );
        positive("titrant.nominal_mol_per_L", titrant.nominal, &mut fault);
    }
    parts.sample.check(parts.scheme, &mut fault);
    if let Some(excess) = &parts.excess {
        let single = [GlasswareKind::Pipette, GlasswareKind::Flask];
        kind("excess.glassware", &excess.glassware, &single, &mut fault);
        positive("excess.nominal_mol_per_L", excess.nominal, &mut fault);
    }
    if let Some(second) = &parts.second {
        let graduated =
            parts.sample.by == SampleBy::Volume && parts.sample.glassware.kind().is_read();
        let weighed = parts.sample.by != SampleBy::Volume;
        if second.portion == Portion::Another
            && (graduated || weighed)
            && parts.sample.aliquot.is_none()
        {
            let what = "found another, expected portions that are alike: a single-mark sample, or one made up in a flask and pipetted";
            fault("second.portion", what.to_owned());
        }
        if second.reactions.is_empty() {
            fault(
                "second.reactions",
                "found none, expected at least one balanced reaction".to_owned(),
            );
        }
    }
    if let Some(precipitate) = &parts.precipitate {
        kind(
            "precipitate.balance",
            &precipitate.balance,
            &[GlasswareKind::Balance],
            &mut fault,
        );
        positive("precipitate.nominal_g", precipitate.nominal, &mut fault);
    }
    if let Some(vessel) = &parts.vessel {
        kind(
            "density.balance",
            &vessel.balance,
            &[GlasswareKind::Balance],
            &mut fault,
        );
        let liquid = Decimal::ZERO..=Decimal::from(40);
        if let Some(found) = vessel.water.filter(|t| !liquid.contains(t)) {
            fault(
                "density.water_C",
                format!("found {found}, expected 0 to 40 \u{b0}C"),
            );
        }
    }
    if let Some(line) = &parts.calibration {
        calibration(line, &mut fault);
    }
    if !parts.result.unit.fits(parts.scheme, parts.sample.by) {
        let (unit, by) = (parts.result.unit.name(), parts.sample.by.name());
        let fitting = ResultUnit::ALL.iter();
        let fitting = fitting.filter(|unit| unit.fits(parts.scheme, parts.sample.by));
        let expected = fitting
            .map(|unit| unit.name())
            .collect::<Vec<_>>()
            .join(", ");
        let what = if parts.scheme == Scheme::Density {
            format!("found {unit} for a density, expected {expected}")
        } else {
            format!("found {unit} for a sample by {by}, expected one of {expected}")
        };
        fault("result.unit", what);
    }
    if parts.scheme == Scheme::Density && parts.result.analyte.is_some() {
        fault(
            "result.analyte",
            "found one, expected none: a density is of the whole liquid".to_owned(),
        );
    }
    trials(parts, &mut fault);
    faults
}

/// Each scheme has its tables and no others.
fn tables(parts: &ProcedureParts, fault: &mut impl FnMut(&str, String)) {
    let scheme = parts.scheme;
    let there = [
        (
            "titrant",
            parts.titrant.is_some(),
            scheme.is_titration(),
            "is a titration",
        ),
        (
            "excess",
            parts.excess.is_some(),
            scheme == Scheme::Back,
            "is back",
        ),
        (
            "second",
            parts.second.is_some(),
            scheme == Scheme::TwoEndpoint,
            "is two-endpoint",
        ),
        (
            "precipitate",
            parts.precipitate.is_some(),
            scheme == Scheme::Gravimetric,
            "is gravimetric",
        ),
        (
            "density",
            parts.vessel.is_some(),
            scheme == Scheme::Density,
            "is density",
        ),
        (
            "calibration",
            parts.calibration.is_some(),
            scheme == Scheme::CalibrationLine,
            "is calibration-line",
        ),
    ];
    for (key, there, wanted, only) in there {
        if there && !wanted {
            fault(
                key,
                format!("found one, expected it only where the scheme {only}"),
            );
        }
    }
}

fn calibration(line: &Calibration, fault: &mut impl FnMut(&str, String)) {
    let graduated = [GlasswareKind::Burette, GlasswareKind::Cylinder];
    kind(
        "calibration.taken_with",
        &line.taken_with,
        &graduated,
        fault,
    );
    kind(
        "calibration.made_up_in",
        &line.made_up_in,
        &[GlasswareKind::Flask],
        fault,
    );
    let instrument = [GlasswareKind::Spectrophotometer];
    kind(
        "calibration.spectrophotometer",
        &line.instrument,
        &instrument,
        fault,
    );
    positive("calibration.nominal_mol_per_L", line.nominal, fault);
    let most = line.taken_with.capacity().min(line.made_up_in.capacity());
    let outside = line
        .stock
        .iter()
        .find(|v| **v < Decimal::ZERO || **v > most);
    if let Some(found) = outside {
        let what = format!("found {found}, expected 0 to {most} mL, what the glassware holds");
        fault("calibration.stock_mL", what);
    }
    let mut different = line.stock.clone();
    different.sort_unstable();
    different.dedup();
    if different.len() < 3 {
        let what = format!(
            "found {} different volumes, expected at least 3, so that scatter about the line can be seen",
            different.len()
        );
        fault("calibration.stock_mL", what);
    } else if line.stock.len() > 12 {
        let what = format!("found {} volumes, expected at most 12", line.stock.len());
        fault("calibration.stock_mL", what);
    }
}

fn trials(parts: &ProcedureParts, fault: &mut impl FnMut(&str, String)) {
    let rules = &parts.trials;
    if rules.minimum == 0 || rules.minimum > 20 {
        fault(
            "trials.minimum",
            format!("found {}, expected 1 to 20", rules.minimum),
        );
    }
    let standard = parts.scheme == Scheme::Standardisation && parts.sample.by == SampleBy::Volume;
    let no_blank = match parts.scheme {
        Scheme::Density => Some("none: air is all that is in an empty vessel"),
        Scheme::CalibrationLine => Some("none: the line has its intercept"),
        _ if standard => Some("a weighed standard"),
        _ => None,
    };
    if let Some(expected) = no_blank.filter(|_| rules.blank) {
        fault("trials.blank", format!("found true, expected {expected}"));
    }
    if !parts.scheme.is_titration() && matches!(rules.accept, Accept::Concordant { .. }) {
        let what = "found concordant, expected all or dixon: there are no titres to agree";
        fault("trials.accept.rule", what.to_owned());
    }
}

fn kind(
    key: &str,
    piece: &Glassware,
    expected: &[GlasswareKind],
    fault: &mut impl FnMut(&str, String),
) {
    if expected.contains(&piece.kind()) {
        return;
    }
    let found = piece.kind().name();
    let expected = match expected {
        [GlasswareKind::Pipette, ..] => "a single-mark piece such as a pipette".to_owned(),
        kinds => {
            let names: Vec<String> = kinds.iter().map(|k| format!("a {}", k.name())).collect();
            names.join(" or ")
        }
    };
    fault(key, format!("found a {found}, expected {expected}"));
}

fn positive(key: &str, number: Decimal, fault: &mut impl FnMut(&str, String)) {
    if number <= Decimal::ZERO {
        fault(key, format!("found {number}, expected a number above 0"));
    }
}

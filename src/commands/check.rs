//! `check`.

use std::path::PathBuf;

use super::Failure;
use crate::files::{self, Fault};
use crate::judge::{Fairness, fairness};
use crate::measure::{from_f64, plain};
use crate::procedure::{Chemistry, Procedure};

/// Students of the simulated class.
const CLASS: usize = 1000;

/// Checks procedure files: each fault on a line; of a sound one, what a class can reach.
pub fn run(paths: &[PathBuf]) -> Result<(), Failure> {
    let glassware = files::shipped_glassware();
    let mut faults = Vec::new();
    for path in paths {
        let name = path.display().to_string();
        let text = match std::fs::read(path) {
            Ok(bytes) => String::from_utf8(bytes)
                .map_err(|why| format!("found bytes that are not UTF-8: {why}")),
            Err(why) => Err(format!("cannot be read: {why}")),
        };
        match text {
            Err(what) => faults.push(Fault::of_file(name, what)),
            Ok(text) => match files::read_procedure(&name, &text, &glassware) {
                Err(more) => faults.extend(more),
                Ok(procedure) => match fairness(&procedure, CLASS, 1) {
                    Err(what) => faults.push(Fault::of_file(name, what)),
                    Ok(found) => print!("{}", report(&procedure, &found)),
                },
            },
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Failure::Faults(faults))
    }
}

fn report(procedure: &Procedure, found: &Fairness) -> String {
    let figures = |value: f64, n: usize| from_f64(value, n).map(plain).unwrap_or_default();
    let unit = procedure.result.unit.name();
    let mut lines = vec![format!("{}: {}", procedure.key, procedure.title)];
    lines.extend(
        procedure
            .reactions
            .iter()
            .map(|r| format!("  balances   {r}")),
    );
    lines.push(format!("  ratio      {}", ratio(procedure)));
    for (share, titre, result) in &found.titres {
        lines.push(format!(
            "  titre      {} mL, {share} % of the burette: {} {unit}",
            figures(*titre, 4),
            figures(*result, 4)
        ));
    }
    lines.push(format!(
        "  reachable  standard uncertainty {} %",
        figures(found.reachable_percent, 2)
    ));
    for (name, percent) in &found.contributions {
        lines.push(format!(
            "             {} % from {name}",
            figures(*percent, 2)
        ));
    }
    for (part, mean, most) in &found.parts {
        let name = part.to_string().to_lowercase();
        lines.push(format!(
            "  class      {} of {most} points for {name}, mean of {} careful students",
            figures(*mean, 3),
            found.students
        ));
    }
    lines.push(format!(
        "  class      {} % have all points for accuracy",
        figures(found.full_accuracy_percent, 3)
    ));
    lines.extend(
        found
            .warnings
            .iter()
            .map(|warning| format!("  warning    {warning}")),
    );
    lines.join("\n") + "\n"
}

fn ratio(procedure: &Procedure) -> String {
    let (analyte, titrant) = (&procedure.result.analyte, &procedure.titrant.species);
    match procedure.chemistry() {
        Chemistry::Direct {
            analyte_per_titrant,
        } => format!("{analyte_per_titrant} {analyte} per {titrant}"),
        Chemistry::Back {
            analyte_per_excess,
            excess_per_titrant,
        } => {
            let excess = procedure
                .excess
                .as_ref()
                .map(|e| e.species.to_string())
                .unwrap_or_default();
            format!(
                "{analyte_per_excess} {analyte} per {excess}, {excess_per_titrant} {excess} per {titrant}"
            )
        }
        Chemistry::Standardisation {
            weighed,
            reacting_per_weighed,
            titrant_per_reacting,
        } => {
            format!(
                "{} {titrant} per {weighed}",
                titrant_per_reacting.times(*reacting_per_weighed)
            )
        }
    }
}

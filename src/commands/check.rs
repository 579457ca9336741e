//! `check`.

use std::path::PathBuf;

use super::Failure;
use crate::chem::balance;
use crate::files;
use crate::measure::{from_f64, plain};
use crate::procedure::Procedure;
use crate::simulate::{Fairness, fairness, remedies};
use crate::text::Fault;

/// Students of the simulated class.
const CLASS: usize = 1000;

/// Checks procedure files: each fault on a line; of a sound one, what a class can reach. Prints reactions balanced.
pub fn run(paths: &[PathBuf], reactions: &[String]) -> Result<(), Failure> {
    let (balanced, checked) = (balance_all(reactions), check_all(paths));
    match (balanced, checked) {
        (Ok(()), checked) => checked,
        (balanced, Ok(())) => balanced,
        (Err(one), Err(other)) => Err(Failure::Other(format!("{one}\n{other}"))),
    }
}

fn balance_all(reactions: &[String]) -> Result<(), Failure> {
    let mut faults = Vec::new();
    for reaction in reactions {
        match balance(reaction) {
            Ok(balanced) => println!("{balanced}"),
            Err(why) => faults.push(why.to_string()),
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Failure::Other(faults.join("\n")))
    }
}

fn check_all(paths: &[PathBuf]) -> Result<(), Failure> {
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
                    Ok(found) => {
                        print!("{}", report(&procedure, &found));
                        for remedy in remedies(&procedure, &glassware) {
                            println!("  helps      {}", remedy.words());
                        }
                    }
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
    lines.push(format!("  ratio      {}", procedure.scheme.ratio_words()));
    for expected in &found.expected {
        lines.push(format!(
            "  {:<10} {}, {} % of {}: {} {unit}",
            found.signal.name,
            format!("{} {}", figures(expected.signal, 4), found.signal.unit).trim_end(),
            expected.share,
            found.signal.full,
            figures(expected.result, 4)
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
    let endpoint = found.endpoint.iter();
    lines.extend(endpoint.map(|endpoint| format!("  endpoint   {}", endpoint.words())));
    lines.extend(
        found
            .warnings
            .iter()
            .map(|warning| format!("  warning    {warning}")),
    );
    lines.join("\n") + "\n"
}

//! `explain`: how one result follows from its readings.

use std::path::Path;

use super::Failure;
use crate::files::{self, Folder};
use crate::measure::{from_f64, plain};
use crate::procedure::Procedure;
use crate::term::Slot;
use crate::workup::{Scope, WorkUp, derivation, significant_figures, written_by_rule};

/// Prints every step that leads to a student's result, and its uncertainty with its causes. Nothing of the truth.
pub fn run(folder: &Path, experiment: &str, student: &str) -> Result<(), Failure> {
    let folder = Folder::read(folder).map_err(Failure::Faults)?;
    let term = files::read_term(&folder).map_err(Failure::Faults)?;
    let known = term.experiment(experiment).ok_or_else(|| {
        let keys: Vec<&str> = term.experiments.iter().map(|e| e.key.as_str()).collect();
        Failure::Other(format!(
            "found no experiment {experiment}, expected one of {}",
            keys.join(", ")
        ))
    })?;
    if term.student(student).is_none() {
        return Err(Failure::Other(format!(
            "found no student {student} on the roster, expected one"
        )));
    }
    let work_up = term.with_case(&Slot::new(experiment, student), |case| case.work_up());
    let work_up = work_up.ok_or_else(|| {
        Failure::Other(format!(
            "found nothing handed in by {student} for {experiment}, expected readings"
        ))
    })?;
    print!("{}", explain(&known.procedure, &work_up));
    Ok(())
}

fn explain(procedure: &Procedure, work_up: &WorkUp) -> String {
    let unit = procedure.result.unit.name();
    let figures = |value: f64, n: usize| from_f64(value, n).map(plain).unwrap_or_default();
    let mut lines = vec![procedure.title.clone()];
    lines.extend(procedure.reactions.iter().map(|r| format!("  {r}")));
    for trial in work_up.trials.iter() {
        if let Some(why) = &trial.why_not {
            lines.push(format!("  trial {} does not count: {why}", trial.trial));
        }
    }
    let (Some(result), Some(budget)) = (work_up.result, &work_up.budget) else {
        lines.push("No trial counts, so there is no result.".to_owned());
        return lines.join("\n") + "\n";
    };
    for line in derivation(&work_up.graph, result) {
        let worked = if line.formula.is_empty() {
            String::new()
        } else {
            format!("{} = {} = ", line.formula, line.numbers)
        };
        let unit = if line.unit.is_empty() {
            String::new()
        } else {
            format!(" {}", line.unit)
        };
        lines.push(format!(
            "{}\n    {} = {worked}{}{unit}",
            line.label, line.symbol, line.value
        ));
    }
    if let Some(n) = significant_figures(&work_up.graph, result) {
        let written = written_by_rule(&work_up.graph, result);
        lines.push(format!(
            "by the textbook rule, {n} significant figures: {written} {unit}"
        ));
    }
    lines.push(format!(
        "standard uncertainty {} {unit}, of which",
        figures(budget.standard, 3)
    ));
    for part in &budget.contributions {
        let scope = if part.scope == Scope::Shared {
            "shared by the trials"
        } else {
            "each trial anew"
        };
        lines.push(format!(
            "    {} {unit} from {} ({scope})",
            figures(part.amount, 2),
            part.name
        ));
    }
    if let Some(observed) = budget.observed_random {
        let used = if observed > budget.predicted_random {
            "used"
        } else {
            "not used: the predicted scatter is larger"
        };
        lines.push(format!(
            "    {} {unit} from the scatter of the trials ({used})",
            figures(observed, 2)
        ));
    }
    let freedom = if budget.freedom.is_finite() {
        figures(budget.freedom, 3)
    } else {
        "infinitely many".to_owned()
    };
    lines.push(format!(
        "expanded uncertainty (95 %) {} {unit}, k = {} at {freedom} degrees of freedom",
        figures(budget.expanded, 3),
        figures(budget.coverage, 4)
    ));
    lines.join("\n") + "\n"
}

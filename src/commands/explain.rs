//! `explain`: how one result follows from its readings.

use std::path::Path;

use super::Failure;
use crate::files::{self, Folder};
use crate::language::Language;
use crate::measure::{from_f64, plain};
use crate::procedure::Procedure;
use crate::term::Slot;
use crate::words::counted;
use crate::workup::{
    Budget, BudgetTable, DerivationLine, WorkUp, derivation, significant_figures, written_by_rule,
};

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
    let Some(person) = term.student(student) else {
        return Err(Failure::Other(format!(
            "found no student {student} on the roster, expected one"
        )));
    };
    let work_up = term.with_case(&Slot::new(&known.key, &person.id), |case| case.work_up());
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
    let mut lines = vec![procedure.title.clone()];
    lines.extend(procedure.reactions.iter().map(|r| format!("  {r}")));
    let parts = derivation(work_up, Language::English);
    let stands = parts.iter().flat_map(|part| &part.lines).map(equations);
    let edge = stands.flatten().map(|e| width(&e)).max().unwrap_or(0);
    for part in &parts {
        lines.extend([String::new(), part.title.clone()]);
        if let Some(why) = &part.why_not {
            lines.push(format!("  does not count: {why}"));
        }
        for line in &part.lines {
            lines.push(format!("  {}", line.label));
            lines.extend(worked(line, edge));
        }
    }
    lines.push(String::new());
    let (Some(result), Some(budget)) = (work_up.result, &work_up.budget) else {
        lines.push("No trial counts, so there is no result.".to_owned());
        return lines.join("\n") + "\n";
    };
    if let Some(n) = significant_figures(&work_up.graph, result) {
        let written = written_by_rule(&work_up.graph, result);
        lines.push(format!(
            "by the textbook rule, {}: {written} {unit}",
            counted(n, "significant figure", "significant figures")
        ));
    }
    lines.extend(uncertainty(budget, unit));
    lines.join("\n") + "\n"
}

/// Three figures.
fn figures(value: f64) -> String {
    from_f64(value, 3).map(plain).unwrap_or_default()
}

fn uncertainty(budget: &Budget, unit: &'static str) -> Vec<String> {
    let causes = BudgetTable::of(budget, unit, Language::English);
    let standard = figures(budget.standard);
    let mut lines = vec![format!("standard uncertainty {standard} {unit}, of which")];
    let widest = causes
        .lines
        .iter()
        .map(|c| width(&c.name))
        .max()
        .unwrap_or(0);
    for cause in &causes.lines {
        let acts_on = if cause.shared {
            "all trials"
        } else {
            "each trial"
        };
        let share = match &cause.share {
            Some(share) => format!("{share:>5} % of the variance"),
            None => "in the observed scatter".to_owned(),
        };
        let name = padded(&cause.name, widest);
        lines.push(format!(
            "    {name}  {acts_on:<10}  {} {unit}  {share}",
            cause.amount
        ));
    }
    lines.push(causes.random.clone());
    lines.push(causes.covered.replace('\u{a0}', " "));
    lines.push(format!(
        "expanded uncertainty (95 %) {} {unit}, k = {}",
        figures(budget.expanded),
        causes.coverage_factor
    ));
    lines
}

/// What the symbol equals, one line each.
fn equations(line: &DerivationLine) -> Vec<String> {
    let value = match line.unit {
        "" => line.value.clone(),
        unit => format!("{} {unit}", line.value),
    };
    let written = [&line.formula, &line.numbers].into_iter().flatten();
    let mut texts: Vec<String> = written.map(|w| w.text.replace('\u{a0}', " ")).collect();
    texts.push(value);
    texts.first_mut().into_iter().for_each(|first| {
        *first = format!("{} = {first}", line.symbol.text);
    });
    let indent = " ".repeat(width(&line.symbol.text));
    let below = texts.iter().skip(1).map(|t| format!("{indent} = {t}"));
    texts.iter().take(1).cloned().chain(below).collect()
}

/// The same with the uncertainty beside the value, all at one edge.
fn worked(line: &DerivationLine, edge: usize) -> Vec<String> {
    let mut lines = equations(line);
    let uncertainty = match &line.uncertainty {
        Some(u) if line.unit.is_empty() => format!("u = {u}"),
        Some(u) => format!("u = {u} {}", line.unit),
        None => "exact".to_owned(),
    };
    if let Some(last) = lines.last_mut() {
        *last = format!("{}   {uncertainty}", padded(last, edge.min(FARTHEST)));
    }
    lines.iter().map(|line| format!("      {line}")).collect()
}

/// Beyond this column an uncertainty would be lost from sight of its value.
const FARTHEST: usize = 48;

fn padded(text: &str, to: usize) -> String {
    let missing = to.saturating_sub(width(text));
    format!("{text}{}", " ".repeat(missing))
}

/// Columns of a terminal: a bar over a letter takes none.
fn width(text: &str) -> usize {
    text.chars().filter(|c| *c != '\u{304}').count()
}
